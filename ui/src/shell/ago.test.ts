/** "3 min ago" and its neighbours, at their edges; a clock that runs ahead is not guessed at. */
import { expect, test } from "vitest";
import { words } from "../words/en";
import { ago } from "./ago";

const now_ms = Date.parse("2026-05-14T12:00:00Z");
const said = (at: string) => ago(at, now_ms, words.ago);

test.each([
	["2026-05-14T11:59:01Z", "just now"],
	["2026-05-14T11:59:00Z", "1 min ago"],
	["2026-05-14T11:00:01Z", "59 min ago"],
	["2026-05-14T11:00:00Z", "1 h ago"],
	["2026-05-13T12:00:01Z", "23 h ago"],
	["2026-05-14T12:00:30Z", "just now"],
	["not a time", "not a time"],
])("%s is said as %s", (at, expected) => expect(said(at)).toBe(expected));

test.each(["2026-05-13T12:00:00Z", "2026-05-14T12:05:00Z"])("%s is said as a date", (at) => {
	expect(said(at)).toContain("2026");
});
