/**
 * A crew's phone in a hub's screens, over TLS: a photograph that is larger than any command goes up,
 * is looked at and comes down as it went; on its way that is said, and what is too large or comes
 * when the hub is busy is told in words and stays chosen.
 */
import { readFile, truncate, writeFile } from "node:fs/promises";
import type { Page } from "@playwright/test";
import { expect, test, type Day } from "../day.ts";

test.use({ ignoreHTTPSErrors: true, locale: "en-GB" });

/** A picture of noise, as large as a phone's camera makes them. */
const photograph = `(async () => {
	const canvas = document.createElement("canvas");
	[canvas.width, canvas.height] = [1800, 1350];
	const paper = canvas.getContext("2d");
	const pixels = paper.createImageData(1800, 1350);
	let seed = 7;
	for (let at = 0; at < pixels.data.length; at += 1) {
		seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0;
		pixels.data[at] = at % 4 === 3 ? 255 : seed >>> 24;
	}
	paper.putImageData(pixels, 0, 0);
	return canvas.toDataURL("image/jpeg", 0.95).split(",")[1];
})()`;

/** Lets the page's browser in as a crew's, and opens the visit's files. */
async function letIn(page: Page, day: Day, node: string) {
	const { home, address } = await day.hub(node);
	const ask = async (command: string, data: object) =>
		(await (await page.request.post(`${home}/api/${command}`, { data })).json()) as never;
	const { people }: { people: object } = await ask("today", {});
	const [person] = Object.keys(people);
	const grant = { name: "van 1's phone", role: "crew", person };
	const { code }: { code: string } = await ask("grant-browser", grant);
	await page.goto(`${address}/#/sign-in/${code}`);
	await page.getByRole("button", { name: "Sign in" }).click();
	await page.locator("a[href^='#/session/']").first().click();
	await page.getByRole("button", { name: "Photos and files (0)" }).click();
}

/** The browser tells of an answer that is a refusal; nothing else may have complained. */
function onlyRefusals(complaints: string[], status: RegExp) {
	expect(complaints.filter((said) => !status.test(said))).toEqual([]);
	complaints.length = 0;
}

test("a photograph goes up from a phone, and comes down as it went", async ({ page, day, complaints }, info) => {
	await letIn(page, day, `phone-${info.project.name}`);
	const bytes = Buffer.from((await page.evaluate(photograph)) as string, "base64");
	expect(bytes.length).toBeGreaterThan(2 * 1024 * 1024);
	const photo = { name: "IMG_0001.jpg", mimeType: "image/jpeg", buffer: bytes };
	await page.locator("input[type=file][capture]").setInputFiles(photo);
	// Held back until it was seen that the screen says so.
	let go = () => {};
	const seen = new Promise<void>((resolve) => (go = resolve));
	await page.route("**/api/attach", async (route) => {
		await seen;
		await route.continue();
	});
	await page.getByRole("button", { name: "Attach it" }).click();
	await expect(page.getByRole("status").filter({ hasText: "MB are on their way" })).toBeVisible();
	await expect(page.getByRole("button", { name: "Attaching…" })).toBeDisabled();
	go();

	const card = page.locator("button.card");
	await expect(card).toContainText("van 1's phone, by browser at");
	await page.unroute("**/api/attach");
	const small = card.locator("img");
	await expect.poll(() => small.evaluate((img: HTMLImageElement) => img.naturalWidth)).toBe(400);
	await card.click();
	const sheet = page.getByRole("dialog");
	const large = sheet.getByRole("img");
	await expect.poll(() => large.evaluate((img: HTMLImageElement) => img.naturalWidth)).toBe(1800);
	const [kept] = await Promise.all([
		page.waitForEvent("download"),
		sheet.getByRole("button", { name: "Save the file" }).click(),
	]);
	expect(kept.suggestedFilename()).toMatch(/^[0-9a-f]{12}\.jpg$/);
	expect((await readFile(await kept.path())).equals(bytes)).toBe(true);
	await sheet.getByLabel("Change the caption").fill("The duplexer's label");
	await sheet.getByRole("button", { name: "Keep the caption" }).click();
	await expect(sheet).toContainText("The duplexer's label");
	await sheet.getByRole("button", { name: "Take it off the visit" }).click();
	await expect(page.locator("section.open")).toContainText("Taken off the visit");
	// Before it had signed in, the page was told so.
	onlyRefusals(complaints, /401/);
});

test("what is too large, or meets a busy hub, is told and stays chosen", async ({ page, day, complaints }, info) => {
	await letIn(page, day, `busy-${info.project.name}`);
	const choose = async (megabytes: number) => {
		const file = info.outputPath("recording.wav");
		await writeFile(file, "");
		await truncate(file, megabytes * 1024 * 1024);
		await page.locator("input[type=file][accept*='.wav']").setInputFiles(file);
	};
	let sent = 0;
	await page.route("**/api/attach", (route) => {
		sent += 1;
		const json = { code: "too-often", what: "too many at once", at: null, help: "try again in 10 s" };
		return route.fulfill({ status: 503, headers: { "retry-after": "10" }, json });
	});
	await choose(27);
	await page.getByRole("button", { name: "Attach it" }).click();
	await expect(page.getByRole("alert")).toContainText("too large to come from a browser");
	expect(sent, "nothing was sent that would not be taken").toBe(0);
	await choose(2);
	await page.getByRole("button", { name: "Attach it" }).click();
	await expect(page.getByRole("alert")).toContainText("try again in 10 s");
	await expect(page.locator("form")).toContainText("recording.wav");
	await expect(page.getByRole("button", { name: "Attach it" })).toBeEnabled();
	onlyRefusals(complaints, /401|503/);
});
