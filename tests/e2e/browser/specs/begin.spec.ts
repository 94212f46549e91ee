/**
 * From nothing to a signed report: a device starts a shop and a site, or opens the invented shop,
 * plans a visit, and the board tells the day.
 */
import type { Page } from "@playwright/test";
import { axeOn } from "../axe.ts";
import { expect, test } from "../day.ts";

async function clean(page: Page) {
	const { violations } = await axeOn(page).analyze();
	expect(violations.map(({ id, nodes }) => `${id}: ${nodes.map((n) => n.html).join("\n")}`)).toEqual([]);
	const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
	expect(wide).toBeLessThanOrEqual(0);
	const small = await page.evaluate(() =>
		[...document.querySelectorAll("button, a[href], input, summary, select")]
			.map((element) => ({ element, box: element.getBoundingClientRect() }))
			.filter(({ box }) => box.width > 0 && (box.height < 47.5 || box.width < 47.5))
			.map(({ element, box }) => `${element.outerHTML.slice(0, 80)} ${box.width}x${box.height}`),
	);
	expect(small).toEqual([]);
}

test("a device without papers starts a shop and a site", async ({ page, day }, info) => {
	await page.goto(await day.at(`new-${info.project.name}`));
	await expect(page.getByRole("heading", { name: "How do you want to begin?" })).toBeVisible();
	await clean(page);
	await page.getByLabel("The shop's name").fill("Larkspur Radio Works");
	await page.getByLabel("Your name").fill("Wren");
	await page.getByLabel("What people call this device").fill("office laptop");
	await page.getByRole("button", { name: "Start it" }).click();
	await expect(page.getByRole("heading", { name: "Larkspur Radio Works" })).toBeVisible();
	await expect(page.locator("body")).toContainText("Wren");
	await page.getByText("Plan a visit").click();
	await expect(page.locator("body")).toContainText("No site has a repeater yet");
	await page.getByRole("link", { name: "Papers" }).click();
	await page.getByRole("link", { name: "Sites" }).click();
	await page.getByLabel("The site's name").fill("Tamarack Bench");
	await page.getByLabel("How to get there and in").fill("Forest road, locked gate.");
	await page.getByRole("button", { name: "Start the site" }).click();
	await expect(page.getByRole("heading", { name: "Tamarack Bench" })).toBeVisible();
});

test("the invented shop is one touch away, and a visit can be planned in it", async ({ page, day }, info) => {
	await page.goto(await day.at(`try-${info.project.name}`));
	await page.getByRole("button", { name: "Open the invented shop" }).click();
	await expect(page.locator("a[href^='#/session/']")).toHaveCount(1);
	await page.getByText("Plan a visit").click();
	await clean(page);
	await page.getByLabel("Work order").fill("WO 7: after the storm");
	await page.getByRole("button", { name: "Plan it" }).click();
	await expect(page.getByRole("heading", { name: "Owl Knob" })).toBeVisible();
	await expect(page.locator("body")).toContainText("WO 7: after the storm");
});

test("the board tells a day of all crews, and gives it as a file", async ({ page, day }) => {
	await page.goto(`${await day.at("hub")}#/board`);
	await expect(page.getByRole("heading", { name: "The shop's day" })).toBeVisible();
	await expect(page.locator("body")).toContainText("No visit has an entry on this day.");
	await page.getByLabel("Day", { exact: true }).fill("2026-05-14");
	await page.getByLabel("Day", { exact: true }).blur();
	await expect(page.locator("main")).toContainText("summed up apart");
	await expect(page.locator("main")).toContainText("WO 1187");
	await clean(page);
	const waits = page.waitForEvent("download");
	await page.getByRole("button", { name: "Plain text" }).click();
	expect((await waits).suggestedFilename()).toBe("day-2026-05-14.txt");
});

test("a visit's report is had as a file", async ({ page, day }) => {
	await page.goto(await day.at("ines"));
	await page.locator("a[href^='#/session/']").click();
	await page.getByRole("button", { name: "Close the visit" }).click();
	for (const [button, name] of [["PDF", "owl-knob-2026-05-14.pdf"], ["Web page", "owl-knob-2026-05-14.html"]] as const) {
		const waits = page.waitForEvent("download");
		await page.getByRole("button", { name: button, exact: true }).click();
		expect((await waits).suggestedFilename()).toBe(name);
		await expect(page.locator("section.open")).toContainText(`${name} was made`);
	}
});
