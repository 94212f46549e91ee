/**
 * What each refusal means to a person: a title, and how loudly it is said. The desk words the
 * fault and the help; here stands only what a screen does about them.
 */
import type { Code } from "../bridge/types/Code";
import { spoken } from "./speech.svelte";

export interface Meaning {
	title: string;
	/** `note`: said in a pause. `alarm`: said at once, as for an entry that was not kept. */
	severity: "note" | "alarm";
}

export const refusals: Record<Code, Meaning> = spoken("refusals", {
	"unknown-command": { title: "Screen and node are of different age", severity: "alarm" },
	"wrong-body": { title: "Screen and node are of different age", severity: "alarm" },
	"not-here": { title: "Not on this device", severity: "note" },
	"nobody-holds": { title: "Nobody holds this device", severity: "note" },
	stopped: { title: "Stopped: keying would destroy something", severity: "alarm" },
	"cautions-open": { title: "Cautions first", severity: "note" },
	"not-a-reading": { title: "Not a reading", severity: "note" },
	"not-a-question": { title: "No answer to these numbers", severity: "note" },
	"chain-refused": { title: "This cannot be connected", severity: "note" },
	"edit-refused": { title: "Not kept", severity: "alarm" },
	"exchange-failed": { title: "Not merged", severity: "note" },
	"no-answer": { title: "Not known to be kept", severity: "alarm" },
	"not-rendered": { title: "No file was made", severity: "note" },
	"signed-off": { title: "Signed off: say why first", severity: "note" },
	"instrument-silent": { title: "No reading from the instrument", severity: "note" },
	"store-failed": { title: "Not known to be kept", severity: "alarm" },
	forbidden: { title: "Not allowed from here", severity: "note" },
	"sign-in": { title: "Not signed in", severity: "note" },
	locked: { title: "Locked", severity: "note" },
	"too-often": { title: "Too much at once", severity: "note" },
	"too-large": { title: "Too large", severity: "note" },
});
