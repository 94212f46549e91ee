/**
 * Where the level diagram's parts are drawn: levels to scale in decibels, elements in even steps.
 *
 * In: the node's levels in dBm and a size in pixels. Out: pixels. Works out no level.
 */
import type { Chain } from "../bridge/types/Chain";
import type { LevelDiagram } from "../bridge/types/LevelDiagram";
import type { Node } from "../bridge/types/Node";
import type { Stop } from "../bridge/types/Stop";

/** A reading as it stands at its plane. */
export interface Mark {
	id: string;
	level_dbm: number;
	/** Where known: the expanded uncertainty of that level. */
	expanded_db: number | null;
	/** Who read what, in words. */
	label: string;
	standing: boolean;
}

export interface Scale {
	low_dbm: number;
	high_dbm: number;
	gridlines_dbm: number[];
}

const STEPS_DB = [1, 2, 5, 10, 20, 50];

/** A scale that holds every level and about `lines` gridlines on round numbers. */
export function scale(levels_dbm: number[], lines: number): Scale {
	const low = Math.min(...levels_dbm);
	const high = Math.max(...levels_dbm);
	const step = STEPS_DB.find((db) => (high - low) / db <= lines) ?? 100;
	// Half a step free at both ends keeps marks and whiskers off the frame.
	const first = Math.floor((low - step / 2) / step) * step;
	const last = Math.ceil((high + step / 2) / step) * step;
	const gridlines = [];
	for (let at = first; at <= last; at += step) gridlines.push(at);
	return { low_dbm: first, high_dbm: last, gridlines_dbm: gridlines };
}

/** Everything a diagram shows that must be within the scale. */
export function levelsShown(diagram: LevelDiagram, marks: Mark[]): number[] {
	const shown = marks.flatMap((mark) => {
		const spread = mark.expanded_db ?? 0;
		return [mark.level_dbm - spread, mark.level_dbm + spread];
	});
	for (const node of diagram.nodes) {
		shown.push(node.level_dbm - node.expanded_db, node.level_dbm + node.expanded_db);
		const rating = ratingDbm(diagram, node);
		if (rating !== undefined) shown.push(rating);
	}
	return shown;
}

/** A rating's place on the scale. Only when keyed: a generator's signal is nowhere near one. */
export function ratingDbm(diagram: LevelDiagram, node: Node): number | undefined {
	if (!diagram.keyed || node.headroom_db === null) return undefined;
	return node.level_dbm + node.headroom_db;
}

/** Pixels from the low end of a stretch `length` pixels long. */
export function along(scale: Scale, level_dbm: number, length: number): number {
	return ((level_dbm - scale.low_dbm) / (scale.high_dbm - scale.low_dbm)) * length;
}

/** Which node of a diagram is the chain's plane, where readings are marked. */
export function planeIndex(chain: Chain, keyed: boolean): number {
	if (!keyed) return chain.between.length;
	return chain.plane === "antenna-port" ? 1 : 0;
}

/** The stops that bite at a node: at what is met next, or at the end itself. */
export function stopsAt(diagram: LevelDiagram, index: number, stops: Stop[]): Stop[] {
	if (!diagram.keyed) return [];
	const next = diagram.nodes[index + 1];
	const meets = next === undefined ? diagram.nodes[index].label : next.element;
	return stops.filter((stop) => stop.at === meets);
}

/** Breaks words into lines of about `room` characters; a longer word stays whole. */
export function lines(text: string, room: number): string[] {
	const broken: string[] = [];
	for (const word of text.split(" ")) {
		const last = broken.at(-1);
		if (last !== undefined && last.length + 1 + word.length <= room) {
			broken[broken.length - 1] = `${last} ${word}`;
		} else {
			broken.push(word);
		}
	}
	return broken;
}
