/**
 * The keypad for gloves: every key is 20 mm, nothing stands behind another or off the screen, a
 * reading goes in and out by touch alone and by the keyboard alone, and the device keeps the choice.
 */
import type { Page } from "@playwright/test";
import { expect, test } from "../day.ts";

/** 20 mm at 149 px an inch is 118; 112 is what four keys and their gaps leave on such a tablet. */
const KEY = 112;

/** Whether each pad that was opened stood ready, or had to be chosen first. */
let chosen: boolean[] = [];
test.beforeEach(() => {
	chosen = [];
});

async function openPad(page: Page, address: string) {
	await page.goto(address);
	await page.locator("a[href^='#/session/']").first().click();
	await page
		.locator("nav.list")
		.getByRole("button", { name: "Opening level at the receiver port" })
		.first()
		.click();
	const open = page.getByRole("button", { name: "Type the reading" });
	const choose = page.getByRole("button", { name: "Large keys, for gloves" });
	await expect(open.or(choose)).toBeVisible();
	chosen.push(await open.isVisible());
	await (chosen.at(-1) ? open : choose).click();
	const pad = page.getByRole("dialog", { name: "Keypad for gloves" });
	await expect(pad.locator("input")).toBeFocused();
	return pad;
}

/** The keys that can be touched now; each is asked whether a finger in its middle would hit it. */
const keys = (page: Page) =>
	page.evaluate(() =>
		[...document.querySelectorAll<HTMLElement>("dialog[open] .pad button")]
			.filter((key) => key.checkVisibility())
			.map((key) => {
				const { left, top, right, bottom, width, height } = key.getBoundingClientRect();
				const hit = document.elementFromPoint((left + right) / 2, (top + bottom) / 2);
				const inside = left >= 0 && top >= 0 && right <= innerWidth && bottom <= innerHeight;
				return { name: key.innerText, width, height, top, inside, hit: key.contains(hit) };
			}),
	);

async function soundKeys(page: Page) {
	const all = await keys(page);
	expect(all.length).toBeGreaterThan(8);
	expect(all.filter(({ width, height }) => width < KEY - 0.5 || height < KEY - 0.5)).toEqual([]);
	expect(all.filter(({ inside, hit }) => !inside || !hit)).toEqual([]);
	return all;
}

test("every key is as large as a gloved finger wants, and none is hidden", async ({ page, day }, info) => {
	const pad = await openPad(page, await day.at("ines"));
	const all = await soundKeys(page);
	if (info.project.name.startsWith("phone")) {
		// One hand: the keys are the lower end of the screen.
		expect(Math.min(...all.map(({ top }) => top))).toBeGreaterThan(844 * 0.25);
		await pad.locator("button.pager").click();
		await soundKeys(page);
	} else {
		// Side by side, and all at once.
		await expect(pad.locator("button.pager")).toBeHidden();
		expect(all.length).toBeGreaterThanOrEqual(20);
	}
});

test("a reading goes in by touch, again, and is taken back", async ({ page, day }, info) => {
	const pad = await openPad(page, await day.at("ines"));
	const phone = info.project.name.startsWith("phone");
	const turn = async () => {
		if (phone) await pad.locator("button.pager").click();
	};
	const key = (name: string) => pad.getByRole("button", { name, exact: true });
	for (const name of ["1", "2", "2", "Take the last one away", "1", "Decimal point", "6", "Minus"]) {
		await key(name).click();
	}
	const field = pad.locator("input");
	await expect(field).toHaveValue("-121.6");
	await expect(pad.locator(".verdict")).toContainText("inside");
	await turn();
	await key("as left").click();
	await turn();
	await key("Record").click();
	await expect(field).toHaveValue("");
	await expect(pad).toContainText("121.6 dBm");
	await turn();
	// What was read last is typed again, and its unit with it.
	await key("µV").click();
	await pad.getByRole("button", { name: /^Type again/ }).click();
	await expect(field).toHaveValue("-121.6");
	await expect(pad.locator(".unit")).toContainText("dBm");
	await turn();
	await pad.getByRole("button", { name: /^Undo: / }).click();
	await expect(pad.locator(".verdict")).toContainText("Taken back");
	await key("Close").click();
	await expect(pad).toBeHidden();
	await expect(page.locator("section.open")).toContainText("taken back");
});

test("by the keyboard alone", async ({ page, day }) => {
	const pad = await openPad(page, await day.at("ines"));
	await page.keyboard.type("-121.5");
	await expect(pad.locator(".verdict")).toContainText("inside");
	await page.keyboard.press("Enter");
	await expect(pad.locator("input")).toHaveValue("");
	await expect(pad.locator(".verdict")).toContainText("121.5 dBm");
	await page.keyboard.press("Tab");
	await expect(pad.locator("button").first()).toBeFocused();
	await page.keyboard.press("Escape");
	await expect(pad).toBeHidden();
});

test("the choice is kept on the device, and taken back on Devices", async ({ page, day }) => {
	const address = await day.at("ines");
	await openPad(page, address);
	// Another start of the same device: the large keys are there without being asked for.
	await page.goto("about:blank");
	await openPad(page, address);
	await page.goto("about:blank");
	await page.goto(`${address}#/devices`);
	const group = page.getByRole("group", { name: "Keys for readings" });
	await expect(group.getByRole("button", { pressed: true })).toHaveText("Large keys, for gloves");
	await group.getByRole("button", { name: "Ordinary keys" }).click();
	await page.goto("about:blank");
	expect(await openPad(page, address)).toBeTruthy();
	expect(chosen).toEqual([false, true, false]);
});
