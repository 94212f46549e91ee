/**
 * One POST to the hub that served this page: JSON both ways, same origin, answered in the language of
 * the screen. Throws what was refused.
 */
import { screenLanguage } from "./language";
import { asRefused } from "./refused";

/** A browser carries what outlives its page up to 64 KiB in all; what is larger has to be waited for. */
const OUTLIVES_CHARS = 8_192;

/** Where it `outlives` the page, somebody who has just entered something may close the tab. */
export async function post(
	path: string,
	body: unknown,
	ask: typeof fetch,
	outlives = false,
): Promise<unknown> {
	const sent = JSON.stringify(body);
	let answer: { ok: boolean; json: unknown };
	try {
		const response = await ask(path, {
			method: "POST",
			headers: { "content-type": "application/json", "guyline-language": screenLanguage() },
			body: sent,
			keepalive: outlives && sent.length <= OUTLIVES_CHARS,
		});
		answer = { ok: response.ok, json: await response.json() };
	} catch (error) {
		throw asRefused(error);
	}
	if (!answer.ok) throw asRefused(answer.json);
	return answer.json;
}

/** The browser's own way to ask. */
export const browserFetch: typeof fetch = (url, how) => fetch(url, how);
