/** The list of checks: grouping keeps the order, and taken-back readings do not count. */
import { expect, test } from "vitest";
import type { CheckState } from "../bridge/types/CheckState";
import { byStage, latest, nextCheck } from "./rows";

const reading = (id: string, standing: boolean, phase = "as-found") => ({
	id,
	standing,
	reading: { phase },
});
const state = (id: string, stage: string, readings: unknown[] = []) =>
	({ check: { id, stage }, readings }) as unknown as CheckState;

test("checks are grouped where the stage changes, in their order", () => {
	const groups = byStage([
		state("a", "receiver"),
		state("b", "transmitter"),
		state("c", "transmitter"),
	]);
	expect(groups.map((g) => [g.stage, g.list.map((s) => s.check.id)])).toEqual([
		["receiver", ["a"]],
		["transmitter", ["b", "c"]],
	]);
});

test("the latest reading stands, and as left goes before as found", () => {
	expect(latest(state("a", "receiver", [reading("1", true), reading("2", false)]))?.id).toBe("1");
	const left = [reading("1", true, "as-left"), reading("2", true)];
	expect(latest(state("a", "receiver", left))?.id).toBe("1");
	expect(latest(state("a", "receiver", [reading("1", false)]))).toBeUndefined();
});

test("next is the first check without a reading that stands", () => {
	const checks = [
		state("a", "receiver", [reading("1", true)]),
		state("b", "receiver", [reading("2", false)]),
		state("c", "receiver"),
	];
	expect(nextCheck(checks)?.check.id).toBe("b");
	expect(nextCheck([checks[0]])).toBeUndefined();
	const onDemand = state("d", "desense");
	onDemand.check.optional = true;
	expect(nextCheck([checks[0], onDemand])).toBeUndefined();
});
