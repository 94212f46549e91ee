/**
 * What a key of the number pad does to the text in the field. Text and caret in, the same out;
 * whether the text is a number is the node's business.
 */
export interface Field {
	text: string;
	/** Where the selection begins and ends; equal when there is only a caret. */
	from: number;
	to: number;
}
type Digit = "0" | "1" | "2" | "3" | "4" | "5" | "6" | "7" | "8" | "9";
export type Key = Digit | "." | "," | "minus" | "backspace";

export function press({ text, from, to }: Field, key: Key): { text: string; caret: number } {
	if (key === "minus") {
		// The sign belongs in front wherever the caret is: a second touch takes it away again.
		const negative = /^[-\u2212]/.test(text);
		if (negative) return { text: text.slice(1), caret: Math.max(0, to - 1) };
		return { text: `-${text}`, caret: to + 1 };
	}
	if (key === "backspace") {
		const start = from === to ? Math.max(0, from - 1) : from;
		return { text: text.slice(0, start) + text.slice(to), caret: start };
	}
	return { text: text.slice(0, from) + key + text.slice(to), caret: from + 1 };
}

/** The same for a field on the screen; without one, at the text's end. */
export function strike(field: HTMLInputElement | undefined, text: string, key: Key) {
	const from = field?.selectionStart ?? text.length;
	return press({ text, from, to: field?.selectionEnd ?? from }, key);
}
