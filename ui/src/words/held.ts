/** The words for changes that wait for somebody to look at them, in English. */
import { countedIn } from "./plural";
import { spoken } from "./speech.svelte";

const counted = countedIn("en");

const english = {
	title: "Waits for somebody to look",
	why: "These changes came and are part of nothing yet. Nothing is lost: they stay here until somebody decides, and everybody else\u2019s work goes on.",
	unknown: "A device nobody here knows",
	extent: (changes: number, papers: number) =>
		`${counted(changes, "change", "changes")} in ${counted(papers, "paper", "papers")}:`,
	look: "Take them in\u2026",
	before:
		"Ask whoever held that device, and whether it was still in their hands. What is taken in comes to every device of the shop, under this device\u2019s word.",
	take: "I asked: take them in",
	reached: {
		here: "on this device only",
		elsewhere: "on another device too",
		office: "at the office, which signed for it",
	},
	sealed: (device: string) => `sealed by ${device}`,
};

/** What a language has to say here. */
export type HeldWords = typeof english;
export const heldWords: HeldWords = spoken("heldWords", english);
