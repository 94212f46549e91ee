/** The Today screen's state: when it asks again, what it says of a silent node and of a merge. */
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import type { Desk } from "../bridge/desk";
import { NoAnswer, Refused } from "../bridge/refused";
import type { Today } from "../bridge/types/Today";
import { TodayState } from "./today.svelte";

const page = (position: number, only_here = 0) =>
	({ shop: "s", standing: { position, only_here }, sessions: [], peers: [] }) as unknown as Today;

/** A desk that answers from a table and writes down what it was asked. */
function deskOf(answers: Record<string, () => unknown>) {
	const asked: string[] = [];
	const call = async (command: string) => {
		asked.push(command);
		return answers[command]();
	};
	return { asked, desk: { call } as unknown as Desk };
}
const settled = () => vi.advanceTimersByTimeAsync(0);

beforeEach(() => void vi.useFakeTimers());
afterEach(() => void vi.useRealTimers());

test("the page is asked for when the position has grown, and not otherwise", async () => {
	let position = 1;
	const { asked, desk } = deskOf({ today: () => page(position), position: () => ({ position }) });
	const state = new TodayState(desk);
	await settled();
	await state.look();
	expect(asked).toEqual(["today", "position"]);
	position = 2;
	await state.look();
	expect(asked).toEqual(["today", "position", "position", "today"]);
	expect(state.page?.standing.position).toBe(2);
});

const locked = { code: "locked", what: "nobody touched it", at: null, help: "type" } as const;

test("behind a door that was shut again, what was worked on waits; at the start nothing is there", async () => {
	let open = true;
	const answer = (given: unknown) => () => {
		if (!open) throw new Refused(locked);
		return given;
	};
	const { asked, desk } = deskOf({ today: answer(page(1)), position: answer({ position: 1 }) });
	const state = new TodayState(desk);
	await settled();
	open = false;
	await state.look();
	expect([state.door, state.lockedAgain, state.page?.shop]).toEqual(["locked", true, "s"]);
	const before = asked.length;
	await state.look();
	expect(asked).toHaveLength(before);
	open = true;
	await state.enter();
	expect([state.door, state.lockedAgain, state.refusal]).toEqual([undefined, false, undefined]);
	open = false;
	const first = new TodayState(desk);
	await settled();
	expect([first.door, first.lockedAgain]).toEqual(["locked", false]);
});

test("what came is told with the findings it made, and what is there at the start is not", async () => {
	const visit = (findings: number) => ({ findings });
	let now = { ...page(1), sessions: [visit(1)] } as unknown as Today;
	const { desk } = deskOf({ today: () => now, position: () => ({ position: now.standing.position }) });
	const told: number[] = [];
	const state = new TodayState(desk, (findings) => told.push(findings));
	await settled();
	await state.look();
	expect(told).toEqual([]);
	now = { ...page(2), sessions: [visit(1), visit(2)] } as unknown as Today;
	await state.look();
	now = { ...page(3), sessions: [visit(0)] } as unknown as Today;
	await state.look();
	expect(told).toEqual([2, -3]);
});

test("what another node fetched from here shows, though nothing has grown here", async () => {
	let only_here = 5;
	const { desk } = deskOf({ today: () => page(1, only_here), position: () => ({ position: 1 }) });
	const state = new TodayState(desk);
	const stop = state.watch();
	await settled();
	only_here = 0;
	await vi.advanceTimersByTimeAsync(5_000);
	expect(state.page?.standing.only_here).toBe(5);
	await vi.advanceTimersByTimeAsync(15_000);
	expect(state.page?.standing.only_here).toBe(0);
	stop();
});

test("a node that does not answer is said until it answers again", async () => {
	let silent = false;
	const position = () => {
		if (silent) throw new NoAnswer("no connection");
		return { position: 1 };
	};
	const { desk } = deskOf({ today: () => page(1), position });
	const state = new TodayState(desk);
	await settled();
	silent = true;
	await state.look();
	expect(state.lost).toBe(true);
	expect(state.page).toBeDefined();
	silent = false;
	await state.look();
	expect(state.lost).toBe(false);
});

test("a merge that fails keeps the desk's own words and ends the waiting", async () => {
	const refusal = { code: "exchange-failed", what: "no way", at: null, help: "go near" } as const;
	const exchange = () => {
		throw new Refused(refusal);
	};
	const { asked, desk } = deskOf({ today: () => page(1), exchange });
	const state = new TodayState(desk);
	await settled();
	await state.merge(" 127.0.0.1:4770 ");
	expect(state.mergeRefusal).toEqual(refusal);
	expect(state.merging).toBeUndefined();
	expect(state.report).toBeUndefined();
	expect(asked).toEqual(["today", "exchange", "today"]);
});

test("a browser that is let in no longer shows nothing and asks nothing, until it is in", async () => {
	let signedIn = true;
	const refusal = { code: "sign-in" as const, what: "not signed in", at: null, help: "ask" };
	const only = <T>(given: () => T) => () => {
		if (!signedIn) throw new Refused(refusal);
		return given();
	};
	const { asked, desk } = deskOf({
		today: only(() => page(1)),
		position: only(() => ({ position: 1 })),
	});
	const state = new TodayState(desk);
	await settled();
	signedIn = false;
	await state.look();
	expect([state.door, state.page, state.lost]).toEqual(["sign-in", undefined, false]);
	const before = asked.length;
	await state.look();
	expect(asked.length).toBe(before);
	signedIn = true;
	await state.enter();
	expect(state.page?.standing.position).toBe(1);
});
