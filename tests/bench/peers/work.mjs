// The work that every peer is given: visits of the shape of ours, edit by edit. What `merging.rs`
// gives our own devices, in the words of a general-purpose document: a map of named lists.
// @ts-check

const READINGS = 60;
const ACKNOWLEDGEMENTS = 12;
const NOTES = 10;

/** How many entries a visit has, not counting the visit itself and its chain. */
export const ENTRIES = READINGS + ACKNOWLEDGEMENTS + NOTES;

/** Where in a document entries are kept. */
export const LISTS = /** @type {const} */ (["readings", "acknowledgements", "notes"]);

const ID_LENGTH = 26;

/**
 * The edits of one visit: the visit itself, its chain, then every entry, each an edit of its own.
 * @param {number} visit
 * @returns {{list: string, id: string, value: Record<string, string>}[]}
 */
export function edits(visit) {
	let last = 0;
	// As long as an id of ours, and like them alike at the front.
	const fresh = () => `${visit}Z${last++}`.padStart(ID_LENGTH, "01JV3M0");
	const stamp = () => ({ who: "ines", device: "tablet", when: new Date().toISOString() });
	const head = { site: fresh(), equipment: "lookout-vhf", plan: "bench", ...stamp() };
	const chain = fresh();
	const path = { name: "direct", plane: "receiver-port", between: "cable-a", ...stamp() };
	const made = [
		{ list: "visit", id: fresh(), value: head },
		{ list: "chains", id: chain, value: { ...path, instrument: "monitor-1", port: "gen" } },
	];
	for (let number = 0; number < READINGS; number++) {
		const value = {
			check: "receiver.opening",
			plane: "receiver-port",
			chain,
			criterion: "12 dB SINAD",
			value: `-1${15 + (number % 7)}.${number % 10}`,
			unit: "dBm",
			instrument: "monitor-1",
			phase: number % 2 === 0 ? "as-found" : "as-left",
			...stamp(),
		};
		made.push({ list: "readings", id: fresh(), value });
	}
	for (let number = 0; number < ACKNOWLEDGEMENTS; number++) {
		const value = { caution: `caution-${number}`, ...stamp() };
		made.push({ list: "acknowledgements", id: fresh(), value });
	}
	for (let number = 0; number < NOTES; number++) {
		const text = `note ${number}: squelch set, tone decoded, fan cleaned`;
		made.push({ list: "notes", id: fresh(), value: { text, ...stamp() } });
	}
	return made;
}
