/**
 * What a customer is given: a site's report from the Site screen, the shop's sign from a chosen file
 * on its papers, and the fleet over the years on the board.
 */
import { readFileSync } from "node:fs";
import type { Page } from "@playwright/test";
import { axeOn } from "../axe.ts";
import { expect, test } from "../day.ts";

/** A sign as a browser draws it. */
const sign = `(() => {
	const canvas = document.createElement("canvas");
	[canvas.width, canvas.height] = [240, 80];
	const paper = canvas.getContext("2d");
	paper.fillStyle = "#123a6b";
	paper.fillRect(0, 0, 240, 80);
	paper.fillStyle = "#fff";
	paper.fillRect(20, 20, 40, 40);
	return canvas.toDataURL("image/png").split(",")[1];
})()`;

async function sound(page: Page) {
	const { violations } = await axeOn(page).analyze();
	expect(violations.map(({ id, nodes }) => `${id}: ${nodes.map((n) => n.html).join("\n")}`)).toEqual([]);
	const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
	expect(wide).toBeLessThanOrEqual(0);
}

test("the site's report is made in every kind of file", async ({ page, day }) => {
	const address = await day.at("hub");
	const answer = await page.request.post(`${address}/api/papers`, { data: {} });
	const [site] = ((await answer.json()) as { sites: { id: string }[] }).sites;
	await page.goto(`${address}/#/site/${site?.id}/report`);
	await expect(page.getByRole("heading", { name: "Report of the site" })).toBeVisible();
	for (const [button, end, start] of [
		["PDF", "pdf", "%PDF-"],
		["Web page", "html", "<!DOCTYPE html>"],
		["Plain text", "txt", "Larkspur Radio Works"],
	] as const) {
		const download = page.waitForEvent("download");
		await page.getByRole("button", { name: button }).click();
		const file = await download;
		expect(file.suggestedFilename()).toMatch(new RegExp(`^owl-knob-site-.*\\.${end}$`));
		expect(readFileSync(await file.path()).toString("latin1").startsWith(start)).toBe(true);
	}
	await sound(page);
});

test("the shop's sign is chosen, shown and taken out; what is none says why", async ({ page, day, complaints }) => {
	await page.goto(`${await day.at("ines")}/#/papers/shop`);
	await expect(page.getByText("None yet.")).toBeVisible();
	const chooser = page.getByLabel("Choose a picture");
	const choose = (name: string, buffer: Buffer) =>
		page.locator("input[type=file]").setInputFiles({ name, mimeType: "image/png", buffer });
	await choose("large.png", Buffer.alloc(90_000, 1));
	await expect(page.getByRole("alert")).toContainText("large.png has 88 kB: make it smaller first");
	await choose("drawing.svg", Buffer.from("<svg xmlns='http://www.w3.org/2000/svg'/>"));
	await expect(page.getByRole("alert")).toContainText("neither a PNG nor a JPEG");
	expect(complaints.filter((said) => !said.includes("422"))).toEqual([]);
	complaints.length = 0; // The browser itself tells of an answer that is a refusal.

	await choose("sign.png", Buffer.from((await page.evaluate(sign)) as string, "base64"));
	const shown = page.getByRole("img", { name: "Sign of Larkspur Radio Works" });
	await expect.poll(() => shown.evaluate((img: HTMLImageElement) => img.naturalWidth)).toBe(240);
	await expect(page.getByRole("alert")).toBeHidden();
	await sound(page);
	await page.getByRole("button", { name: "Take it out" }).click();
	await expect(page.getByText("None yet.")).toBeVisible();
	await expect(chooser.first()).toBeAttached();
});

test("the board looks over all visits when it is asked", async ({ page, day }) => {
	await page.goto(`${await day.at("hub")}/#/board`);
	await page.getByRole("button", { name: "Look over all visits" }).click();
	const first = page.getByRole("heading", { name: "Opening level at the receiver port (VHF)" });
	await expect(first).toBeVisible();
	await expect(page.locator("section section li").first()).toContainText("one visit: no trend yet");
	await sound(page);
});
