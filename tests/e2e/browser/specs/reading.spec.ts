/**
 * The main job in a browser: open the visit, type a reading, read its verdict, record it, take it
 * back; a stop that cannot be waved away; merging with a peer; nothing wider than the screen.
 */
import type { Page } from "@playwright/test";
import { expect, test } from "../day.ts";

async function openVisit(page: Page, address: string) {
	await page.goto(address);
	await page.locator("a[href^='#/session/']").click();
	await expect(page.getByRole("heading", { name: "Owl Knob" })).toBeVisible();
}

async function openCheck(page: Page, title: string) {
	await page.getByRole("navigation").getByRole("button", { name: title }).first().click();
	await expect(page.getByRole("heading", { name: title })).toBeVisible();
}

test("a reading is judged while it is typed, and recorded", async ({ page, day }) => {
	await openVisit(page, await day.at("ines"));
	await openCheck(page, "Opening level at the receiver port");
	const field = page.locator("section.entry input");
	await field.fill("-118,6");
	await expect(page.locator("section.entry")).toContainText("outside");
	await field.fill("-121,6");
	await expect(page.locator("section.entry")).toContainText("inside");
	await page.locator("button.record").click();
	await expect(field).toHaveValue("");
	await expect(page.locator("body")).toContainText("121,6 dBm");
});

test("what is no reading is refused in words", async ({ page, day }) => {
	await openVisit(page, await day.at("ines"));
	await openCheck(page, "Opening level at the receiver port");
	await page.locator("section.entry input").fill("250");
	await expect(page.locator("section.entry")).toContainText("outside -250 to 150 dBm");
	await expect(page.locator("button.record")).toBeDisabled();
});

test("a stop closes the entry of a keyed check", async ({ page, day }) => {
	await openVisit(page, await day.at("tobias"));
	await openCheck(page, "Desense, straight on the antenna port");
	await page.getByRole("button", { name: "monitor 2's generator on the antenna port" }).click();
	await expect(page.locator("body")).toContainText("a generator's port");
	await expect(page.locator("button.record")).toHaveCount(0);
});

test("two nodes merge, and a wrong address says what to do", async ({ page, day, complaints }) => {
	const other = await day.at("tobias");
	await page.goto(await day.at("ines"));
	const address = page.getByLabel("Merge with another device or the hub");
	await address.fill("127.0.0.1:9");
	await page.getByRole("button", { name: "Merge", exact: true }).first().click();
	await expect(page.locator("body")).toContainText("does not answer");
	// The browser itself tells of an answer that is an error; nothing else may have complained.
	expect(complaints.filter((said) => !said.includes("502"))).toEqual([]);
	complaints.length = 0;
	await address.fill(other);
	await page.getByRole("button", { name: "Merge", exact: true }).first().click();
	await expect(page.locator("body")).toContainText("Merged with Tobias");
});

test("nothing is wider than the screen, and targets are large", async ({ page, day }) => {
	await openVisit(page, await day.at("ines"));
	await openCheck(page, "Frequency error");
	const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
	expect(wide).toBeLessThanOrEqual(0);
	const small = await page.evaluate(() =>
		[...document.querySelectorAll("button, a[href], input, summary")]
			.map((element) => ({ element, box: element.getBoundingClientRect() }))
			.filter(({ box }) => box.width > 0 && (box.height < 47.5 || box.width < 47.5))
			.map(({ element, box }) => `${element.outerHTML.slice(0, 80)} ${box.width}x${box.height}`),
	);
	expect(small).toEqual([]);
});

test("what happened is told, and any step can be seen again", async ({ page, day }) => {
	await openVisit(page, await day.at("ines"));
	await page.getByRole("button", { name: "What happened" }).click();
	const steps = page.locator("ol li");
	await expect(steps.last()).toContainText("planned the visit");
	await expect(steps.first()).toContainText(/Ines|Tobias/);
	await steps.filter({ hasText: "came on site" }).first().getByRole("button").click();
	await expect(page.getByRole("heading", { name: "As it was then" })).toBeVisible();
	await expect(page.locator("section.open")).toContainText("Nothing was read yet.");
	await page.getByRole("button", { name: "Back to what happened" }).click();
	await expect(steps.last()).toContainText("planned the visit");
	const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
	expect(wide).toBeLessThanOrEqual(0);
});
