/**
 * Goal: a device's holder chooses what it keeps, sees of which sites, and the papers say where
 * somebody is sent. Method: the played day's nodes, whose one site is on the way.
 */
import { axeOn } from "../axe.ts";
import { expect, test } from "../day.ts";

test("a device keeps what is wanted, says of which sites, and keeps everything again", async ({
	page,
	day,
}) => {
	const address = await day.at("tobias");
	await page.goto(`${address}#/devices`);
	const card = page.locator("section", { has: page.getByRole("heading", { name: "What this device keeps" }) });
	await expect(card.getByRole("radio", { name: "Everything" })).toBeChecked();
	await card.getByRole("radio", { name: "Only visits to the sites" }).check();
	await expect(card).toContainText("Visits of 0 sites are kept here.");
	await card.getByLabel("Keep the visits to another site").selectOption({ index: 1 });
	await expect(card).toContainText("Visits of 1 site are kept here.");
	await expect(card.getByRole("listitem")).toHaveCount(1);
	const { violations } = await axeOn(page).analyze();
	expect(violations.map(({ id, nodes }) => `${id}: ${nodes.map((n) => n.html).join("\n")}`)).toEqual([]);
	await page.goto("about:blank");
	await page.goto(address);
	await expect(page.locator("main")).toContainText("Visits of 1 site are kept here, and every paper.");
	await page.goto("about:blank");
	await page.goto(`${address}#/devices`);
	await card.getByRole("radio", { name: "Everything" }).check();
	await expect(card.getByRole("listitem")).toHaveCount(0);
});

test("the papers say to which sites somebody is sent", async ({ page, day }) => {
	const address = await day.at("wren");
	await page.goto(`${address}#/papers/people`);
	await page.locator("summary, button", { hasText: "Ines" }).first().click();
	const sent = page.getByRole("group", { name: /sites sent to/i }).first();
	await sent.getByRole("checkbox").first().check();
	await page.goto("about:blank");
	await page.goto(`${address}#/papers/people`);
	await page.locator("summary, button", { hasText: "Ines" }).first().click();
	await expect(sent.getByRole("checkbox").first()).toBeChecked();
});
