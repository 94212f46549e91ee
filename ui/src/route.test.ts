/** The address names a place; whatever it does not name is Today. */
import { expect, test } from "vitest";
import {
	benchRoute,
	broughtIn,
	devicesRoute,
	papersRoute,
	readRoute,
	sessionRoute,
	siteRoute,
	todayRoute,
} from "./route";

test("a session's address leads back to it, with any sign in its id", () => {
	expect(readRoute(sessionRoute("01J9/ä"))).toEqual({ place: "session", id: "01J9/ä" });
});
test("the bench is named with and without a topic", () => {
	expect(readRoute(benchRoute())).toEqual({ place: "bench", topic: undefined });
	expect(readRoute(benchRoute("site noise"))).toEqual({ place: "bench", topic: "site noise" });
});
test("papers and sites are named with their section", () => {
	expect(readRoute(papersRoute("plan"))).toEqual({ place: "papers", section: "plan" });
	expect(readRoute("#/papers")).toEqual({ place: "papers", section: "shop" });
	expect(readRoute("#/papers/colour")).toEqual({ place: "papers", section: "shop" });
	expect(readRoute(siteRoute("01J/x", "mixing"))).toEqual({
		place: "site",
		id: "01J/x",
		section: "mixing",
	});
	expect(readRoute("#/site/01J")).toEqual({ place: "site", id: "01J", section: "site" });
});
const others = [todayRoute, "", "#", "#/session/", "#/session/a/b", "#/session", "#/bench/a/b", "#/papers/a/b", "#/site", "#/session/%E0%A4%A"];
test.each(others)("%j is Today", (hash) => {
	expect(readRoute(hash)).toEqual({ place: "today" });
});

test("a code to sign in with and an invitation are brought by an address, whole, to their place", () => {
	const line = "guyline-join-1 1f e0 0123456789ABCDEF 192.0.2.7:4771,[2001:db8::1]:4771";
	expect(broughtIn(`#/join/${encodeURIComponent(line)}`)).toEqual({
		brought: { invitation: line },
		place: devicesRoute,
	});
	expect(broughtIn("#/sign-in/0123-4567")).toEqual({ brought: { code: "0123-4567" }, place: todayRoute });
	for (const none of ["", todayRoute, devicesRoute, "#/join/", "#/join/a/b", "#/join/%E0%A4%A", "#/sign-in/<b>"]) {
		expect(broughtIn(none)).toBeUndefined();
	}
});
