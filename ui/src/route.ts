/**
 * Which place the address names: `#/today`, `#/session/<id>`, `#/bench`, `#/bench/<topic>`,
 * `#/board`, `#/devices`, `#/papers`, `#/papers/<section>`, `#/site/<id>`,
 * `#/site/<id>/<section>`. Anything else is Today.
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

/** The code a link to sign in with brings: `#/sign-in/<code>`. */
export const codeIn = (hash: string) => /^#\/sign-in\/([0-9A-Za-z-]{1,40})$/.exec(hash)?.[1];

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
