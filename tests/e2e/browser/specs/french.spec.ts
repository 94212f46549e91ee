/**
 * A whole visit and the Bench in French: nothing a screen says is English, whether the screen's own words or what
 * the core says of readings. Every line that is shown is looked through for the small words that no
 * English sentence does without; what people typed is taken out first, it stays as it was typed.
 */
import type { Page } from "@playwright/test";
import { axeOn } from "../axe.ts";
import { expect, test } from "../day.ts";

const ENGLISH =
	/(?<!\p{L})(the|and|is|are|was|were|of|not|with|to|at|by|from|than|which|would|behind|nothing|readings?|outside|inside|limit|keyed|loss|after|before|visit|check)(?!\p{L})/iu;
/** A rule with its edition stays as its publisher wrote it. */
const CITED = /47 CFR .*?, text of \d+/g;

/** The longest texts of an answer that no program worded: notes, names, chains, licences. */
function typedIn(page: unknown, at = ""): string[] {
	if (typeof page === "string") {
		const worded = /^(what|evidence|next|title|reason|help|why|because|instruction|said|working)$/.test(at);
		return !worded && ENGLISH.test(page) ? [page] : [];
	}
	if (Array.isArray(page)) return page.flatMap((one) => typedIn(one, at));
	if (typeof page !== "object" || page === null) return [];
	return Object.entries(page)
		.filter(([name]) => name !== "appraisal")
		.flatMap(([name, value]) => typedIn(value, name));
}

/** Names of chains and parts, and what a rule says besides its number, as its publisher wrote it. */
function namedIn({ appraisal, parts, instruments }: Visit): string[] {
	const named = [...Object.values(parts), ...Object.values(instruments)].map(({ name }) => name);
	const verdicts = appraisal.checks.flatMap(({ readings }) => readings.map(({ verdict }) => verdict));
	return [
		...named,
		...appraisal.chains.map(({ chain }) => chain.name),
		...verdicts.flatMap(({ limit_notes, limit_source }) => [...limit_notes, limit_source]),
	];
}

interface Visit {
	appraisal: {
		checks: { readings: { verdict: { limit_notes: string[]; limit_source: string } }[] }[];
		chains: { chain: { name: string } }[];
	};
	parts: Record<string, { name: string }>;
	instruments: Record<string, { name: string }>;
}

async function shown(page: Page): Promise<string[]> {
	const text = await page.evaluate(() => {
		for (const folded of document.querySelectorAll("details")) folded.open = true;
		return document.body.innerText;
	});
	return text.split("\n").map((line) => line.trim());
}

/** The lines that are English once what was typed is taken out. */
function english(lines: string[], typed: string[]): string[] {
	const marked = typed.flatMap((text) => [text, text.replaceAll(/(\d)\.(?=\d)/g, "$1,")]);
	const longest = [...new Set(marked)].sort((a, b) => b.length - a.length);
	const without = (line: string) => longest.reduce((left, text) => left.replaceAll(text, "…"), line);
	return lines.filter((line) => ENGLISH.test(without(line).replaceAll(CITED, "…")));
}

async function sound(page: Page) {
	const { violations } = await axeOn(page).analyze();
	expect(violations.map(({ id, nodes }) => `${id}: ${nodes.map((n) => n.html).join("\n")}`)).toEqual([]);
	const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
	expect(wide).toBeLessThanOrEqual(0);
}

test.beforeEach(async ({ page }) => {
	await page.addInitScript(() => {
		if (location.protocol === "http:") localStorage.setItem("guyline-language", "fr");
	});
});

test("a whole visit is told in French", async ({ page, day }) => {
	test.setTimeout(180_000);
	const address = await day.at("hub");
	const asked = async (command: string, data: object) =>
		(await (await page.request.post(`${address}/api/${command}`, { data })).json()) as never;
	const today: { sessions: { id: string }[] } = await asked("today", {});
	const visit: Visit = await asked("session", { session: today.sessions[0]?.id });
	const typed = [...typedIn(visit), ...namedIn(visit)].filter((text) => text.length > 3);

	await page.goto(address);
	await page.locator("a[href^='#/session/']").first().click();
	const list = page.locator("nav.list button");
	await expect(list.first()).toBeVisible();
	const views = await list.count();
	expect(views).toBeGreaterThan(15);
	const found: string[] = [];
	for (let at = 0; at < views; at += 1) {
		if (!(await list.first().isVisible())) {
			await page.getByRole("button", { name: "Tous les contrôles" }).click();
		}
		await list.nth(at).click();
		await expect(page.locator("section.open")).toBeVisible();
		const lines = await shown(page);
		found.push(...english(lines, typed).map((line) => `${at}: ${line}`));
		if (at % 4 === 0) await sound(page);
	}
	expect(found).toEqual([]);
});

test("every calculation of the Bench is told in French, and what is wrong too", async ({ page, day, complaints }) => {
	test.setTimeout(90_000);
	const address = await day.at("ines");
	const headers = { "guyline-language": "french" };
	const asked = async (command: string, data: object) =>
		(await (await page.request.post(`${address}/api/${command}`, { data, headers })).json()) as never;
	const { topics }: { topics: { listed: { name: string; title: string; example: object } }[] } =
		await asked("bench-topics", {});
	expect(topics.length).toBeGreaterThan(40);
	const found: string[] = [];
	for (const { listed } of topics) {
		const { name, title, example } = listed;
		await page.goto(`${address}/#/bench/${name}`);
		await expect(page.getByRole("heading", { name: title, level: 1 })).toBeVisible();
		await expect(page.locator(".answers dd").first()).toBeVisible();
		const typed = [...cited(example), ...cited(await asked("bench", { topic: name, with: example }))];
		found.push(...english(await shown(page), typed).map((line) => `${name}: ${line}`));
	}
	expect(found).toEqual([]);
	await page.goto(`${address}/#/bench/desense`);
	await page.getByLabel("en émission", { exact: true }).fill("900");
	await expect(page.locator(".answers")).toContainText("niveau de 900 dBm, hors de -250 à 150 dBm");
	expect(complaints.filter((said) => !said.includes("422"))).toEqual([]);
	complaints.length = 0; // The browser itself tells of an answer that is a refusal.
});

/** Where numbers stand, names, and what a rule says besides its number. */
function cited(of: unknown, at = ""): string[] {
	if (typeof of === "string") return /source$|^notes$|^name$|^what$|^product$|^meta$|^check$/.test(at) ? [of] : [];
	if (typeof of !== "object" || of === null) return [];
	return Object.entries(of).flatMap(([name, value]) => cited(value, Array.isArray(of) ? at : name));
}

test("what is typed is judged and refused in French, and told with a comma", async ({ page, day }) => {
	await page.goto(await day.at("ines"));
	await page.locator("a[href^='#/session/']").first().click();
	await page.locator("nav.list").getByRole("button", { name: "Niveau d’ouverture" }).first().click();
	const entry = page.locator("section.entry");
	await entry.locator("input").fill("-118,6");
	await expect(entry).toContainText("en dehors");
	await expect(entry).toContainText(/\d,\d\d dB en dehors de la limite, incertitude ±\d,\d\d/);
	await entry.locator("input").fill("250");
	await expect(entry).toContainText("niveau de 250 dBm, hors de");
	await expect(page.locator("button.record")).toBeDisabled();
});

test("another language draws what is on the screen anew, without a new start", async ({ page, day }) => {
	const address = await day.at("hub");
	await page.goto(`${address}#/devices`);
	await page.getByRole("button", { name: "English" }).click();
	await expect(page.getByRole("heading", { name: "Devices", exact: true })).toBeVisible();
	const into = async (hash: string) => page.evaluate((to) => void (location.hash = to), hash);
	await into("#/today");
	const visit = await page.locator("a[href^='#/session/']").first().getAttribute("href");
	await into(visit ?? "");
	const first = page.locator("nav.list button").first();
	await expect(first).toContainText("Opening level at the receiver port");
	await into("#/devices");
	await page.getByRole("button", { name: "Français" }).click();
	// Its words are fetched: whoever goes on sees them first.
	await expect(page.getByRole("heading", { name: "Appareils", exact: true })).toBeVisible();
	await into(visit ?? "");
	await expect(first).toContainText("Niveau d’ouverture au port du récepteur");
	await expect(page.locator("body")).not.toContainText("Opening level at the receiver port");
});

test("the Bench is told anew in another language, and keeps what was typed", async ({ page, day }) => {
	const address = await day.at("ines");
	await page.goto(`${address}/#/bench/desense`);
	await page.getByLabel("en émission", { exact: true }).fill("-110");
	const into = async (hash: string) => page.evaluate((to) => void (location.hash = to), hash);
	await into("#/devices");
	await page.getByRole("button", { name: "English" }).click();
	await into("#/bench/desense");
	await expect(page.getByLabel("keyed", { exact: true })).toHaveValue("-110");
	await expect(page.locator(".answers")).toContainText("interference over noise");
	await into("#/devices");
	await page.getByRole("button", { name: "Français" }).click();
	await into("#/bench/desense");
	await expect(page.getByLabel("en émission", { exact: true })).toHaveValue("-110");
	await expect(page.locator(".answers")).toContainText("brouillage sur bruit");
});
