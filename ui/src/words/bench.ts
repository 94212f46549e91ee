/** The words of the Bench, in English. */
import type { Group } from "../bridge/types/Group";
import { spoken } from "./speech.svelte";

export const groupWord: Record<Group, string> = spoken("groupWord", {
	levels: "Levels",
	receiver: "Receiver and noise",
	transmitter: "Transmitter",
	duplexer: "Duplexer and desense",
	line: "Line and antenna",
	site: "The hill",
	recording: "Recordings",
	judging: "Limits and doubt",
});

const english = {
	bench: "Bench",
	topics: "Calculations",
	choose: "Choose what to work out.",
	all: "All calculations",
	asks: "Given",
	answers: "Found",
	reset: "Begin anew",
	waits: "The answer waits for the fields that are marked.",
	either: "What is known",
	known: "Known as",
	notSaid: "not said",
	mayBeEmpty: "may stay empty",
	nth: (n: number) => `${n}.`,
	addTo: (label: string) => `Add to ${label}`,
	dropNth: (label: string, n: number) => `Take number ${n} out of ${label}`,
	openFile: (label: string) => `Open a file for ${label}`,
	moreRows: (left: number) => `${left} more are not shown.`,
	none: "none",
	yes: "yes",
	no: "no",
	unknown: "The bench has no such calculation.",
	loading: "Asking the node\u2026",
	invented: "The numbers to begin with are invented.",
	problem: {
		number: "Not a number.",
		empty: "Wanted.",
		json: "Not JSON.",
	},
};

/** What a language has to say here. */
export type BenchWords = typeof english;
export const benchWords: BenchWords = spoken("benchWords", english);
