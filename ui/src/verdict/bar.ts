/**
 * Where things stand on the verdict's bar: percent of its width from the left.
 *
 * In: a value, its uncertainty and its limits, all in one unit. Out: positions. Says nothing about
 * whether a value passes: the node does.
 */
export interface Judged {
	value: number;
	expanded: number;
	/** How near to a limit a value is in doubt: the shop's guard band. The uncertainty if absent. */
	guard?: number;
	limits: { low: number | null; high: number | null };
}

/** A stretch of the bar. `doubtful`: nearer to a limit than the guard band. */
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

export function bar({ value, expanded, guard = expanded, limits }: Judged): Bar | undefined {
	const sides = (["low", "high"] as const).flatMap((side) => {
		const limit = limits[side];
		return limit === null ? [] : [{ side, limit }];
	});
	if (sides.length === 0 || !Number.isFinite(value) || !Number.isFinite(expanded)) return undefined;
	const seen = [value - expanded, value + expanded];
	for (const { limit } of sides) seen.push(limit - guard, limit + guard);
	const low = Math.min(...seen);
	const high = Math.max(...seen);
	const room = high > low ? (high - low) * ROOM : 1;
	const [first, last] = [low - room, high + room];
	const at = (x: number) => Math.min(100, Math.max(0, ((x - first) / (last - first)) * 100));
	return {
		value: at(value),
		spread: { from: at(value - expanded), to: at(value + expanded) },
		limits: sides.map(({ side, limit }) => ({ side, limit, at: at(limit) })),
		zones: zones(limits, guard, first, last, at),
	};
}

function zones(
	{ low, high }: Judged["limits"],
	guard: number,
	first: number,
	last: number,
	at: (x: number) => number,
): Zone[] {
	// With two limits closer together than the guard band, all between them is doubtful.
	const lowIn = low === null ? first : low + guard;
	const highIn = high === null ? last : high - guard;
	const crossed = lowIn > highIn;
	const middle = low !== null && high !== null ? (low + high) / 2 : 0;
	const insideFrom = crossed ? middle : lowIn;
	const insideTo = crossed ? middle : highIn;
	const all: Zone[] = [];
	const add = (kind: Zone["kind"], from: number, to: number) => {
		if (to > from) all.push({ kind, from: at(from), to: at(to) });
	};
	if (low !== null) {
		add("outside", first, low - guard);
		add("doubtful", low - guard, insideFrom);
	}
	add("inside", insideFrom, insideTo);
	if (high !== null) {
		add("doubtful", insideTo, high + guard);
		add("outside", high + guard, last);
	}
	return all;
}
