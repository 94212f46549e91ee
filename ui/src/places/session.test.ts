/** The Session screen's state: newer pages come in without touching what is being typed. */
import { expect, test } from "vitest";
import type { Desk } from "../bridge/desk";
import type { CheckState } from "../bridge/types/CheckState";
import type { SessionPage } from "../bridge/types/SessionPage";
import { speech } from "../words/speech.svelte";
import { SessionState } from "./session.svelte";

const check = (id: string, readings: unknown[] = []) =>
	({
		check: { id, plane: "antenna-port", reads: "level" },
		units: ["dBm"],
		chain: null,
		readings,
		cautions: [],
	}) as unknown as CheckState;
const page = (position: number, checks: CheckState[]) =>
	({
		id: "s",
		standing: { position, person: "p1", person_name: "Ines", may: ["read", "record"] },
		people: { p1: "Ines" },
		crew: {},
		appraisal: { checks, chains: [] },
	}) as unknown as SessionPage;

function deskWith(answers: { page: SessionPage; position: number }) {
	const asked: string[] = [];
	const desk = {
		call: (command: string) => {
			asked.push(command);
			return Promise.resolve(
				command === "position" ? { position: answers.position } : answers.page,
			);
		},
	} as unknown as Desk;
	return { asked, desk };
}
const settled = () => new Promise((done) => setTimeout(done, 0));

test("a grown position loads the page again and leaves the typed text alone", async () => {
	const answers = { page: page(1, [check("a")]), position: 1 };
	const { asked, desk } = deskWith(answers);
	const state = new SessionState(desk, "s");
	await settled();
	const entry = state.entry("a");
	if (entry) entry.text = "-121";
	await state.look();
	expect(asked).toEqual(["session", "position"]);
	answers.position = 2;
	answers.page = page(2, [check("a"), check("b")]);
	await state.look();
	expect(state.page?.appraisal.checks).toHaveLength(2);
	expect(state.entry("a")?.text).toBe("-121");
});

test("a page that is older than the one shown is dropped", async () => {
	const { desk } = deskWith({ page: page(5, [check("a")]), position: 5 });
	const state = new SessionState(desk, "s");
	await settled();
	state.take(page(4, []));
	expect(state.page?.appraisal.checks).toHaveLength(1);
});

test("without a choice the next check is shown, and it moves on as readings come in", async () => {
	const read = { id: "1", standing: true, reading: { phase: "as-found" } };
	const { desk } = deskWith({ page: page(1, [check("a", [read]), check("b")]), position: 1 });
	const state = new SessionState(desk, "s");
	await settled();
	expect(state.shown).toEqual({ kind: "check", id: "b" });
	state.openCheck("a");
	expect(state.shown).toEqual({ kind: "check", id: "a" });
});

test("a page that was asked for in another language is asked for again", async () => {
	const asked: string[] = [];
	const call = (command: string) => {
		asked.push(command);
		return Promise.resolve(command === "position" ? { position: 1 } : page(1, []));
	};
	const state = new SessionState({ call } as unknown as Desk, "s");
	await state.look();
	await state.look();
	expect(asked).toEqual(["session", "position", "position"]);
	try {
		speech.name = "fr";
		await state.look();
		await state.look();
	} finally {
		speech.name = "en";
	}
	expect(asked.slice(3)).toEqual(["position", "session", "position"]);
});
