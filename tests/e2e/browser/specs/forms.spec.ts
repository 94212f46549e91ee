/**
 * The forms for what a paper can hold besides the everyday: accuracies by range, the shop's own rows
 * of limits, a duplexer's sweep from its files, the antenna behind the port, where a site is. What is
 * wrong stands at its field.
 */
import type { Page } from "@playwright/test";
import { expect, test } from "../day.ts";

/** A topic of the Bench, with the question it is shown with. */
interface Listed {
	name: string;
	example: Record<string, string>;
}

/** The browser tells of an answer that is a refusal; nothing else may have complained. */
function onlyRefusals(complaints: string[]) {
	expect(complaints.filter((said) => !said.includes("422"))).toEqual([]);
	complaints.length = 0;
}

async function ask<Given>(page: Page, address: string, command: string, data: object = {}) {
	return (await (await page.request.post(`${address}/api/${command}`, { data })).json()) as Given;
}

async function openChannel(page: Page, address: string) {
	const { sites } = await ask<{ sites: { id: string }[] }>(page, address, "papers");
	await page.goto(`${address}/#/site/${sites[0]?.id}/channels`);
	const entry = page.locator(".content .entries > details").first();
	await entry.locator("summary").first().click();
	return entry;
}

test("an accuracy for part of a range", async ({ page, day, complaints }) => {
	await page.goto(`${await day.at("ines")}/#/papers/instruments`);
	const monitor = page.locator(".content .entries > details").first();
	await monitor.locator("summary").first().click();
	await monitor.getByRole("button", { name: "Add a range of generator level" }).click();
	const form = monitor.locator("form");
	await form.getByLabel(/^readings from/).fill("-50");
	await form.getByLabel(/^readings to/).fill("-127");
	await form.getByLabel(/^from carrier/).fill("150");
	await form.getByLabel("may be off by").fill("1,5");
	await form.getByRole("button", { name: "Add", exact: true }).click();
	// The ends are turned round: said at the upper one, and nothing typed is lost.
	await expect(form.locator(".field", { hasText: "readings to" })).toContainText("lies below from");
	onlyRefusals(complaints);
	await form.getByLabel(/^readings from/).fill("-127");
	await form.getByLabel(/^readings to/).fill("\u221250");
	await form.getByRole("button", { name: "Add", exact: true }).click();
	await expect(form).toHaveCount(0);
	const line = monitor.getByRole("listitem").filter({ hasText: "generator level" });
	await expect(line).toContainText("±1.5 dB");
	await expect(line).toContainText("\u2212127\u2026\u221250 dBm, from 150 MHz");
	await line.getByRole("button", { name: /^Take out/ }).click();
	await expect(line).toHaveCount(0);
});

test("the shop's own rows of limits, and a wrong one by its line", async ({ page, day, complaints }) => {
	await page.goto(`${await day.at("ines")}/#/papers/plan`);
	await page.getByRole("button", { name: "Add rows for the region ca" }).click();
	const form = page.locator("form", { hasText: "rows for the region ca" });
	const rows = form.getByLabel("rows of limits");
	const row = "[[frequency_tolerance]]\nfrom_hz = 450_000_000\nto_hz = 470_000_000\nbase_ppm = 2.0\n";
	await rows.fill(`${row}mobile = 5\n`);
	await form.getByRole("button", { name: "Add", exact: true }).click();
	await expect(form.locator(".field")).toContainText("line 5");
	onlyRefusals(complaints);
	await rows.fill(`${row}source = "the shop's own"\ntext_date = "2026"\n`);
	await form.getByRole("button", { name: "Add", exact: true }).click();
	const kept = page.getByRole("region", { name: "ca", exact: true });
	await expect(kept.getByLabel("rows of limits")).toHaveValue(/the shop's own/);
	await kept.getByRole("button", { name: "Take out: ca" }).click();
	await expect(kept).toHaveCount(0);
});

test("a duplexer's sweep comes in from its files", async ({ page, day, complaints }) => {
	const address = await day.at("ines");
	const { topics } = await ask<{ topics: { listed: Listed }[] }>(
		page,
		address,
		"bench-topics",
	);
	const example = topics.find(({ listed }) => listed.name === "duplexer")?.listed.example ?? {};
	const channel = await openChannel(page, address);
	await channel.getByRole("button", { name: /Add Duplexer as it was swept/ }).click();
	const file = (name: string, text: string) => ({
		name,
		mimeType: "text/plain",
		buffer: Buffer.from(text),
	});
	const [transmit, receive] = [/^Transmit path/, /^Receive path/].map((name) => channel.getByLabel(name));
	await transmit?.setInputFiles(file("tx.s2p", "# MHz S DB R 50\n1 2 3\n"));
	await expect(channel.getByRole("alert")).toContainText("line 2");
	onlyRefusals(complaints);
	// The answer about one file alone comes after that about both, and counts for nothing.
	let late = true;
	let seen = () => {};
	const both = new Promise<void>((resolve) => (seen = resolve));
	await page.route("**/api/bench", async (route) => {
		const first = late;
		late = false;
		const answer = await route.fetch();
		if (first) await both;
		await route.fulfill({ response: answer });
	});
	await transmit?.setInputFiles(file("tx.s2p", example["transmit_touchstone"] ?? ""));
	await receive?.setInputFiles(file("rx.s2p", example["receive_touchstone"] ?? ""));
	// 1.07 and 1.26 dB stand in the files' own rows at 158.6 and 153.4 MHz.
	await expect(channel).toContainText("Transmit path: 1.07 dB at its own frequency");
	await expect(channel).toContainText("Receive path: 1.26 dB at its own frequency");
	const comes = page.waitForResponse("**/api/bench");
	seen();
	await (await comes).finished();
	// The page has drawn what it made of it.
	await page.evaluate(() => new Promise((drawn) => requestAnimationFrame(() => setTimeout(drawn))));
	await expect(channel).toContainText("Receive path: 1.26 dB at its own frequency");
	await page.unroute("**/api/bench");
	await channel.getByRole("button", { name: "Keep this sweep" }).click();
	await expect(channel.locator("form .field", { hasText: "swept on" })).toContainText("wanted too");
	await channel.locator("form").getByLabel("loss may be off by").fill("0.2");
	await channel.locator("form").getByLabel("swept on").fill("2026-05-02");
	await channel.getByRole("button", { name: "Keep this sweep" }).click();
	await expect(channel).toContainText("tx.s2p, rx.s2p");
	await expect(channel).toContainText("losses may be off by 0.2 dB");
	await page.getByRole("status").filter({ hasText: "Recorded" }).getByRole("button", { name: "Undo" }).click();
	await expect(channel).not.toContainText("tx.s2p, rx.s2p");
});

test("antenna, feedline by type and length, and where the site is", async ({ page, day, complaints }) => {
	const address = await day.at("ines");
	const channel = await openChannel(page, address);
	await channel.getByRole("button", { name: "Add what stands behind the antenna port" }).click();
	await channel.getByLabel("gain over a dipole").fill("5,85");
	await channel.getByLabel("further losses").fill("0.5");
	await channel.getByLabel("gain less losses may be off by").fill("1");
	await channel.getByRole("button", { name: "Add", exact: true }).click();
	await expect(channel.getByLabel("gain over a dipole")).toHaveValue("5.85");
	await channel.getByRole("button", { name: "Add a length of a listed cable" }).click();
	const run = channel.locator("form", { hasText: "a length of a listed cable" });
	await run.getByLabel("listed as").fill("hose");
	await run.getByLabel("length", { exact: true }).fill("30");
	await run.getByLabel("length may be off by").fill("1");
	await run.getByRole("button", { name: "Add", exact: true }).click();
	await expect(run.locator(".field", { hasText: "listed as" })).toContainText("hose");
	onlyRefusals(complaints);
	await run.getByRole("button", { name: "Close" }).click();

	const { sites } = await ask<{ sites: { id: string }[] }>(page, address, "papers");
	await page.goto(`${address}/#/site/${sites[0]?.id}/site`);
	const where = page.getByLabel(/^where it is/);
	await where.fill("91; 7");
	await where.press("Enter");
	await expect(page.locator(".field", { hasText: "where it is" })).toContainText("outside -90 to 90");
	onlyRefusals(complaints);
	await where.fill("46,95; 7,45");
	await where.press("Enter");
	await expect(where).toHaveValue("46.95; 7.45");
});
