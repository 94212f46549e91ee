/** The entry field: it sends what was typed, drops late answers and never loses a number. */
import { expect, test } from "vitest";
import { Refused, type Desk } from "../bridge/desk";
import type { CheckState } from "../bridge/types/CheckState";
import type { Commands } from "../bridge/types/Commands";
import type { JudgedEntry } from "../bridge/types/JudgedEntry";
import type { SessionPage } from "../bridge/types/SessionPage";
import { ReadingEntry } from "./entry.svelte";

interface Asked {
	command: keyof Commands;
	body: unknown;
	answer: (given: unknown) => void;
	refuse: (error: unknown) => void;
}

/** A desk whose answers come when the test says so. */
function slowDesk() {
	const asked: Asked[] = [];
	const desk = {
		call: (command: keyof Commands, body: unknown) =>
			new Promise((answer, refuse) => asked.push({ command, body, answer, refuse })),
	} as unknown as Desk;
	return { asked, desk };
}

const check = {
	check: { id: "receiver.opening" },
	units: ["dBm", "uV"],
	chain: "chain-1",
	readings: [],
} as unknown as CheckState;

const judgement = (reason: string) =>
	({ verdict: { outcome: "pass", reason }, refusal: null }) as unknown as JudgedEntry;
const settled = () => new Promise((done) => setTimeout(done, 0));

test("a late answer to an older text is dropped", async () => {
	const { asked, desk } = slowDesk();
	const entry = new ReadingEntry(
		desk,
		"s",
		() => check,
		() => {},
	);
	entry.text = "-12";
	entry.text = "-121";
	asked[1].answer(judgement("for -121"));
	await settled();
	asked[0].answer(judgement("for -12"));
	await settled();
	expect(entry.judged?.verdict.reason).toBe("for -121");
});

test("a drawing waits until the hand rests, and goes with the number", async () => {
	const { asked, desk } = slowDesk();
	const entry = new ReadingEntry(desk, "s", () => check, () => undefined);
	const rest = () => new Promise((done) => setTimeout(done, 200));
	entry.text = "-12";
	asked[0].answer(judgement("for -12"));
	await settled();
	expect(entry.judged?.verdict.reason).toBe("for -12");
	expect(entry.drawn).toBeUndefined();
	entry.text = "-121";
	asked[1].answer(judgement("for -121"));
	await rest();
	expect(entry.drawn?.verdict.reason).toBe("for -121");
	entry.text = "";
	expect(entry.drawn).toBeUndefined();
	await rest();
	expect(entry.drawn).toBeUndefined();
});

test("an answer that comes after the field was emptied is dropped", async () => {
	const { asked, desk } = slowDesk();
	const entry = new ReadingEntry(
		desk,
		"s",
		() => check,
		() => {},
	);
	entry.text = "-12";
	entry.text = "";
	asked[0].answer(judgement("for -12"));
	await settled();
	expect(entry.judged).toBeUndefined();
	expect(asked).toHaveLength(1);
});

test("another unit is judged anew, with the text as typed", () => {
	const { asked, desk } = slowDesk();
	const entry = new ReadingEntry(
		desk,
		"s",
		() => check,
		() => {},
	);
	entry.text = "0,25";
	entry.unit = "uV";
	expect(asked[1].body).toMatchObject({
		typed: "0,25",
		unit: "uV",
		chain: "chain-1",
		replaces: null,
	});
});

test("a refused recording keeps what was typed and says why", async () => {
	const { asked, desk } = slowDesk();
	const entry = new ReadingEntry(
		desk,
		"s",
		() => check,
		() => {},
	);
	entry.text = "-121";
	asked[0].answer(judgement(""));
	await settled();
	const recording = entry.record();
	asked[1].refuse(new Refused({ code: "stopped", what: "no", at: null, help: "change it" }));
	await recording;
	expect(entry.text).toBe("-121");
	expect(entry.refusal?.help).toBe("change it");
	expect(entry.ready).toBe(false);
});

test("a recording hands on the page and empties the field", async () => {
	const { asked, desk } = slowDesk();
	let taken: SessionPage | undefined;
	const entry = new ReadingEntry(
		desk,
		"s",
		() => check,
		(page) => (taken = page),
	);
	entry.text = "-121";
	const recording = entry.record();
	expect(asked[1].command).toBe("record-reading");
	asked[1].answer({ id: "s" });
	await recording;
	expect(taken?.id).toBe("s");
	expect(entry.text).toBe("");
	expect(entry.recorded).toContain("\u2212121 dBm");
});
