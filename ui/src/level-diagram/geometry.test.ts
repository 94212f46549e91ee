/** The level diagram's geometry: the scale holds what it must and is linear in decibels. */
import { expect, test } from "vitest";
import type { Chain } from "../bridge/types/Chain";
import type { LevelDiagram } from "../bridge/types/LevelDiagram";
import type { Stop } from "../bridge/types/Stop";
import { along, levelsShown, lines, planeIndex, ratingDbm, scale, stopsAt } from "./geometry";

const keyed: LevelDiagram = {
	title: "keyed",
	keyed: true,
	frequency_hz: 155_000_000,
	nodes: [
		{
			label: "transmitter port",
			element: null,
			loss_db: null,
			level_dbm: 47,
			power_w: 50,
			expanded_db: 0,
			power_max_w: 100,
			headroom_db: 3,
		},
		{
			label: "antenna port",
			element: "duplexer",
			loss_db: 1,
			level_dbm: 46,
			power_w: 39.8,
			expanded_db: 0.2,
			power_max_w: 1,
			headroom_db: -16,
		},
		{
			label: "port 1",
			element: "pad",
			loss_db: 30,
			level_dbm: 16,
			power_w: 0.04,
			expanded_db: 0.3,
			power_max_w: null,
			headroom_db: null,
		},
	],
};
const stop: Stop = {
	kind: "over-rating",
	what: "",
	at: "pad",
	arriving_w: 39.8,
	power_max_w: 1,
	help: "",
};
const chain: Chain = {
	name: "",
	plane: "antenna-port",
	instrument: "a",
	port: "1",
	between: ["pad", "cable"],
	line: [],
	stamp: { by: "", device: "", at: "" },
};

test("every level lies within the scale, on gridlines of round numbers", () => {
	for (const levels of [
		[-120, -90],
		[-121.3, -121.3],
		[47, 46, 16, 30],
		[0, 0.4],
	]) {
		const got = scale(levels, 6);
		expect(got.low_dbm).toBeLessThan(Math.min(...levels));
		expect(got.high_dbm).toBeGreaterThan(Math.max(...levels));
		expect(got.gridlines_dbm.length).toBeGreaterThanOrEqual(2);
		expect(got.gridlines_dbm.length).toBeLessThanOrEqual(10);
		expect(got.gridlines_dbm[0]).toBe(got.low_dbm);
		expect(got.gridlines_dbm.at(-1)).toBe(got.high_dbm);
	}
});

test("equal decibels are equal pixels", () => {
	const got = scale([-120, -80], 6);
	const step = along(got, -110, 300) - along(got, -120, 300);
	expect(along(got, -80, 300) - along(got, -90, 300)).toBeCloseTo(step, 9);
	expect(along(got, got.low_dbm, 300)).toBe(0);
	expect(along(got, got.high_dbm, 300)).toBe(300);
});

test("ratings are on the scale when keyed and left out when not", () => {
	expect(ratingDbm(keyed, keyed.nodes[1])).toBe(30);
	expect(ratingDbm({ ...keyed, keyed: false }, keyed.nodes[1])).toBeUndefined();
	expect(ratingDbm(keyed, keyed.nodes[2])).toBeUndefined();
	expect(levelsShown(keyed, [])).toEqual(expect.arrayContaining([50, 30]));
	expect(levelsShown({ ...keyed, keyed: false }, [])).not.toContain(50);
});

test("a node's whiskers are within what must be shown", () => {
	const shown = levelsShown({ ...keyed, keyed: false }, []);
	expect(Math.min(...shown)).toBeCloseTo(15.7, 9);
	expect(Math.max(...shown)).toBe(47);
});

test("a reading's whiskers are within what must be shown", () => {
	const mark = { id: "1", level_dbm: 45, expanded_db: 2, label: "", standing: true };
	expect(levelsShown({ ...keyed, nodes: [] }, [mark])).toEqual([43, 47]);
});

test("the plane is behind the chain's parts, and behind the duplexer when keyed", () => {
	expect(planeIndex(chain, false)).toBe(2);
	expect(planeIndex(chain, true)).toBe(1);
	expect(planeIndex({ ...chain, plane: "transmitter-port" }, true)).toBe(0);
});

test("a stop is flagged at the node before the element it names, or at the end", () => {
	expect(stopsAt(keyed, 1, [stop])).toEqual([stop]);
	expect(stopsAt(keyed, 0, [stop])).toEqual([]);
	expect(stopsAt(keyed, 2, [{ ...stop, at: "port 1" }])).toHaveLength(1);
	expect(stopsAt({ ...keyed, keyed: false }, 1, [stop])).toEqual([]);
});

test("words are broken between words", () => {
	expect(lines("duplexer, receive path", 12)).toEqual(["duplexer,", "receive path"]);
	expect(lines("attenuator", 4)).toEqual(["attenuator"]);
});
