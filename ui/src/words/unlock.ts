/** The words before an encrypted device is open. In English. */
import { spoken } from "./speech.svelte";

const english = {
	title: "Locked",
	why: "What is on this device is encrypted. Type its passphrase to go on.",
	passphrase: "Passphrase",
	show: "Show what I type",
	open: "Unlock",
	opening: "Unlocking …",
	how: "Nobody can open it without the passphrase. What was merged is on the shop’s other devices too.",
};

/** What a language has to say here. */
export type UnlockWords = typeof english;
export const unlockWords: UnlockWords = spoken("unlockWords", english);
