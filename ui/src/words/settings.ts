/** The words of the settings: how this device looks and speaks. In English. */
import { spoken } from "./speech.svelte";

const english = {
	title: "How it looks and speaks",
	language: "Language",
	/** Each in its own words, so that whoever reads only one finds it. */
	languages: { en: "English", fr: "Fran\u00e7ais" },
	languageWhy:
		"Numbers and dates follow it, and so does what is said of a reading: verdicts, cautions, findings, answers of the Bench. What people typed stays as it is.",
	languageFailed: "The language could not be fetched from the node: the one before stays.",
	theme: "Theme",
	themes: { sun: "Sun", dusk: "Dark" },
	keptHere: "Kept on this device only.",
};

/** What a language has to say here. */
export type SettingsWords = typeof english;
export const settings: SettingsWords = spoken("settings", english);
