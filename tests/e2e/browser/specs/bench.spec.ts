/**
 * The Bench in a browser: every calculation opens with a question that is answered, what is typed
 * changes the answer, what is no number is said at its field, and nothing is wider than the screen.
 */
import { axeOn } from "../axe.ts";
import { expect, test } from "../day.ts";

test("every calculation opens and answers its first question", async ({ page, day }) => {
	await page.goto(`${await day.at("ines")}/#/bench`);
	const links = page.getByRole("navigation", { name: "Calculations" }).getByRole("link");
	await expect(links.first()).toBeVisible();
	const addresses = await links.evaluateAll((all) => all.map((one) => one.getAttribute("href")));
	expect(addresses.length).toBeGreaterThan(1);
	for (const address of addresses) {
		await page.goto(`${await day.at("ines")}/${address}`);
		const answers = page.locator(".answers");
		await expect(answers.locator("dd").first(), `${address} has an answer`).toBeVisible();
		const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
		expect(wide, `${address} fits the screen`).toBeLessThanOrEqual(0);
	}
});

test("what is typed is answered, and what is no number is said", async ({ page, day, complaints }) => {
	await page.goto(`${await day.at("ines")}/#/bench/desense`);
	const keyed = page.getByLabel("keyed", { exact: true });
	await keyed.fill("-110");
	await page.getByLabel("unkeyed", { exact: true }).fill("-116");
	await expect(page.locator(".answers")).toContainText("10.612");
	await keyed.fill("loud");
	await expect(page.locator("form.asks")).toContainText("Not a number.");
	await keyed.fill("900");
	await expect(page.locator(".answers")).toContainText("level of 900 dBm is outside");
	// The browser itself tells of an answer that is a refusal; nothing else may have complained.
	expect(complaints.filter((said) => !said.includes("422"))).toEqual([]);
	complaints.length = 0;
});

test("the bench shuts nobody out", async ({ page, day }) => {
	await page.goto(`${await day.at("ines")}/#/bench/level`);
	await expect(page.locator(".answers dd").first()).toBeVisible();
	const { violations } = await axeOn(page).analyze();
	expect(violations.map(({ id, nodes }) => `${id}: ${nodes.map((n) => n.html).join("\n")}`)).toEqual([]);
});
