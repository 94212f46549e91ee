/**
 * Runs where the browser computes sound: hands what comes in to the page as it is, block by block.
 * A file of its own, because the page's policy lets no code in that does not come from the node.
 */
class Recorder extends AudioWorkletProcessor {
	process([input]) {
		// The browser writes the next block into the same memory, so a copy goes.
		if (input?.[0]) this.port.postMessage(input[0].slice());
		return true;
	}
}
registerProcessor("recorder", Recorder);
