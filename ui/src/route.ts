/**
 * Which place the address names: `#/today`, `#/session/<id>`, `#/bench`, `#/bench/<topic>`.
 * Anything else is Today.
 */
export type Route =
	| { place: "today" }
	| { place: "session"; id: string }
	| { place: "bench"; topic: string | undefined };

export function readRoute(hash: string): Route {
	const [, place, rest] = /^#\/(session|bench)(?:\/([^/]+))?$/.exec(hash) ?? [];
	if (place === undefined) return { place: "today" };
	try {
		const name = rest === undefined ? undefined : decodeURIComponent(rest);
		if (place === "bench") return { place, topic: name };
		return name === undefined ? { place: "today" } : { place: "session", id: name };
	} catch {
		return { place: "today" }; // Somebody typed a "%" that stands for nothing.
	}
}

export const todayRoute = "#/today";
export const sessionRoute = (id: string) => `#/session/${encodeURIComponent(id)}`;
export const benchRoute = (topic?: string) =>
	topic === undefined ? "#/bench" : `#/bench/${encodeURIComponent(topic)}`;
