/**
 * The page opens: something is shown, nothing complains, and nobody is shut out by how it is made.
 * What the screens do is told in the specs beside this one.
 */
import { axeOn } from "../axe.ts";
import { expect, test } from "../day.ts";

test("the screens open, clean and readable for everybody", async ({ page, day }) => {
	await page.goto(await day.at("ines"));
	await expect(page.locator("body")).toContainText("Guyline");
	const { violations } = await axeOn(page).analyze();
	const grave = violations.filter(({ impact }) => impact === "serious" || impact === "critical");
	expect(grave.map(({ id, nodes }) => `${id}: ${nodes.map((n) => n.html).join("\n")}`)).toEqual([]);
});

test("a breach of the page's policy is noticed", async ({ page, day, complaints }) => {
	await page.goto(await day.at("ines"));
	await page.evaluate(() => {
		const script = document.createElement("script");
		script.textContent = "document.title = 'breached'";
		document.head.append(script);
	});
	await expect(page).not.toHaveTitle("breached");
	await expect.poll(() => complaints.some((said) => said.startsWith("policy script-src"))).toBe(true);
	complaints.length = 0; // It was asked for.
});
