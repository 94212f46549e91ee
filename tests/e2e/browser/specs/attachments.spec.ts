/**
 * A photograph in a visit: chosen, captioned, shown as a small picture with who and where, opened
 * large, captioned anew, taken off and brought back; and a file that is none of the kinds is refused.
 * A sweep in a visit: written anew in another form.
 */
import { readFile } from "node:fs/promises";
import { axeOn } from "../axe.ts";
import { expect, test } from "../day.ts";

/** A picture as a browser draws it, as a phone would send it. */
const photograph = `(async () => {
	const canvas = document.createElement("canvas");
	[canvas.width, canvas.height] = [640, 480];
	const paper = canvas.getContext("2d");
	paper.fillStyle = "#2a6";
	paper.fillRect(0, 0, 640, 480);
	paper.fillStyle = "#fff";
	paper.fillRect(200, 150, 240, 180);
	return canvas.toDataURL("image/jpeg", 0.9).split(",")[1];
})()`;

test("a photograph is attached, shown, captioned, taken off and brought back", async ({ page, day, complaints }) => {
	await page.goto(await day.at("ines"));
	await page.locator("a[href^='#/session/']").click();
	await page.getByRole("button", { name: "Photos and files (0)" }).click();
	const open = page.locator("section.open");
	await expect(open).toContainText("Nothing is attached yet.");

	const base64 = (await page.evaluate(photograph)) as string;
	const files = { name: "IMG_0001.jpg", mimeType: "image/jpeg", buffer: Buffer.from(base64, "base64") };
	await page.locator("input[type=file][capture]").setInputFiles(files);
	await expect(open).toContainText("IMG_0001.jpg");
	await page.getByLabel("What it shows").fill("The duplexer's label");
	await page.getByRole("button", { name: "Attach it" }).click();

	const card = page.locator("button.card");
	await expect(card).toContainText("on this device");
	await expect(card).toContainText("Ines");
	const small = card.locator("img");
	await expect(small).toHaveAttribute("src", /^blob:/);
	await expect.poll(() => small.evaluate((img: HTMLImageElement) => img.naturalWidth)).toBe(400);

	await card.click();
	const sheet = page.getByRole("dialog");
	const large = sheet.getByRole("img");
	await expect.poll(() => large.evaluate((img: HTMLImageElement) => img.naturalWidth)).toBe(640);
	const { violations } = await axeOn(page).analyze();
	expect(violations.map(({ id, nodes }) => `${id}: ${nodes.map((n) => n.html).join("\n")}`)).toEqual([]);
	await sheet.getByLabel("Change the caption").fill("The duplexer's label, from above");
	await sheet.getByRole("button", { name: "Keep the caption" }).click();
	await expect(sheet).toContainText("The duplexer's label, from above");
	await sheet.getByRole("button", { name: "Take it off the visit" }).click();
	await expect(open).toContainText("Nothing is attached yet.");
	await expect(open).toContainText("Taken off the visit");
	await page.locator("button.card", { hasText: "from above" }).click();
	await page.getByRole("dialog").getByRole("button", { name: "Put it back on the visit" }).click();
	await expect(open).not.toContainText("Taken off the visit");
	await expect(open.locator("button.card")).toContainText("from above");

	// A page that calls itself a photograph is no photograph.
	const page_ = { name: "a.jpg", mimeType: "image/jpeg", buffer: Buffer.from("<script>alert(1)</script>") };
	await page.locator("input[type=file][capture]").setInputFiles(page_);
	await page.getByRole("button", { name: "Attach it" }).click();
	await expect(page.getByRole("alert")).toContainText("none of: JPEG");
	expect(complaints.filter((said) => !said.includes("422"))).toEqual([]);
	complaints.length = 0; // The browser itself tells of an answer that is a refusal.
	const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
	expect(wide).toBeLessThanOrEqual(0);
});

test("an attached sweep is written anew, and what came stays", async ({ page, day, complaints }) => {
	await page.goto(await day.at("ines"));
	await page.locator("a[href^='#/session/']").click();
	await page.getByRole("button", { name: /^Photos and files/ }).click();
	const swept = "# GHz S MA R 50\n0.155 0.5 90 0.9 0 0.1 180 0 0\n";
	const file = { name: "duplexer.s2p", mimeType: "", buffer: Buffer.from(swept) };
	await page.locator("input[type=file][accept*='.s2p']").setInputFiles(file);
	await page.getByRole("button", { name: "Attach it" }).click();
	await page.locator("button.card", { hasText: "duplexer.s2p" }).click();
	const sheet = page.getByRole("dialog");
	await sheet.getByLabel("Version").selectOption("1.1");
	await sheet.getByLabel("Values as").selectOption("ma");
	const [kept] = await Promise.all([
		page.waitForEvent("download"),
		sheet.getByRole("button", { name: "Write it anew" }).click(),
	]);
	expect(kept.suggestedFilename()).toMatch(/-anew\.s2p$/);
	const text = await readFile(await kept.path(), "utf8");
	expect(text).toBe("# MHz S MA R 50\n155 0.5 90 0.9 0 0.1 180 0 0\n");
	await expect(sheet.getByRole("status")).toContainText("was made");
	const { violations } = await axeOn(page).analyze();
	expect(violations.map(({ id, nodes }) => `${id}: ${nodes.map((n) => n.html).join("\n")}`)).toEqual([]);
	const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
	expect(wide).toBeLessThanOrEqual(0);

	// A value that is nothing has no decibels, and is not left out.
	await sheet.getByLabel("Values as").selectOption("db");
	await sheet.getByRole("button", { name: "Write it anew" }).click();
	await expect(sheet.getByRole("alert")).toContainText("has no decibels");
	expect(complaints.filter((said) => !said.includes("422"))).toEqual([]);
	complaints.length = 0; // The browser itself tells of an answer that is a refusal.
});
