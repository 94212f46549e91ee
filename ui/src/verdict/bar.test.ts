/** The verdict bar's geometry: order, symmetry and the corners where zones meet. */
import { expect, test } from "vitest";
import { bar } from "./bar";

test("an upper limit has inside, doubt and outside from left to right, without gaps", () => {
	const drawn = bar({ value: -121, expanded: 0.5, guard: 0.5, limits: { low: null, high: -120 } });
	expect(drawn?.zones.map((zone) => zone.kind)).toEqual(["inside", "doubtful", "outside"]);
	const zones = drawn?.zones ?? [];
	expect(zones[0].from).toBe(0);
	expect(zones[2].to).toBe(100);
	expect(zones[0].to).toBeCloseTo(zones[1].from, 9);
	expect(zones[1].to).toBeCloseTo(zones[2].from, 9);
	expect(drawn?.value).toBeLessThan(drawn?.limits[0].at ?? 0);
});

test("a value inside by more than its uncertainty has its whole band in the inside zone", () => {
	const drawn = bar({ value: -122, expanded: 0.5, guard: 0.5, limits: { low: null, high: -120 } });
	expect(drawn?.spread.to).toBeLessThan(drawn?.zones[0].to ?? 0);
});

test("a value at its limit stands on the limit's line, in the doubtful zone", () => {
	const drawn = bar({ value: 1, expanded: 0.3, guard: 0.3, limits: { low: null, high: 1 } });
	expect(drawn?.value).toBeCloseTo(drawn?.limits[0].at ?? 0, 9);
	const doubtful = drawn?.zones.find((zone) => zone.kind === "doubtful");
	expect(drawn?.value).toBeCloseTo(((doubtful?.from ?? 0) + (doubtful?.to ?? 0)) / 2, 9);
});

test("two limits mirror each other", () => {
	const drawn = bar({ value: 0, expanded: 0.2, guard: 0.2, limits: { low: -1, high: 1 } });
	expect(drawn?.value).toBeCloseTo(50, 9);
	const [low, high] = drawn?.limits ?? [];
	expect(low.at + high.at).toBeCloseTo(100, 9);
	expect(drawn?.zones).toHaveLength(5);
});

test("limits closer together than the uncertainty leave no inside zone", () => {
	const drawn = bar({ value: 0, expanded: 3, guard: 3, limits: { low: -1, high: 1 } });
	expect(drawn?.zones.map((zone) => zone.kind)).toEqual([
		"outside",
		"doubtful",
		"doubtful",
		"outside",
	]);
});

test("without uncertainty there is no doubtful zone and still a width to draw on", () => {
	const drawn = bar({ value: 1, expanded: 0, guard: 0, limits: { low: null, high: 1 } });
	expect(drawn?.zones.map((zone) => zone.kind)).toEqual(["inside", "outside"]);
	expect(drawn?.value).toBeCloseTo(50, 9);
});

test("by a rule without a guard band nothing is doubtful, and the uncertainty still shows", () => {
	const drawn = bar({ value: 1, expanded: 0.5, guard: 0, limits: { low: null, high: 1 } });
	expect(drawn?.zones.map((zone) => zone.kind)).toEqual(["inside", "outside"]);
	expect(drawn?.spread.to).toBeGreaterThan(drawn?.value ?? 100);
});

test("without a limit there is nothing to draw", () => {
	expect(bar({ value: 1, expanded: 0.1, guard: 0.1, limits: { low: null, high: null } })).toBeUndefined();
});

test("the doubtful zone is as wide as the guard band, not as the uncertainty", () => {
	const limits = { low: null, high: -120 };
	const drawn = bar({ value: -121, expanded: 0.5, guard: 1, limits });
	const doubtful = drawn?.zones.find((zone) => zone.kind === "doubtful");
	const spread = drawn?.spread ?? { from: 0, to: 0 };
	const width = (zone?: { from: number; to: number }) => (zone?.to ?? 0) - (zone?.from ?? 0);
	expect(width(doubtful)).toBeCloseTo(2 * width(spread), 9);
});
