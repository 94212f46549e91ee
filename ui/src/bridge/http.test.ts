/** What a screen is told when the desk refuses, answers nonsense, or does not answer at all. */
import { expect, test } from "vitest";
import { NoAnswer, Refused } from "./refused";
import { HttpDesk } from "./http";

const asked: { url: unknown; how?: RequestInit }[] = [];
const deskOf = (answer: () => Response) =>
	new HttpDesk((url, how) => {
		asked.push({ url, how });
		return Promise.resolve().then(answer);
	});
const refusal = { code: "nobody-holds", what: "nobody holds it", at: null, help: "choose" };

test("an answer is given as it came, from a POST of the body", async () => {
	const given = await deskOf(() => Response.json({ position: 7 })).call("position", {});
	expect(given).toEqual({ position: 7 });
	expect(asked.at(-1)).toMatchObject({ url: "/api/position", how: { method: "POST", body: "{}" } });
});

test("the desk is told which language the screen is in", async () => {
	await deskOf(() => Response.json({ position: 7 })).call("position", {});
	expect(new Headers(asked.at(-1)?.how?.headers).get("guyline-language")).toBe("english");
});

test("what is recorded reaches the node though its page is left; what is looked at need not", async () => {
	const desk = deskOf(() => Response.json({ change: "c1" }));
	const kept = async (text: string) => {
		await desk.call("set-field", { document: "d", path: ["name"], value: text });
		return asked.at(-1)?.how?.keepalive;
	};
	expect(await kept("short")).toBe(true);
	// More than 64 KiB on the way in all, and the browser sends none of it.
	expect(await kept("x".repeat(70_000))).toBe(false);
	await desk.call("position", {});
	expect(asked.at(-1)?.how?.keepalive).toBe(false);
});

test("a refusal keeps its code, its words and its help", async () => {
	const call = deskOf(() => Response.json(refusal, { status: 422 })).call("position", {});
	await expect(call).rejects.toSatisfy((error: Refused) => {
		expect(error).toBeInstanceOf(Refused);
		expect(error).not.toBeInstanceOf(NoAnswer);
		expect(error.refusal).toEqual(refusal);
		return true;
	});
});

test.each([
	["the connection breaks", () => { throw new TypeError("failed to fetch"); }],
	["the body is no JSON", () => new Response("<html>")],
	["an error's body is no refusal", () => Response.json("bad gateway", { status: 502 })],
])("%s: no answer, said as a refusal with a next action", async (_, answer) => {
	const call = deskOf(answer as () => Response).call("position", {});
	await expect(call).rejects.toBeInstanceOf(NoAnswer);
	await expect(call).rejects.toHaveProperty("refusal.help");
});
