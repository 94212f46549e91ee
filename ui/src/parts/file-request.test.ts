/** A file that is asked for: what is told is what became of the latest request, and nothing older. */
import { expect, test } from "vitest";
import { Refused } from "../bridge/refused";
import type { ReportFile } from "../bridge/types/ReportFile";
import { FileRequest } from "./file-request.svelte";

const file: ReportFile = { name: "visit.pdf", media_type: "application/pdf", base64: "" };
const refused = new Refused({ code: "not-rendered", what: "no room", at: null, help: "make some" });
const request = () => new FileRequest(({ name }) => Promise.resolve({ name, at: undefined }));

test("a file that was made is told, and no longer once a later one is refused", async () => {
	const asked = request();
	await asked.ask(() => Promise.resolve(file));
	expect(asked.kept).toEqual({ name: "visit.pdf", at: undefined });
	await asked.ask(() => Promise.reject(refused));
	expect(asked.kept).toBeUndefined();
	expect(asked.refusal?.what).toBe("no room");
	await asked.ask(() => Promise.resolve(file));
	expect(asked.refusal).toBeUndefined();
	expect(asked.kept?.name).toBe("visit.pdf");
});

test("while one is under way it says so, also where what comes is no refusal", async () => {
	const asked = request();
	let answer: (made: ReportFile) => void = () => {};
	const under = asked.ask(() => new Promise((made) => (answer = made)));
	expect(asked.busy).toBe(true);
	answer(file);
	await under;
	expect(asked.busy).toBe(false);
	await expect(asked.ask(() => Promise.reject(new TypeError("a bug")))).rejects.toThrow("a bug");
	expect(asked.busy).toBe(false);
});
