/**
 * How long ago something was, as people say it; the day once it is more than a day. A time ahead of
 * this device's clock is said as the time it names: clocks differ, and nothing is guessed.
 */
import { moment } from "../words/numbers";

const MINUTE_MS = 60_000;
const HOUR_MS = 60 * MINUTE_MS;
const DAY_MS = 24 * HOUR_MS;

interface Say {
	now: string;
	minutes: (count: number) => string;
	hours: (count: number) => string;
}

export function ago(at: string, now_ms: number, say: Say): string {
	const then = new Date(at);
	const past_ms = now_ms - then.getTime();
	if (Number.isNaN(past_ms)) return at;
	if (past_ms < -MINUTE_MS || past_ms >= DAY_MS) {
		return moment(at);
	}
	if (past_ms < MINUTE_MS) return say.now;
	if (past_ms < HOUR_MS) return say.minutes(Math.floor(past_ms / MINUTE_MS));
	return say.hours(Math.floor(past_ms / HOUR_MS));
}
