/** The desk of the hub that served this page: one POST a command, JSON both ways, same origin. */
import type { Asks, Desk, Gives } from "./desk";
import { browserFetch, post } from "./post";
import { RIGHTS, type Commands } from "./types/Commands";

export class HttpDesk implements Desk {
	#ask: typeof fetch;

	/** `ask` stands in for the browser's own fetch in tests. */
	constructor(ask: typeof fetch = browserFetch) {
		this.#ask = ask;
	}

	async call<C extends keyof Commands>(command: C, body: Asks<C>): Promise<Gives<C>> {
		const records = RIGHTS[command] !== "read";
		return (await post(`/api/${command}`, body, this.#ask, records)) as Gives<C>;
	}
}
