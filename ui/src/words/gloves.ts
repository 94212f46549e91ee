/** The words of the keypad for gloved hands, in English. */
import { spoken } from "./speech.svelte";

const english = {
	setting: "Keys for readings",
	hands: { bare: "Ordinary keys", gloved: "Large keys, for gloves" },
	open: "Type the reading",
	keypad: "Keypad for gloves",
	digits: "Digits",
	choices: "Unit, state of the repeater, and what was read before",
	toDigits: "123",
	toDigitsName: "Back to the digits",
	/** What the key that leads to the choices shows: what is chosen now. */
	toChoices: (unit: string, phase: string) => `Unit and state: now ${unit}, ${phase}`,
	repeat: "Again",
	repeatWhat: (reading: string) => `Type again what was read last: ${reading}`,
	nothingToRepeat: "Nothing was read yet",
	undo: "Undo",
	nothingToUndo: "Nothing to undo",
	record: "Record",
	close: "Close",
};

/** What a language has to say here. */
export type GlovesWords = typeof english;
export const gloves: GlovesWords = spoken("gloves", english);
