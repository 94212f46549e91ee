/**
 * A picture of every screen, for people to look at: `npm --prefix tests/e2e/browser run pictures`.
 *
 * Whole pages go into target/pictures as SCREEN-SIZE-THEME.png. Nothing is compared: what a screen
 * must do stands in the specs beside this folder.
 */
import { join, resolve } from "node:path";
import type { Page, TestInfo } from "@playwright/test";
import { expect, test } from "../day.ts";

const folder = resolve(import.meta.dirname, "../../../../target/pictures");

async function picture(page: Page, info: TestInfo, screen: string, fullPage = true) {
	// A level diagram is drawn once its width is known.
	await page.evaluate(() => new Promise(requestAnimationFrame));
	await page.waitForTimeout(150);
	const path = join(folder, `${screen}-${info.project.name}.png`);
	await page.screenshot({ path, fullPage });
}

async function openVisit(page: Page, address: string) {
	await page.goto(address);
	await page.locator("a[href^='#/session/']").first().click();
	await expect(page.getByRole("heading", { name: "Owl Knob" })).toBeVisible();
}

async function openCheck(page: Page, title: string) {
	await page.getByRole("navigation").getByRole("button", { name: title }).first().click();
	await expect(page.getByRole("heading", { name: title })).toBeVisible();
}

test("today", async ({ page, day }, info) => {
	await page.goto(await day.at("ines"));
	await expect(page.locator("a[href^='#/session/']").first()).toBeVisible();
	await picture(page, info, "today");
});

test("the session's checks, findings and notes", async ({ page, day }, info) => {
	await openVisit(page, await day.at("hub"));
	await picture(page, info, "session");
	await page.getByRole("button", { name: /^Findings/ }).click();
	await picture(page, info, "findings");
	if (info.project.name.startsWith("phone")) await page.getByRole("button", { name: "All checks" }).click();
	await page.getByRole("button", { name: /^Notes/ }).click();
	await picture(page, info, "notes");
	if (info.project.name.startsWith("phone")) await page.getByRole("button", { name: "All checks" }).click();
	await page.getByRole("button", { name: "What happened" }).click();
	await expect(page.locator("ol li").first()).toBeVisible();
	await picture(page, info, "history");
	await page.locator("ol li").nth(12).getByRole("button").click();
	await expect(page.getByRole("heading", { name: "As it was then" })).toBeVisible();
	await picture(page, info, "as-it-was");
});

test("in French", async ({ page, day }, info) => {
	await page.goto(`${await day.at("hub")}#/devices`);
	await page.getByRole("button", { name: "Français" }).click();
	await expect(page.getByRole("heading", { name: "Appareils", exact: true })).toBeVisible();
	await picture(page, info, "devices-french");
	const address = await day.at("hub");
	await page.goto(`${address}#/today`);
	await expect(page.locator("a[href^='#/session/']").first()).toBeVisible();
	await picture(page, info, "today-french");
	await page.locator("a[href^='#/session/']").first().click();
	await expect(page.getByRole("heading", { name: "Owl Knob" })).toBeVisible();
	await picture(page, info, "session-french");
	for (const [title, name] of [
		["Niveau d’ouverture au port du récepteur", "session-french-opening"],
		["Désensibilisation, directement au port d’antenne", "session-french-desense"],
		["Constats", "session-french-findings"],
		["Ce qui", "session-french-history"],
	] as const) {
		const back = page.getByRole("button", { name: "Tous les contrôles" });
		if (await back.isVisible()) await back.click();
		await page.locator("nav.list").getByRole("button", { name: title }).first().click();
		await expect(page.locator("section.open")).toBeVisible();
		await page.evaluate(() => {
			for (const folded of document.querySelectorAll("section.open details")) folded.setAttribute("open", "");
		});
		await picture(page, info, name);
	}
	await page.goto(`${address}#/board`);
	await page.locator("input[type=date]").fill("2026-05-14");
	await expect(page.locator("main")).toContainText("Owl Knob");
	await picture(page, info, "board-french");
	const answer = await page.request.post(`${address}/api/papers`, { data: {} });
	const site = ((await answer.json()) as { sites: { id: string }[] }).sites[0]?.id ?? "";
	for (const section of ["site", "channels", "mixing", "visits"]) {
		await page.goto(`${address}#/site/${site}/${section}`);
		await expect(page.locator(".content")).toBeVisible();
		await picture(page, info, `site-${section}-french`);
	}
});

test("beginning", async ({ page, day }, info) => {
	await page.goto(await day.at(`new-${info.project.name}`));
	await expect(page.getByRole("button", { name: "Start it" })).toBeVisible();
	await picture(page, info, "begin");
});

test("the devices", async ({ page, day }, info) => {
	await page.goto(await day.at(`founder-${info.project.name}`, "--share", "127.0.0.1:0"));
	await page.getByLabel("The shop's name").fill("Larkspur Radio Works");
	await page.getByLabel("Your name").fill("Wren");
	await page.getByLabel("What people call this device").fill("office laptop");
	await page.getByRole("button", { name: "Start it" }).click();
	await expect(page.getByRole("heading", { name: "Larkspur Radio Works" })).toBeVisible();
	await page.locator("a.standing").click();
	await page.getByRole("button", { name: "Let a device in" }).click();
	await expect(page.locator("code.line").first()).toBeVisible();
	await picture(page, info, "devices");
	await page.getByRole("button", { name: "Share no more" }).click();
});

test("the board", async ({ page, day }, info) => {
	await page.goto(`${await day.at("hub")}#/board`);
	await page.getByLabel("Day", { exact: true }).fill("2026-05-14");
	await page.getByLabel("Day", { exact: true }).blur();
	await expect(page.locator("main")).toContainText("WO 1187");
	await picture(page, info, "board");
});

test("a visit being closed", async ({ page, day }, info) => {
	await openVisit(page, await day.at("wren"));
	await page.getByRole("button", { name: "Close the visit" }).click();
	await picture(page, info, "close");
	await page.getByRole("button", { name: "Sign off as Wren" }).click();
	await page.getByRole("button", { name: "Check the signature" }).click();
	await expect(page.locator("section.open")).toContainText("True and unchanged.");
	await picture(page, info, "signed");
	await page.getByLabel("Why must it be changed?").fill("Seen on the photograph");
	await page.getByRole("button", { name: "Keep the reason" }).click();
	await page.getByLabel("What was put back").fill("Squelch back to its mark");
	await page.getByRole("button", { name: "Keep", exact: true }).click();
	await page.getByRole("button", { name: "Check the signature" }).click();
	await expect(page.locator("section.open")).toContainText("Something is not as it was signed.");
	await picture(page, info, "amended");
});

test("a check with its entry and verdict", async ({ page, day }, info) => {
	await openVisit(page, await day.at("ines"));
	await openCheck(page, "Opening level at the receiver port");
	await page.locator("section.entry input").fill("-119,8");
	await expect(page.locator("section.entry")).toContainText("dB");
	await picture(page, info, "entry");
});

test("gloves", async ({ page, day }, info) => {
	await openVisit(page, await day.at("ines"));
	await openCheck(page, "Opening level at the receiver port");
	await page.getByRole("button", { name: "Large keys, for gloves" }).click();
	await page.locator("dialog input").fill("-119.8");
	await expect(page.locator("dialog .verdict .mark")).toBeVisible();
	await picture(page, info, "gloves", false);
	const pager = page.locator("dialog button.pager");
	if (!(await pager.isVisible())) return;
	await pager.click();
	await picture(page, info, "gloves-choices", false);
});

test("a stop", async ({ page, day }, info) => {
	await openVisit(page, await day.at("tobias"));
	await openCheck(page, "Desense, straight on the antenna port");
	await page.getByRole("button", { name: "monitor 2's generator on the antenna port" }).click();
	await picture(page, info, "stop");
});

test("a chain being connected", async ({ page, day }, info) => {
	await openVisit(page, await day.at("ines"));
	await openCheck(page, "Opening level at the receiver port");
	await page.getByRole("button", { name: /^Connect/ }).first().click();
	await picture(page, info, "connect");
});

test("hazards", async ({ page, day }, info) => {
	await openVisit(page, await day.at("ines"));
	await page.getByRole("button", { name: /Hazards/ }).click();
	await picture(page, info, "hazards");
});

test("the bench", async ({ page, day }, info) => {
	for (const topic of ["", "level", "desense", "intermod", "exposure", "budget"]) {
		await page.goto(`${await day.at("ines")}/#/bench/${topic}`.replace(/\/$/, ""));
		if (topic !== "") await expect(page.locator(".answers dd").first()).toBeVisible();
		await picture(page, info, topic === "" ? "bench" : `bench-${topic}`);
	}
});

test("papers", async ({ page, day }, info) => {
	const ines = await day.at("ines");
	for (const section of ["shop", "people", "instruments", "parts", "plan", "lists", "changes"]) {
		await page.goto(`${ines}/#/papers/${section}`);
		await expect(page.locator(".content")).toBeVisible();
		const first = page.locator(".content .entries > details > summary").first();
		if ((await first.count()) > 0) await first.click();
		if (section === "lists") {
			await page
				.getByLabel("Or the rows themselves")
				.fill("name,kind,loss,tolerance_db,power_max_w\na,cable,150 MHz: 1,0.1,5\nb,hose,x,1,2\n");
			await expect(page.locator("table")).toBeVisible();
		}
		await picture(page, info, `papers-${section}`);
	}
});

test("papers two people wrote apart", async ({ page, day, complaints }, info) => {
	const [ines, tobias] = [await day.at("ines"), await day.at("tobias")];
	const ask = (address: string, command: string, data: object) =>
		page.request.post(`${address}/api/${command}`, { data });
	const { id } = (await (await ask(ines, "papers", {})).json()) as { id: string };
	const set = (value: string) => ({ document: id, path: ["parts", "cable-a", "power_max_w"], value });
	await ask(ines, "set-field", set("150"));
	await ask(tobias, "set-field", set("120"));
	await ask(ines, "exchange", { address: tobias });
	await page.goto(`${ines}/#/papers/parts`);
	await expect(page.getByRole("region", { name: "Two people wrote this apart" })).toBeVisible();
	const field = page.getByLabel("loss may be off by", { exact: true }).first();
	await field.fill("much");
	await field.press("Enter");
	await expect(page.getByRole("alert")).toBeVisible();
	await picture(page, info, "papers-apart");
	// The browser itself tells of an answer that is a refusal.
	complaints.length = 0;
});

test("site", async ({ page, day }, info) => {
	const ines = await day.at("ines");
	const answer = await page.request.post(`${ines}/api/papers`, { data: {} });
	const { sites } = (await answer.json()) as { sites: { id: string }[] };
	const site = sites[0]?.id ?? "";
	const entry = { name: "tenant, north mast", frequency_hz: "163.8 MHz", power_w: "60", antenna: null };
	await page.request.post(`${ines}/api/put-entry`, {
		data: { document: site, list: "co_sited", entry },
	});
	for (const section of ["site", "hazards", "channels", "others", "mixing", "exposure", "visits"]) {
		await page.goto(`${ines}/#/site/${site}/${section}`);
		await expect(page.locator(".content")).toBeVisible();
		if (section === "exposure") {
			await page.getByLabel("Distance from the antenna").fill("6");
			await page.getByLabel("Antenna gain").fill("8");
			await page.getByLabel(/^Share of the time/).fill("0.5");
			await page.getByRole("button", { name: "Estimate" }).click();
			await expect(page.locator("dl")).toBeVisible();
		}
		const first = page.locator(".content .entries > details > summary").first();
		if ((await first.count()) > 0) await first.click();
		await picture(page, info, `site-${section}`);
	}
});
