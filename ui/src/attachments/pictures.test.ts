/** What is shown in place, and how large a file is said to be. */
import { expect, test, vi } from "vitest";
import type { Desk } from "../bridge/desk";
import { Refused } from "../bridge/desk";
import { Pictures, sizeOf } from "./pictures";

const made: Blob[] = [];
URL.createObjectURL = (blob: Blob) => `blob:${made.push(blob)}`;
URL.revokeObjectURL = vi.fn();

const deskOf = (answer: () => unknown) => {
	const call = vi.fn(() => Promise.resolve().then(answer));
	return { call: call as unknown as Desk["call"] };
};
const file = (media_type: string) => ({ name: "a", media_type, base64: btoa("bytes") });

test("a photograph is asked for once and given back at the end", async () => {
	const desk = deskOf(() => file("image/jpeg"));
	const pictures = new Pictures(desk, "s");
	const [first, again] = await Promise.all([
		pictures.address("p", "h", true),
		pictures.address("p", "h", true),
	]);
	expect(first).toMatch(/^blob:/);
	expect(again).toBe(first);
	expect(desk.call).toHaveBeenCalledTimes(1);
	pictures.close();
	await Promise.resolve();
	expect(URL.revokeObjectURL).toHaveBeenCalledWith(first);
});

test.each(["image/svg+xml", "text/html", "application/pdf"])("%s is never shown in place", async (type) => {
	const count = made.length;
	expect(await new Pictures(deskOf(() => file(type)), "s").address("p", "h", true)).toBeUndefined();
	expect(made.length).toBe(count);
});

test("a large one is asked for by its hash, and is held to the same kinds", async () => {
	const desk = deskOf(() => file("image/png"));
	const whole = vi.fn((_: Desk, { hash }: { hash: string }) =>
		Promise.resolve(new Blob([], { type: hash === "h" ? "image/jpeg" : "text/html" })),
	);
	const pictures = new Pictures(desk, "s", whole);
	expect(await pictures.address("p", "h", false)).toMatch(/^blob:/);
	expect(whole).toHaveBeenCalledWith(desk, { session: "s", attachment: "p", hash: "h" });
	expect(await pictures.address("q", "page", false)).toBeUndefined();
	expect(desk.call).not.toHaveBeenCalled();
});

test("what was refused is asked for again", async () => {
	let refused = true;
	const desk = deskOf(() => {
		if (refused) throw new Refused({ code: "not-here", what: "w", at: null, help: "h" });
		return file("image/png");
	});
	const pictures = new Pictures(desk, "s");
	expect(await pictures.address("p", "h", true)).toBeUndefined();
	refused = false;
	expect(await pictures.address("p", "h", true)).toMatch(/^blob:/);
});

test.each([
	[999, [999, "B"]],
	[1000, [1, "kB"]],
	[999_499, [999, "kB"]],
	[999_500, [1, "MB"]],
	[3_456_789, [3.5, "MB"]],
])("%d bytes", (bytes, said) => expect(sizeOf(bytes)).toEqual(said));
