/**
 * The papers in a browser: a field is recorded when it is left and taken back at a touch, what is
 * wrong is said beside it, what two people wrote apart is shown with both values and chosen, a plan
 * and a list are refused where they are wrong; nothing is wider than the screen and nobody shut out.
 */
import type { Locator, Page } from "@playwright/test";
import { axeOn } from "../axe.ts";
import { expect, test } from "../day.ts";

const sections = ["shop", "people", "instruments", "parts", "plan", "sites", "lists", "out", "changes"];
const siteSections = [
	"site",
	"hazards",
	"channels",
	"equipment",
	"others",
	"mixing",
	"exposure",
	"visits",
	"report",
	"changes",
];

/** Asks a node's desk, as its screen would. */
async function ask(address: string, command: string, body: object) {
	const answer = await fetch(`${address}/api/${command}`, {
		method: "POST",
		headers: { "content-type": "application/json" },
		body: JSON.stringify(body),
	});
	const given = (await answer.json()) as Record<string, unknown>;
	if (!answer.ok) throw new Error(`${command}: ${JSON.stringify(given)}`);
	return given;
}

/** Opens an entry and gives what stands in it. */
async function open(page: Page, name: string): Promise<Locator> {
	const summary = page.locator("summary", { hasText: name });
	const entry = page.locator(".content .entries > details", { has: summary });
	await expect(entry).toHaveCount(1);
	if ((await entry.getAttribute("open")) === null) await summary.click();
	return entry;
}

/** The browser tells of an answer that is a refusal; nothing else may have complained. */
function onlyRefusals(complaints: string[]) {
	expect(complaints.filter((said) => !said.includes("422"))).toEqual([]);
	complaints.length = 0;
}

test("a field is recorded when it is left, and taken back at a touch", async ({ page, day }) => {
	await page.goto(`${await day.at("ines")}/#/papers/parts`);
	const cable = await open(page, "cable A");
	const field = cable.getByLabel("loss may be off by", { exact: true });
	await expect(field).toHaveValue("0.1");
	await field.fill("0,25");
	await field.press("Tab");
	const recorded = page.getByRole("status").filter({ hasText: "Recorded" });
	await expect(recorded).toContainText("cable A, tolerance: 0.1 → 0.25 dB");
	await expect(field).toHaveValue("0.25");
	await recorded.getByRole("button", { name: "Undo" }).click();
	await expect(field).toHaveValue("0.1");
});

test("what is wrong is said beside its field and keeps what was typed", async ({
	page,
	day,
	complaints,
}) => {
	await page.goto(`${await day.at("ines")}/#/papers/parts`);
	const cable = await open(page, "cable B");
	const field = cable.getByLabel("most power for long", { exact: true });
	await field.fill("-5");
	await field.press("Enter");
	await expect(page.getByRole("alert")).toContainText("power of -5 W");
	await expect(field).toHaveValue("-5");
	await expect(field).toHaveAttribute("aria-invalid", "true");
	await field.press("Escape");
	await expect(field).toHaveValue("200");
	await expect(page.getByRole("alert")).toHaveCount(0);
	onlyRefusals(complaints);
});

test("somebody new is added, and a calibration moves its due date", async ({ page, day }) => {
	await page.goto(`${await day.at("ines")}/#/papers/people`);
	await page.getByRole("button", { name: "Add a person" }).click();
	await page.getByLabel("name", { exact: true }).last().fill("Mina");
	await page.getByLabel(/^role/).last().fill("apprentice");
	await page.getByRole("button", { name: "Add", exact: true }).click();
	await expect(page.locator("details > summary", { hasText: "Mina" })).toContainText("apprentice");
	await page.goto(`${await day.at("ines")}/#/papers/instruments`);
	const monitor = await open(page, "service monitor 1");
	await monitor.getByRole("button", { name: "Add a calibration" }).click();
	await monitor.getByLabel("Made on").fill("2030-01-10");
	await monitor.getByLabel("Holds to", { exact: true }).fill("2031-01-31");
	await monitor.getByLabel("By whom").fill("an invented laboratory");
	await monitor.getByRole("button", { name: "Add", exact: true }).click();
	await expect(monitor.getByLabel("calibration holds to")).toHaveValue("2031-01-31");
	await expect(monitor).toContainText("within its accuracy, holds to Jan 31, 2031");
});

test("what two people wrote apart is shown with both values, and one is kept", async ({
	page,
	day,
}) => {
	const [ines, tobias] = [await day.at("ines"), await day.at("tobias")];
	const papers = await ask(ines, "papers", {});
	const set = (value: string) => ({
		document: papers["id"],
		path: ["instruments", "monitor-2", "serial_number"],
		value,
	});
	await ask(ines, "set-field", set("SN 17"));
	await ask(tobias, "set-field", set("SN 71"));
	await ask(ines, "exchange", { address: tobias });
	await page.goto(`${ines}/#/papers/instruments`);
	const said = page.getByRole("main").getByRole("status").first();
	await expect(said).toContainText("changed by two people apart");
	const choice = page.getByRole("region", { name: "Two people wrote this apart" });
	await expect(choice).toContainText("SN 17");
	await expect(choice).toContainText("Tobias");
	await choice.getByRole("button", { name: "Keep SN 17" }).click();
	await expect(choice).toHaveCount(0);
	const monitor = await open(page, "service monitor 2");
	await expect(monitor.getByLabel(/^serial number/)).toHaveValue("SN 17");
});

test("a check is not made any more unless another leans on it", async ({
	page,
	day,
	complaints,
}) => {
	await page.goto(`${await day.at("ines")}/#/papers/plan`);
	const check = (title: string) => page.locator("li", { hasText: title }).first();
	const made = check("Power at the transmitter port").getByRole("checkbox");
	await made.click();
	await expect(page.getByRole("alert")).toContainText("leans on it");
	await expect(made).toBeChecked();
	const deviation = check("deviation").getByRole("checkbox");
	await deviation.click();
	await expect(page.getByRole("status").filter({ hasText: "Recorded" })).toBeVisible();
	await expect(deviation).not.toBeChecked();
	await page.getByRole("button", { name: "Undo", exact: true }).click();
	await expect(deviation).toBeChecked();
	onlyRefusals(complaints);
});

test("a wrong plan is refused with its line and column", async ({ page, day }) => {
	await page.goto(`${await day.at("ines")}/#/papers/plan`);
	await page.getByRole("button", { name: "Show the plan as text" }).click();
	const text = page.getByLabel("The plan as text");
	await expect(text).toHaveValue(/receiver\.opening/);
	await text.fill('off = ["transmitter.deviation"]\n\n[limit."transmitter.power"]\nkind = "around"\n');
	await page.getByRole("button", { name: "Take this text in" }).click();
	await expect(page.getByRole("alert")).toContainText("line 3, column 1: missing field");
	await text.fill('off = ["transmitter.power"]\n');
	await page.getByRole("button", { name: "Take this text in" }).click();
	await expect(page.getByRole("alert")).toContainText("line 1, column 8");
});

test("a list shows every problem before its good rows are taken", async ({ page, day }) => {
	await page.goto(`${await day.at("ines")}/#/papers/lists`);
	const rows = page.getByLabel("Or the rows themselves");
	await rows.fill(
		"name,kind,loss,tolerance_db,power_max_w\n" +
			"jumper 9,cable,150 MHz: 0.1,0.05,100\njumper 10,hose,150 MHz: 0.1,0.05,100\n",
	);
	await expect(page.getByRole("row", { name: /3 kind/ })).toContainText("unknown variant");
	await page.getByRole("button", { name: "Take 1 row in" }).click();
	await expect(page.locator("body")).toContainText("1 row is taken in.");
	await page.goto(`${await day.at("ines")}/#/papers/parts`);
	await expect(page.locator("summary", { hasText: "jumper 9" })).toBeVisible();
});

test("a site is changed, mixes and estimates", async ({ page, day }) => {
	const ines = await day.at("ines");
	await page.goto(`${ines}/#/papers/sites`);
	await page.getByRole("link", { name: "Owl Knob" }).click();
	await expect(page.getByRole("heading", { name: "Owl Knob" })).toBeVisible();
	await page.getByRole("link", { name: "Others' transmitters" }).click();
	await page.getByRole("button", { name: "Add a transmitter" }).click();
	await page.getByLabel("name", { exact: true }).last().fill("tenant of the north mast");
	await page.getByLabel("transmits", { exact: true }).last().fill("163.8");
	await page.getByRole("button", { name: "Add", exact: true }).click();
	await expect(page.locator("summary", { hasText: "tenant" })).toContainText("163.8 MHz");
	await page.getByRole("link", { name: "Mixing" }).click();
	// 2 × 158.6 − 163.8 = 153.4 MHz, where the site listens.
	const product = page.getByRole("listitem").filter({ hasText: /2 base repeater/ });
	await expect(product.first()).toContainText("order 3, falls at 153.4 MHz");
	await page.getByRole("link", { name: "Exposure" }).click();
	await page.getByLabel("Distance from the antenna").fill("6");
	await page.getByLabel("Antenna gain").fill("8");
	await page.getByLabel(/^Share of the time/).fill("0.5");
	await page.getByRole("button", { name: "Estimate" }).click();
	await expect(page.locator(".caution")).not.toBeEmpty();
	await expect(page.locator("dl")).toContainText("of the limit for");
	await page.getByRole("link", { name: "Visits" }).click();
	await expect(page.locator("a.visit")).toContainText("base repeater");
});

for (const theme of ["sun", "dusk"]) {
	test(`no paper is too wide or shuts anybody out, ${theme}`, async ({ page, day }) => {
		test.setTimeout(120_000);
		const ines = await day.at("ines");
		await page.addInitScript((name) => localStorage.setItem("guyline-theme", name), theme);
		const papers = await ask(ines, "papers", {});
		const site = (papers["sites"] as { id: string }[])[0]?.id ?? "";
		const addresses = [
			...sections.map((section) => `#/papers/${section}`),
			...siteSections.map((section) => `#/site/${site}/${section}`),
		];
		for (const address of addresses) {
			await page.goto(`${ines}/${address}`);
			await expect(page.locator(".content")).toBeVisible();
			const details = page.locator(".content .entries > details");
			if ((await details.count()) > 0) await details.first().locator("summary").first().click();
			const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
			expect(wide, `${address} fits the screen`).toBeLessThanOrEqual(0);
			const small = await page.locator(".content button, .content input, .content select").evaluateAll(
				(all) =>
					all
						.filter((one) => one.checkVisibility())
						.map((one) => (one.closest("label") ?? one).getBoundingClientRect())
						.filter(({ height }) => height < 47.5).length,
			);
			expect(small, `${address}: every target is 48 px high`).toBe(0);
			const { violations } = await axeOn(page).analyze();
			expect(
				violations.map(({ id, nodes }) => `${address} ${id}: ${nodes.map((n) => n.html).join("\n")}`),
			).toEqual([]);
		}
	});
}
