/**
 * Closing a visit: what is open is named, the device signs, a change needs its reason, the check of
 * the signature names it, and the last entry can be taken back.
 */
import type { Page } from "@playwright/test";
import { axeOn } from "../axe.ts";
import { expect, test } from "../day.ts";

async function openClosing(page: Page, address: string) {
	await page.goto(address);
	await page.locator("a[href^='#/session/']").click();
	await expect(page.getByRole("heading", { name: "Owl Knob" })).toBeVisible();
	await page.getByRole("button", { name: "Close the visit" }).click();
	await expect(page.getByRole("heading", { name: "Close the visit" })).toBeVisible();
}

test("a visit is signed off, amended with a reason, and checked", async ({ page, day, complaints }) => {
	await openClosing(page, await day.at("wren"));
	const open = page.locator("section.open");
	await expect(open).toContainText("Two people summed up apart");
	await page.getByRole("button", { name: "Sign off as Wren" }).click();
	await expect(page.getByText("To change anything now, say why.")).toBeVisible();
	await page.getByRole("button", { name: "Check the signature" }).click();
	await expect(open).toContainText("True and unchanged.");

	// Without a reason nothing is kept, and the words typed stay.
	const putBack = page.getByLabel("What was put back");
	await putBack.fill("Squelch back to its mark");
	await page.getByRole("button", { name: "Keep", exact: true }).click();
	await expect(page.getByRole("alert")).toContainText("say first why");
	await expect(putBack).toHaveValue("Squelch back to its mark");
	expect(complaints.filter((said) => !said.includes("422"))).toEqual([]);
	complaints.length = 0; // The browser itself tells of an answer that is a refusal.

	await page.getByLabel("Why must it be changed?").fill("Seen on the photograph");
	await page.getByRole("button", { name: "Keep the reason" }).click();
	await page.getByRole("button", { name: "Keep", exact: true }).click();
	await expect(putBack).toHaveValue("");
	await page.getByRole("button", { name: "Check the signature" }).click();
	await expect(open).toContainText("Something is not as it was signed.");
	await expect(open).toContainText("put back: Squelch back to its mark");
	await expect(open).toContainText("Seen on the photograph");
	const { violations } = await axeOn(page).analyze();
	expect(violations.map(({ id, nodes }) => `${id}: ${nodes.map((n) => n.html).join("\n")}`)).toEqual([]);
	const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
	expect(wide).toBeLessThanOrEqual(0);

	await page.getByRole("button", { name: "Undo: put back: Squelch back to its mark" }).click();
	await expect(page.getByRole("status").filter({ hasText: "Taken back" })).toContainText("Squelch");
	await expect(open.locator("ul li").filter({ hasText: "Squelch back to its mark" }).first()).toBeHidden();
});
