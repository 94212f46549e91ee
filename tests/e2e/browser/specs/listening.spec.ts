/**
 * The sound input on the Bench: a known sound comes in as a microphone would give it and is told as
 * the same sound in a file is; a browser that refuses, and one that has none, are told in words.
 *
 * Chromium plays a WAV file of ours into its own stand-in for a microphone, over and over.
 */
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { chromium, type Page } from "@playwright/test";
import { expect, test } from "../day.ts";

const RATE = 48_000;

/** Ten whole seconds of 1 kHz at half of full scale with its second harmonic a tenth as strong. */
function tone(): Buffer {
	const count = 10 * RATE;
	const file = Buffer.alloc(44 + 2 * count);
	file.write("RIFF", 0);
	file.writeUInt32LE(36 + 2 * count, 4);
	file.write("WAVEfmt ", 8);
	file.writeUInt32LE(16, 16);
	file.writeUInt16LE(1, 20);
	file.writeUInt16LE(1, 22);
	file.writeUInt32LE(RATE, 24);
	file.writeUInt32LE(2 * RATE, 28);
	file.writeUInt16LE(2, 32);
	file.writeUInt16LE(16, 34);
	file.write("data", 36);
	file.writeUInt32LE(2 * count, 40);
	for (let n = 0; n < count; n += 1) {
		const turn = (2 * Math.PI * 1000 * n) / RATE;
		file.writeInt16LE(Math.round(32767 * (0.5 * Math.sin(turn) + 0.05 * Math.sin(2 * turn))), 44 + 2 * n);
	}
	return file;
}

/** The answer that stands under a label, as a number. */
const answer = async (page: Page, label: string) => {
	const line = page.locator(`xpath=//dt[normalize-space()='${label}']/following-sibling::dd/strong`);
	return Number((await line.first().innerText()).replace("\u2212", "-"));
};

test("what comes in is told as a file's sound is", async ({ day, launchOptions, viewport }) => {
	const folder = mkdtempSync(join(tmpdir(), "guyline-sound-"));
	const sound = join(folder, "tone.wav");
	writeFileSync(sound, tone());
	const browser = await chromium.launch({
		...launchOptions,
		args: [
			...(launchOptions.args ?? []),
			"--use-fake-ui-for-media-stream",
			"--use-fake-device-for-media-stream",
			`--use-file-for-fake-audio-capture=${sound}`,
		],
	});
	try {
		const page = await browser.newPage({ viewport });
		const said: string[] = [];
		page.on("console", (line) => line.type() === "error" && said.push(line.text()));
		await page.goto(`${await day.at("ines")}#/bench/audio`);
		await page.getByLabel(/^weighting/).fill("flat");
		await page.getByLabel(/^tone/).fill("1000");
		await page.getByRole("button", { name: "Listen to the sound input" }).click();
		const status = page.getByRole("region", { name: "Sound input" }).getByRole("status");
		await expect(status).toContainText(/[2-9] seconds looked at/, { timeout: 30_000 });
		await page.getByRole("button", { name: "Stop listening" }).click();
		await expect(page.locator(".answers")).toContainText("sinad");
		// A tenth is 20 dB: S/(N+D) of the file by arithmetic. SINAD is 10·log10(1 + 1/0.01) = 20.04.
		expect(await answer(page, "sinad")).toBeCloseTo(20.04, 0);
		expect(await answer(page, "frequency")).toBeCloseTo(1000, 0);
		expect(said).toEqual([]);
	} finally {
		await browser.close();
		rmSync(folder, { recursive: true });
	}
});

test("a browser that may not listen says what to do", async ({ page, day }) => {
	await page.goto(`${await day.at("ines")}#/bench/audio`);
	await page.getByRole("button", { name: "Listen to the sound input" }).click();
	const status = page.getByRole("region", { name: "Sound input" }).getByRole("status");
	await expect(status).toContainText(/This page may not listen|No sound input is there/);
	await expect(status).toContainText("open a WAV file");
});

test("a window that gives no sound to a page says so", async ({ page, day }) => {
	await page.addInitScript(() => Object.defineProperty(navigator, "mediaDevices", { value: undefined }));
	await page.goto(`${await day.at("ines")}#/bench/audio`);
	await page.getByRole("button", { name: "Listen to the sound input" }).click();
	await expect(page.getByRole("region", { name: "Sound input" })).toContainText("No sound comes through here.");
});
