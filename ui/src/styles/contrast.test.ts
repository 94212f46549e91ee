/**
 * The token table's contrast in both themes: text 7:1 (WCAG 2.2, 1.4.6 AAA), marks and edges 4.5:1
 * (our rule; 1.4.11 asks 3:1). Method: read the tokens, compute the ratio by WCAG's definition.
 */
import { readFileSync } from "node:fs";
import { describe, expect, test } from "vitest";

const css = readFileSync(new URL("./themes.css", import.meta.url), "utf8");

function tokens(theme: string): Map<string, string> {
	const found = new Map<string, string>();
	for (const [, selector, body] of css.matchAll(/([^{}]+)\{([^}]*)\}/g)) {
		if (!selector.includes(`data-theme="${theme}"`)) continue;
		const lines = body.matchAll(/--([\w-]+):\s*(#[0-9a-f]{6});/g);
		for (const [, name, colour] of lines) found.set(name, colour);
	}
	return found;
}

/** Relative luminance as WCAG 2.2 defines it. */
function luminance(colour: string): number {
	const [r, g, b] = [1, 3, 5]
		.map((at) => parseInt(colour.slice(at, at + 2), 16) / 255)
		.map((part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4));
	return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}
function contrast(one: string, other: string): number {
	const [dark, bright] = [luminance(one), luminance(other)].sort((a, b) => a - b);
	return (bright + 0.05) / (dark + 0.05);
}

const text = ["ink", "ink-soft", "accent", "pass", "conditional", "fail", "unjudged", "stop"];
const marks = ["edge", "line-generator", "line-keyed", "line-limit"];
const onPaint = [["accent-ink", "accent"], ["stop-ink", "stop"]];
const grounds = ["paper", "panel"];

test("the measure itself: black on white is 21:1, #777777 on white 4.48:1", () => {
	// 21:1 is WCAG's own maximum; 4.48 for #777777, a near miss of 4.5, is common practice.
	expect(contrast("#000000", "#ffffff")).toBeCloseTo(21, 5);
	expect(contrast("#777777", "#ffffff")).toBeCloseTo(4.48, 2);
});

describe.each(["sun", "dusk"])("%s", (theme) => {
	const table = tokens(theme);
	const colour = (name: string) => {
		const value = table.get(name);
		if (value === undefined) throw new Error(`${theme} has no --${name}`);
		return value;
	};
	const pairs = [
		...text.flatMap((name) => grounds.map((ground) => [name, ground, 7] as const)),
		...marks.flatMap((name) => grounds.map((ground) => [name, ground, 4.5] as const)),
		...onPaint.map(([name, ground]) => [name, ground, 7] as const),
	];
	test.each(pairs)("%s on %s is at least %d:1", (name, ground, least) => {
		expect(contrast(colour(name), colour(ground))).toBeGreaterThanOrEqual(least);
	});
	test("every colour is among the checked", () => {
		const checked = new Set([...text, ...marks, ...grounds, ...onPaint.flat()]);
		expect([...table.keys()].filter((name) => !checked.has(name))).toEqual([]);
	});
});

test("sun is pure black on white", () => {
	const table = tokens("sun");
	expect([table.get("ink"), table.get("paper")]).toEqual(["#000000", "#ffffff"]);
});
