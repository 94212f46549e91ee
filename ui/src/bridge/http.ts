/** The desk of the hub that served this page: one POST a command, JSON both ways, same origin. */
import type { Asks, Desk, Gives } from "./desk";
import { asRefused } from "./refused";
import type { Commands } from "./types/Commands";

export class HttpDesk implements Desk {
	#ask: typeof fetch;

	/** `ask` stands in for the browser's own fetch in tests. */
	constructor(ask: typeof fetch = (url, how) => fetch(url, how)) {
		this.#ask = ask;
	}

	async call<C extends keyof Commands>(command: C, body: Asks<C>): Promise<Gives<C>> {
		let answer: { ok: boolean; json: unknown };
		try {
			const response = await this.#ask(`/api/${command}`, {
				method: "POST",
				headers: { "content-type": "application/json" },
				body: JSON.stringify(body),
			});
			answer = { ok: response.ok, json: await response.json() };
		} catch (error) {
			throw asRefused(error);
		}
		if (!answer.ok) throw asRefused(answer.json);
		return answer.json as Gives<C>;
	}
}
