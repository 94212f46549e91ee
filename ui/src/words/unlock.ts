/** The words before an encrypted device is open. In English. */
import { spoken } from "./speech.svelte";

const english = {
	title: "Locked",
	why: "What is on this device is encrypted. Type its passphrase to go on.",
	again: "Ask for the passphrase again when nobody touched the window",
	after: (minutes: number) => (minutes === 1 ? "for 1 minute" : `for ${minutes} minutes`),
	never: "Never",
	againWhy: "What was typed stays, and merging goes on. Kept on this device.",
	passphrase: "Passphrase",
	show: "Show what I type",
	open: "Unlock",
	opening: "Unlocking …",
	how: "Nobody can open it without the passphrase. What was merged is on the shop’s other devices too.",
};

/** What a language has to say here. */
export type UnlockWords = typeof english;
export const unlockWords: UnlockWords = spoken("unlockWords", english);
