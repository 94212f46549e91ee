/**
 * Which place the address names: `#/today`, `#/session/<id>`, `#/bench`, `#/bench/<topic>`,
 * `#/board`, `#/devices`, `#/papers`, `#/papers/<section>`, `#/site/<id>`,
 * `#/site/<id>/<section>`. Anything else is Today.
 *
 * Two addresses bring something instead, and it is taken out of them at once, since what is kept
 * there is found by others: `#/sign-in/<code>`, and `#/join/<invitation>`, which a link opens.
 */
import { papersWords } from "./words/papers";

export type PapersSection = keyof typeof papersWords.sections;
export type SiteSection = keyof typeof papersWords.siteSections;

export type Route =
	| { place: "today" }
	| { place: "board" }
	| { place: "devices" }
	| { place: "session"; id: string }
	| { place: "bench"; topic: string | undefined }
	| { place: "papers"; section: PapersSection }
	| { place: "site"; id: string; section: SiteSection };

const pattern = /^#\/(session|bench|papers|site|board|devices)(?:\/([^/]+))?(?:\/([^/]+))?$/;

export function readRoute(hash: string): Route {
	const [, place, one, two] = pattern.exec(hash) ?? [];
	if (place === undefined || (two !== undefined && place !== "site")) return { place: "today" };
	try {
		const name = one === undefined ? undefined : decodeURIComponent(one);
		if (place === "board" || place === "devices") return { place };
		if (place === "bench") return { place, topic: name };
		if (place === "papers") {
			return { place, section: within(papersWords.sections, name) ?? "shop" };
		}
		if (name === undefined) return { place: "today" };
		if (place === "session") return { place, id: name };
		return { place: "site", id: name, section: within(papersWords.siteSections, two) ?? "site" };
	} catch {
		return { place: "today" }; // Somebody typed a "%" that stands for nothing.
	}
}

/** What an address brings besides a place: a code to sign in with, or an invitation. */
export interface Brought {
	code?: string;
	invitation?: string;
}

/** What an address brings, and where to be with it; none where it brings nothing. */
export function broughtIn(hash: string): { brought: Brought; place: string } | undefined {
	const code = /^#\/sign-in\/([0-9A-Za-z-]{1,40})$/.exec(hash)?.[1];
	if (code !== undefined) return { brought: { code }, place: todayRoute };
	const line = /^#\/join\/([^/]{1,6000})$/.exec(hash)?.[1];
	if (line === undefined) return undefined;
	try {
		return { brought: { invitation: decodeURIComponent(line) }, place: devicesRoute };
	} catch {
		return undefined; // Somebody typed a "%" that stands for nothing.
	}
}

/** Takes what this page's address brings out of it. */
export function takeBrought(): Brought {
	const found = broughtIn(location.hash);
	if (found !== undefined) history.replaceState(null, "", found.place);
	return found?.brought ?? {};
}

/** The name, if it is one of these. */
function within<S extends object>(sections: S, name: string | undefined): keyof S | undefined {
	return Object.keys(sections).find((known) => known === name) as keyof S | undefined;
}

export const todayRoute = "#/today";
export const boardRoute = "#/board";
export const devicesRoute = "#/devices";
export const sessionRoute = (id: string) => `#/session/${encodeURIComponent(id)}`;
export const benchRoute = (topic?: string) =>
	topic === undefined ? "#/bench" : `#/bench/${encodeURIComponent(topic)}`;
export const papersRoute = (section: PapersSection = "shop") => `#/papers/${section}`;
export const siteRoute = (id: string, section: SiteSection = "site") =>
	`#/site/${encodeURIComponent(id)}/${section}`;
