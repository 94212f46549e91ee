/**
 * The catalogue: nothing a person reads stands outside it, and the second language is whole in more
 * than its types: every word differs, or is one that both languages share.
 */
import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { parse } from "svelte/compiler";
import { afterEach, expect, test, vi } from "vitest";
import { backgroundWords } from "./background";
import { french } from "./fr";
import { day, decimalMark, marked, plain, withMarks, written } from "./numbers";
import { countedIn } from "./plural";
import { say, span } from "./session";
import { speech } from "./speech.svelte";

const sources = join(import.meta.dirname, "..");

/** What is read of an element besides its text. */
const READ = new Set(["aria-label", "title", "placeholder", "alt", "label", "what", "doneWord"]);
/** Units and marks are the same in every language. */
const SHARED = new Set(["dBm", "MHz", "kHz"]);

interface Node {
	type?: string;
	name?: string;
	data?: string;
	[key: string]: unknown;
}

/** The words in a template that do not come from the catalogue. */
function strayIn(file: string): string[] {
	const found: string[] = [];
	const visit = (node: unknown, within: "text" | "attribute") => {
		if (Array.isArray(node)) return node.forEach((one) => visit(one, within));
		if (typeof node !== "object" || node === null) return;
		const { type, name, data, ...rest } = node as Node;
		if (type === "Attribute" && !READ.has(name ?? "")) return;
		if (type === "Text") {
			const words = data?.match(/\p{L}+/gu) ?? [];
			found.push(...words.filter((word) => !SHARED.has(word)));
		}
		for (const child of Object.values(rest)) visit(child, within);
	};
	visit(parse(readFileSync(file, "utf8"), { modern: true }).fragment, "text");
	return found;
}

const components = readdirSync(sources, { recursive: true, encoding: "utf8" })
	.filter((file) => file.endsWith(".svelte"))
	.map((file) => join(sources, file));

test("no component holds words of its own", () => {
	expect(components.length).toBeGreaterThan(50);
	const stray = components.flatMap((file) => strayIn(file).map((word) => `${file}: ${word}`));
	expect(stray).toEqual([]);
}, 60_000); // It parses every component: on a busy machine that takes its time.

/** The node's storage is not here: what is kept is kept in a map. */
function inFrench(tag: string) {
	const kept = new Map<string, string>();
	vi.stubGlobal("localStorage", {
		getItem: (key: string) => kept.get(key) ?? null,
		setItem: (key: string, value: string) => void kept.set(key, value),
	});
	vi.stubGlobal("document", { documentElement: { lang: "" } });
	vi.stubGlobal("navigator", { languages: [tag, "en"] });
	return kept;
}

afterEach(async () => {
	if ("document" in globalThis) await speech.choose("en");
	vi.unstubAllGlobals();
});

test("a language that the person reads is spoken, and another can be chosen and is kept", async () => {
	const kept = inFrench("fr-CA");
	await speech.begin();
	expect(speech.name).toBe("fr");
	expect(document.documentElement.lang).toBe("fr");
	expect(say.takeUp).toBe(french.say.takeUp);
	await speech.choose("en");
	expect(say.takeUp).not.toBe(french.say.takeUp);
	expect([...kept.values()]).toContain("en");
	await speech.begin();
	expect(speech.name).toBe("en");
});

test("numbers, spans and days follow the language, and nought is one thing in French", async () => {
	expect([decimalMark(), written(-121.25, 1), plain(-0.5)]).toEqual([".", "\u2212121.3", "\u22120.5"]);
	expect(countedIn("en")(0, "change", "changes")).toBe("0 changes");
	inFrench("fr-FR");
	await speech.begin();
	expect([decimalMark(), marked("121.5"), written(-121.25, 2)]).toEqual([",", "121,5", "\u2212121,25"]);
	expect(withMarks("opens at \u2212121.3 dBm.")).toBe("opens at \u2212121,3 dBm.");
	expect(withMarks("0.8 dB, 47 CFR 90.205; EN 300 086 V2.1.2")).toBe(
		"0,8 dB, 47 CFR 90.205; EN 300 086 V2.1.2",
	);
	expect(countedIn("fr")(0, "changement", "changements")).toBe("0 changement");
	expect(span(7_200)).toBe("2\u00a0heures");
	expect(day("2026-05-14")).toContain("mai");
});

/** Every text of a catalogue by its path; what takes arguments is asked with some. */
function texts(of: unknown, path = ""): [string, string][] {
	if (typeof of === "string") return [[path, of]];
	if (typeof of === "function") return texts((of as (...asked: unknown[]) => unknown)(3, 3, 3), `${path}()`);
	if (typeof of !== "object" || of === null) return [];
	return Object.entries(of).flatMap(([key, value]) => texts(value, `${path}.${key}`));
}

test("the French of merging by itself is French, word for word", () => {
	const own = new Map(texts(french.backgroundWords));
	for (const [path, english] of texts(backgroundWords)) {
		expect(own.get(path), path).toBeDefined();
		expect(own.get(path), path).not.toBe(english);
	}
});
