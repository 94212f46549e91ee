/** Signing a browser in at the hub that served this page, and out. Not for the window: it is in. */
import { asRefused } from "./refused";

async function post(path: string, body: unknown): Promise<void> {
	let answer: { ok: boolean; json: unknown };
	try {
		const response = await fetch(path, {
			method: "POST",
			headers: { "content-type": "application/json" },
			body: JSON.stringify(body),
		});
		answer = { ok: response.ok, json: await response.json() };
	} catch (error) {
		throw asRefused(error);
	}
	if (!answer.ok) throw asRefused(answer.json);
}

/** Exchanges a code for the cookie. Throws `Refused` where it lets nobody in. */
export const signIn = (code: string) => post("/sign-in", { code });

/** Ends what this browser was granted. */
export const signOut = () => post("/sign-out", {});
