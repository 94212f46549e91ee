/**
 * Where things stand on the verdict's bar: percent of its width from the left.
 *
 * In: a value, its uncertainty and its limits, all in one unit. Out: positions. Says nothing about
 * whether a value passes: the node does.
 */
export interface Judged {
	value: number;
	expanded: number;
	limits: { low: number | null; high: number | null };
}

/** A stretch of the bar. `doubtful`: nearer to a limit than the uncertainty. */
export interface Zone {
	kind: "inside" | "doubtful" | "outside";
	from: number;
	to: number;
}

export interface Bar {
	value: number;
	spread: { from: number; to: number };
	limits: { side: "low" | "high"; limit: number; at: number }[];
	zones: Zone[];
}

/** How much is left free at either end, as a part of what must be seen. */
const ROOM = 0.18;

export function bar({ value, expanded, limits }: Judged): Bar | undefined {
	const sides = (["low", "high"] as const).flatMap((side) => {
		const limit = limits[side];
		return limit === null ? [] : [{ side, limit }];
	});
	if (sides.length === 0 || !Number.isFinite(value) || !Number.isFinite(expanded)) return undefined;
	const seen = [value - expanded, value + expanded];
	for (const { limit } of sides) seen.push(limit - expanded, limit + expanded);
	const low = Math.min(...seen);
	const high = Math.max(...seen);
	const room = high > low ? (high - low) * ROOM : 1;
	const [first, last] = [low - room, high + room];
	const at = (x: number) => Math.min(100, Math.max(0, ((x - first) / (last - first)) * 100));
	return {
		value: at(value),
		spread: { from: at(value - expanded), to: at(value + expanded) },
		limits: sides.map(({ side, limit }) => ({ side, limit, at: at(limit) })),
		zones: zones(limits, expanded, first, last, at),
	};
}

function zones(
	{ low, high }: Judged["limits"],
	expanded: number,
	first: number,
	last: number,
	at: (x: number) => number,
): Zone[] {
	// With two limits closer together than the uncertainty, all between them is doubtful.
	const lowIn = low === null ? first : low + expanded;
	const highIn = high === null ? last : high - expanded;
	const crossed = lowIn > highIn;
	const middle = low !== null && high !== null ? (low + high) / 2 : 0;
	const insideFrom = crossed ? middle : lowIn;
	const insideTo = crossed ? middle : highIn;
	const all: Zone[] = [];
	const add = (kind: Zone["kind"], from: number, to: number) => {
		if (to > from) all.push({ kind, from: at(from), to: at(to) });
	};
	if (low !== null) {
		add("outside", first, low - expanded);
		add("doubtful", low - expanded, insideFrom);
	}
	add("inside", insideFrom, insideTo);
	if (high !== null) {
		add("doubtful", insideTo, high + expanded);
		add("outside", high + expanded, last);
	}
	return all;
}
