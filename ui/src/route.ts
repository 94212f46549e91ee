/** Which place the address names: `#/today`, `#/session/<id>`. Anything else is Today. */
export type Route = { place: "today" } | { place: "session"; id: string };

export function readRoute(hash: string): Route {
	const id = /^#\/session\/([^/]+)$/.exec(hash)?.[1];
	if (id === undefined) return { place: "today" };
	try {
		return { place: "session", id: decodeURIComponent(id) };
	} catch {
		return { place: "today" }; // Somebody typed a "%" that stands for nothing.
	}
}

export const todayRoute = "#/today";
export const sessionRoute = (id: string) => `#/session/${encodeURIComponent(id)}`;
