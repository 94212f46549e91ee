/**
 * One POST to the hub that served this page: JSON both ways, same origin, answered in the language of
 * the screen. Throws what was refused.
 */
import { screenLanguage } from "./language";
import { asRefused } from "./refused";

export async function post(path: string, body: unknown, ask: typeof fetch): Promise<unknown> {
	let answer: { ok: boolean; json: unknown };
	try {
		const response = await ask(path, {
			method: "POST",
			headers: { "content-type": "application/json", "guyline-language": screenLanguage() },
			body: JSON.stringify(body),
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
