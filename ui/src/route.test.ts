/** The address names a place; whatever it does not name is Today. */
import { expect, test } from "vitest";
import { benchRoute, readRoute, sessionRoute, todayRoute } from "./route";

test("a session's address leads back to it, with any sign in its id", () => {
	expect(readRoute(sessionRoute("01J9/ä"))).toEqual({ place: "session", id: "01J9/ä" });
});
test("the bench is named with and without a topic", () => {
	expect(readRoute(benchRoute())).toEqual({ place: "bench", topic: undefined });
	expect(readRoute(benchRoute("site noise"))).toEqual({ place: "bench", topic: "site noise" });
});
const others = [todayRoute, "", "#", "#/session/", "#/session/a/b", "#/session", "#/bench/a/b", "#/session/%E0%A4%A"];
test.each(others)("%j is Today", (hash) => {
	expect(readRoute(hash)).toEqual({ place: "today" });
});
