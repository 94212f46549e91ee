/**
 * The sound input, block by block, as WAV files of a second: what the node's audio analysis takes.
 * Samples go on as the input gives them; whatever they mean is the node's to say.
 */
import recorder from "./recorder.js?url";

/** Why nothing can be heard. */
export type Deaf = "refused" | "missing" | "impossible" | "busy";

export class CannotListen extends Error {
	readonly why: Deaf;
	constructor(why: Deaf, cause?: unknown) {
		super(`no sound: ${why}`, { cause });
		this.why = why;
	}
}

/** How long a block is: half a second is the least in which a tone below the voice is found. */
const BLOCK_S = 1;

/** Listens until the returned function is called. `heard` is given a WAV file a block. */
export async function listen(heard: (wav: ArrayBuffer) => void): Promise<() => void> {
	const input = await soundInput();
	const context = new AudioContext();
	const stop = () => {
		for (const track of input.getTracks()) track.stop();
		void context.close();
	};
	try {
		await context.audioWorklet.addModule(recorder);
	} catch (error) {
		stop();
		throw new CannotListen("impossible", error);
	}
	const node = new AudioWorkletNode(context, "recorder", { numberOfOutputs: 0 });
	let blocks: Float32Array[] = [];
	let count = 0;
	node.port.onmessage = ({ data }: MessageEvent<Float32Array>) => {
		blocks.push(data);
		count += data.length;
		if (count < BLOCK_S * context.sampleRate) return;
		heard(wav(blocks, count, context.sampleRate));
		blocks = [];
		count = 0;
	};
	context.createMediaStreamSource(input).connect(node);
	await context.resume();
	return stop;
}

/** The input without what a telephone would do to it: all of that changes SINAD. */
async function soundInput(): Promise<MediaStream> {
	// Not there without a secure context, and in windows whose toolkit was built without it.
	const devices = navigator.mediaDevices as MediaDevices | undefined;
	if (!devices?.getUserMedia || !("AudioWorkletNode" in globalThis)) {
		throw new CannotListen("impossible");
	}
	try {
		return await devices.getUserMedia({
			audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false },
		});
	} catch (error) {
		throw new CannotListen(whyOf(error), error);
	}
}

function whyOf(error: unknown): Deaf {
	switch (error instanceof DOMException ? error.name : "") {
		case "NotAllowedError":
		case "SecurityError":
			return "refused";
		case "NotFoundError":
		case "OverconstrainedError":
			return "missing";
		case "NotReadableError":
		case "AbortError":
			return "busy";
		default:
			return "impossible";
	}
}

/** One channel of 32-bit floating point as a WAV file (RIFF, format 3): no sample is changed. */
export function wav(blocks: Float32Array[], count: number, rate: number): ArrayBuffer {
	const HEAD = 44;
	const file = new ArrayBuffer(HEAD + 4 * count);
	const view = new DataView(file);
	const text = (at: number, letters: string) =>
		[...letters].forEach((letter, index) => view.setUint8(at + index, letter.charCodeAt(0)));
	text(0, "RIFF");
	view.setUint32(4, HEAD - 8 + 4 * count, true);
	text(8, "WAVEfmt ");
	view.setUint32(16, 16, true);
	view.setUint16(20, 3, true);
	view.setUint16(22, 1, true);
	view.setUint32(24, rate, true);
	view.setUint32(28, 4 * rate, true);
	view.setUint16(32, 4, true);
	view.setUint16(34, 32, true);
	text(36, "data");
	view.setUint32(40, 4 * count, true);
	let at = HEAD;
	for (const block of blocks) {
		for (const sample of block) {
			view.setFloat32(at, sample, true);
			at += 4;
		}
	}
	return file;
}
