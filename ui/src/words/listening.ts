/** The words of listening to the sound input, in English. */
import type { Deaf } from "../bench/listening";
import { countedIn } from "./plural";
import { spoken } from "./speech.svelte";

const counted = countedIn("en");

const english = {
	title: "Sound input",
	start: "Listen to the sound input",
	stop: "Stop listening",
	about:
		"Takes the place of the recording: each second is looked at as a file would be, with the tone and the filter given here. Nothing is kept.",
	asking: "The browser asks whether this page may listen\u2026",
	heard: (looked: number, passed: number) =>
		passed === 0
			? `${counted(looked, "second", "seconds")} looked at.`
			: `${counted(looked, "second", "seconds")} looked at, ${passed} passed by unseen: this device is slower than the sound.`,
	deaf: {
		refused: {
			what: "This page may not listen.",
			help: "Allow the microphone for this address in the browser's settings and try again, or open a WAV file.",
		},
		missing: {
			what: "No sound input is there.",
			help: "Plug one in and try again, or open a WAV file.",
		},
		busy: {
			what: "The sound input is in use or does not answer.",
			help: "Close the other program that holds it and try again, or open a WAV file.",
		},
		impossible: {
			what: "No sound comes through here.",
			help: "This window or browser gives none to a page. Open these screens in a browser on this device, or open a WAV file.",
		},
	} satisfies Record<Deaf, { what: string; help: string }>,
};

/** What a language has to say here. */
export type ListeningWords = typeof english;
export const listening: ListeningWords = spoken("listening", english);
