/** The words for merging by itself, in English. */
import { counted as grouped } from "./numbers";
import { countedIn } from "./plural";
import { spoken } from "./speech.svelte";

const counted = countedIn("en");

const english = {
	title: "Merging by itself",
	off: "This program merges only when it is asked to.",
	paused: "Paused. Nothing is sent or fetched until you go on.",
	working: "After each edit, and now and then, with every device below. Sharing lets nearby ones find this one.",
	pause: "Pause merging",
	goOn: "Go on merging",
	deaf: (why: string) => `Nobody nearby is looked for: ${why}.`,
	none: "No device of the shop was found or met yet.",
	anyDevice: "A device of the shop",
	nearby: "nearby",
	underWay: (who: string, sent: number, received: number) =>
		`Merging with ${who}: ${grouped(sent)} B sent, ${grouped(received)} B received`,
	last: (who: string, when: string) => `Last with ${who}, ${when}:`,
	moved: (sent: number, received: number, papers: number) =>
		`${counted(sent, "change", "changes")} given, ${counted(received, "change", "changes")} taken, in ${counted(papers, "paper", "papers")} here.`,
	again: "Share again after each start",
};

/** What a language has to say here. */
export type BackgroundWords = typeof english;
export const backgroundWords: BackgroundWords = spoken("backgroundWords", english);
