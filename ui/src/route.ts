/** Which place the address names: `#/today`, `#/session/<id>`. Anything else is Today. */
export type Route = { place: "today" } | { place: "session"; id: string };

export function readRoute(hash: string): Route {
	const id = /^#\/session\/([^/]+)$/.exec(hash)?.[1];
	return id === undefined ? { place: "today" } : { place: "session", id: decodeURIComponent(id) };
}

export const todayRoute = "#/today";
export const sessionRoute = (id: string) => `#/session/${encodeURIComponent(id)}`;
