/**
 * The second language: chosen in one touch, kept on the device, and no screen too narrow for it.
 */
import type { Page } from "@playwright/test";
import { axeOn } from "../axe.ts";
import { expect, test } from "../day.ts";

async function sound(page: Page) {
	const { violations } = await axeOn(page).analyze();
	expect(violations.map(({ id, nodes }) => `${id}: ${nodes.map((n) => n.html).join("\n")}`)).toEqual([]);
	const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
	expect(wide).toBeLessThanOrEqual(0);
}

test("every place speaks French once it was chosen, with a comma in its numbers", async ({ page, day, complaints }) => {
	const address = await day.at("hub");
	await page.goto(`${address}#/devices`);
	await page.getByRole("button", { name: "Français" }).click();
	await expect(page.getByRole("heading", { name: "Appareils", exact: true })).toBeVisible();
	await expect(page.locator("html")).toHaveAttribute("lang", "fr");
	await sound(page);

	// It is kept: a page that is opened afresh begins in it.
	for (const place of ["#/today", "#/board", "#/papers", "#/bench"]) {
		await page.goto("about:blank");
		await page.goto(`${address}${place}`);
		await expect(page.locator("html")).toHaveAttribute("lang", "fr");
		await expect(page.locator("h1, h2").first()).toBeVisible();
		await sound(page);
	}
	await page.goto(`${address}#/today`);
	await page.locator("a[href^='#/session/']").first().click();
	await expect(page.getByRole("heading", { name: "Owl Knob" })).toBeVisible();
	await sound(page);
	await expect(page.locator("body")).toContainText(/\d,\d/);
	expect(complaints).toEqual([]);
});
