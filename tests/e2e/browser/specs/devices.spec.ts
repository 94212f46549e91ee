/**
 * Devices: what this one is called and known by, and a stick that carries everything to another.
 */
import { AxeBuilder } from "@axe-core/playwright";
import { expect, test } from "../day.ts";

test("a bundle written on one device is taken on another", async ({ page, day, complaints }, info) => {
	await page.goto(`${await day.at("ines")}#/devices`);
	await expect(page.getByRole("heading", { name: "Devices" })).toBeVisible();
	const waits = page.waitForEvent("download");
	await page.getByRole("button", { name: "Write a bundle" }).click();
	const bundle = await (await waits).path();
	const { violations } = await new AxeBuilder({ page }).analyze();
	expect(violations.map(({ id, nodes }) => `${id}: ${nodes.map((n) => n.html).join("\n")}`)).toEqual([]);
	const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
	expect(wide).toBeLessThanOrEqual(0);

	await page.goto(`${await day.at(`stick-${info.project.name}`)}#/devices`);
	const field = page.getByLabel("Take a bundle");
	await field.setInputFiles({ name: "x", mimeType: "text/plain", buffer: Buffer.from("no bundle") });
	await expect(page.getByRole("alert")).toContainText("no Guyline bundle");
	// The browser itself tells of an answer that is a refusal.
	expect(complaints.filter((said) => !said.includes("502"))).toEqual([]);
	complaints.length = 0;
	await field.setInputFiles(bundle);
	await expect(page.getByRole("status").filter({ hasText: "came in" })).toContainText("Ines");
	await page.getByRole("link", { name: "Today" }).click();
	await expect(page.locator("a[href^='#/session/']")).toHaveCount(1);
});

test("a device gets a name its people know it by", async ({ page, day }) => {
	await page.goto(await day.at("tobias"));
	await page.locator("a.standing").click();
	await page.getByLabel("What people call it").fill("van 2's tablet");
	await page.getByRole("button", { name: "Keep the name" }).click();
	await expect(page.getByRole("button", { name: "Keep the name" })).toBeDisabled();
	await page.getByLabel("What people call it").fill("Tobias's tablet");
	await page.getByRole("button", { name: "Keep the name" }).click();
	await expect(page.getByRole("button", { name: "Keep the name" })).toBeDisabled();
});
