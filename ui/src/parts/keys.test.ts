/** The number pad's keys: what is typed stands at the caret, the sign always in front. */
import { expect, test } from "vitest";
import { press, type Key } from "./keys";

const type = (keys: Key[], text = "") =>
	keys.reduce(
		(field, key) => {
			const { text, caret } = press(field, key);
			return { text, from: caret, to: caret };
		},
		{ text, from: text.length, to: text.length },
	);

test("digits, decimal comma and sign in the order they are touched", () => {
	expect(type(["1", "2", "1", ",", "5", "minus"])).toEqual({ text: "-121,5", from: 6, to: 6 });
	expect(type(["minus", "9", "1", ".", "0"]).text).toBe("-91.0");
});
test("the sign goes in front from any caret, and away again, a typed true minus too", () => {
	expect(press({ text: "121", from: 1, to: 1 }, "minus")).toEqual({ text: "-121", caret: 2 });
	expect(press({ text: "-121", from: 2, to: 2 }, "minus")).toEqual({ text: "121", caret: 1 });
	expect(press({ text: "\u2212121", from: 4, to: 4 }, "minus")).toEqual({ text: "121", caret: 3 });
	expect(press({ text: "-", from: 0, to: 0 }, "minus")).toEqual({ text: "", caret: 0 });
});
test("backspace takes one, or what is chosen, and nothing at the start", () => {
	expect(press({ text: "121", from: 3, to: 3 }, "backspace")).toEqual({ text: "12", caret: 2 });
	expect(press({ text: "121", from: 0, to: 3 }, "backspace")).toEqual({ text: "", caret: 0 });
	expect(press({ text: "121", from: 0, to: 0 }, "backspace")).toEqual({ text: "121", caret: 0 });
});
test("a digit replaces what is chosen", () => {
	expect(press({ text: "121", from: 1, to: 2 }, "9")).toEqual({ text: "191", caret: 2 });
});
