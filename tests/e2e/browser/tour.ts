/**
 * Every screen there is, each with the way to it, for specs that hold all of them to one rule. Words
 * are looked for in both languages; nothing on the way is recorded.
 */
import type { Page } from "@playwright/test";
import { expect, type Day } from "./day.ts";

export interface Stop {
	screen: string;
	go: (page: Page, day: Day) => Promise<void>;
}

/** A button or link by the first words on it, in either language. */
const either = (english: string, french: string) => new RegExp(`^(${english}|${french})`);

async function shown(page: Page, address: string, ready: string) {
	// A change of what follows the # alone loads nothing anew.
	await page.goto("about:blank");
	await page.goto(address);
	await expect(page.locator(ready).first()).toBeVisible();
}

async function visit(page: Page, day: Day, node = "ines") {
	await shown(page, await day.at(node), "a[href^='#/session/']");
	await page.locator("a[href^='#/session/']").first().click();
	await expect(page.locator("nav.list button").first()).toBeVisible();
}

async function check(page: Page, title: RegExp) {
	await page.locator("nav.list").getByRole("button", { name: title }).first().click();
	await expect(page.getByRole("heading", { name: title })).toBeVisible();
}

const OPENING = /Opening level at the receiver port|Niveau d’ouverture au port du récepteur/;

async function entry(page: Page, day: Day) {
	await visit(page, day);
	await check(page, OPENING);
	await page.locator("section.entry input").fill("-119.8");
	await expect(page.locator("section.entry .said .mark")).toBeVisible();
}

async function gloves(page: Page, day: Day) {
	await entry(page, day);
	await page.getByRole("button", { name: either("Large keys", "Grandes touches") }).click();
	await expect(page.getByRole("dialog")).toBeVisible();
}

/** What stands beside the checks of a visit. */
const beside = (screen: string, name: RegExp, ready: string): Stop => ({
	screen,
	go: async (page, day) => {
		await visit(page, day, "hub");
		await page.locator("nav.list").getByRole("button", { name }).click();
		await expect(page.locator(ready).first()).toBeVisible();
	},
});

const place = (screen: string, hash: string, ready: string, node = "ines"): Stop => ({
	screen,
	go: async (page, day) => shown(page, `${await day.at(node)}${hash}`, ready),
});

/** A section of a paper, its first entry open, and the form of a new one. */
const section = (screen: string, hash: (page: Page, address: string) => Promise<string>): Stop => ({
	screen,
	go: async (page, day) => {
		const address = await day.at("ines");
		await shown(page, `${address}${await hash(page, address)}`, ".content");
		const first = page.locator(".content .entries > details > summary").first();
		if ((await first.count()) > 0) await first.click();
		const add = page.locator(".content > div > button.act").first();
		if ((await add.count()) > 0) await add.click();
	},
});

const papers = ["shop", "people", "instruments", "parts", "plan", "sites", "lists", "changes"];
const sites = ["site", "hazards", "channels", "equipment", "others", "mixing", "exposure", "visits", "report", "changes"];

async function siteId(page: Page, address: string): Promise<string> {
	const answer = await page.request.post(`${address}/api/papers`, { data: {} });
	return ((await answer.json()) as { sites: { id: string }[] }).sites[0]?.id ?? "";
}

export const tour: Stop[] = [
	place("today", "#/today", "a[href^='#/session/']"),
	place("board", "#/board", "main", "hub"),
	place("devices", "#/devices", "main h2"),
	place("bench", "#/bench", "main a"),
	...["level", "intermod", "duplexer"].map((topic) =>
		place(`bench ${topic}`, `#/bench/${topic}`, ".answers dd"),
	),
	{ screen: "session", go: (page, day) => visit(page, day) },
	{ screen: "entry", go: entry },
	{ screen: "gloves, digits", go: gloves },
	{
		screen: "gloves, choices",
		go: async (page, day) => {
			await gloves(page, day);
			const pager = page.locator("dialog button.pager");
			if (await pager.isVisible()) await pager.click();
		},
	},
	{
		screen: "stop",
		go: async (page, day) => {
			await visit(page, day, "tobias");
			await check(page, /Desense, straight on the antenna|Désensibilisation, directement au port/);
			await page.getByRole("button", { name: "monitor 2's generator on the antenna port" }).click();
			await expect(page.locator("section.open")).toContainText(/STOP|ARR\u00caT/);
		},
	},
	{
		screen: "connect",
		go: async (page, day) => {
			await visit(page, day);
			await check(page, OPENING);
			await page.getByRole("button", { name: either("Connect", "Raccorder|Brancher") }).first().click();
			await expect(page.locator("section.open form, section.open select, section.open h2").first()).toBeVisible();
		},
	},
	{
		screen: "hazards",
		go: async (page, day) => {
			await visit(page, day);
			await page.locator("button.hazards").click();
			await expect(page.getByRole("dialog")).toBeVisible();
		},
	},
	beside("findings", either("Findings", "Constats"), "section.open h2, section.open h3, section.open p"),
	beside("notes", either("Notes", "Notes"), "section.open textarea, section.open h3"),
	beside("photos and files", either("Photos and files", "Photos et fichiers"), "section.open h2"),
	beside("history", either("What happened", "Ce qui"), "ol li"),
	beside("close", either("Close the visit", "Clore|Fermer"), "section.open button"),
	...papers.map((name) => section(`papers ${name}`, () => Promise.resolve(`#/papers/${name}`))),
	...sites.map((name) =>
		section(`site ${name}`, async (page, address) => `#/site/${await siteId(page, address)}/${name}`),
	),
	place("beginning", "", "main button, main input", "nobody yet"),
];
