/** What the list of checks shows of each: its stage, its latest reading, and which one is next. */
import type { CheckState } from "../bridge/types/CheckState";
import type { ReadingState } from "../bridge/types/ReadingState";
import type { Stage } from "../bridge/types/Stage";

/** The checks as they come, cut where the stage changes. */
export function byStage(checks: CheckState[]): { stage: Stage; list: CheckState[] }[] {
	const groups: { stage: Stage; list: CheckState[] }[] = [];
	for (const state of checks) {
		const last = groups.at(-1);
		if (last?.stage === state.check.stage) last.list.push(state);
		else groups.push({ stage: state.check.stage, list: [state] });
	}
	return groups;
}

/** The newest reading that stands: ids are given in order of time. As left goes before as found. */
export function latest(state: CheckState): ReadingState | undefined {
	const standing = state.readings.filter((reading) => reading.standing);
	return standing.findLast(({ reading }) => reading.phase === "as-left") ?? standing.at(-1);
}

/** The first check without a reading that stands; one that is made only when asked for is not next. */
export function nextCheck(checks: CheckState[]): CheckState | undefined {
	return checks.find((state) => !state.check.optional && latest(state) === undefined);
}
