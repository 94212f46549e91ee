/** The words before an encrypted device is open. In English. */
import { spoken } from "./speech.svelte";

const english = {
	title: "Locked",
	why: "What is on this device is encrypted. Type its passphrase to go on.",
	again: "Ask for the passphrase again when nobody touched the window",
	after: (minutes: number) => (minutes === 1 ? "for 1 minute" : `for ${minutes} minutes`),
	never: "Never",
	againWhy: "What was typed stays, and merging goes on. Kept on this device.",
	keyring: "Open at the start with the keyring of this computer",
	keyringOn: "It opens without asking while your keyring is unlocked.",
	keyringOff: "The passphrase is asked for at each start.",
	keyringWhy:
		"The keyring keeps a key of its own, not the passphrase; the passphrase opens it as before, so keep it. Whoever is logged in as you opens the window too. A window that locked itself asks all the same.",
	keyringUse: "Use the keyring",
	keyringStop: "Stop using it",
	keyringBusy: "Asking the keyring …",
	keyringLeft: "An item named Guyline may still be in the keyring. It opens nothing.",
	keyringFaults: {
		absent: "The keyring that opens this device is not here.",
		locked: "Your keyring is locked.",
		lost: "Your keyring no longer has what opens this device.",
		unfit: "What your keyring has does not open this device.",
		failed: "Your keyring did not answer as it should.",
	},
	passphrase: "Passphrase",
	show: "Show what I type",
	open: "Unlock",
	opening: "Unlocking …",
	how: "Nobody can open it without the passphrase. What was merged is on the shop’s other devices too.",
};

/** What a language has to say here. */
export type UnlockWords = typeof english;
export const unlockWords: UnlockWords = spoken("unlockWords", english);
