/** The words of the keypad for gloved hands, in French. */
import type { GlovesWords } from "../gloves";

export const gloves: GlovesWords = {
	setting: "Touches pour les lectures",
	hands: { bare: "Touches ordinaires", gloved: "Grandes touches, pour les gants" },
	open: "Entrer la lecture",
	keypad: "Pavé pour les gants",
	digits: "Chiffres",
	choices: "Unité, état du relais, et dernière lecture",
	toDigits: "123",
	toDigitsName: "Retour aux chiffres",
	toChoices: (unit, phase) => `Unité et état : à présent ${unit}, ${phase}`,
	repeat: "Encore",
	repeatWhat: (reading) => `Entrer de nouveau la dernière lecture : ${reading}`,
	nothingToRepeat: "Rien n’a encore été lu",
	undo: "Annuler",
	nothingToUndo: "Rien à annuler",
	record: "Garder",
	close: "Fermer",
};
