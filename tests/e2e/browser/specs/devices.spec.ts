/**
 * Devices: what this one is called and known by, and a stick that carries everything to another.
 */
import type { Page } from "@playwright/test";
import jsQR from "jsqr";
import { PNG } from "pngjs";
import { axeOn } from "../axe.ts";
import { expect, test } from "../day.ts";

// Its types describe another module form than Node loads.
const readCode = jsQR as unknown as typeof jsQR.default;

/** What a camera would read of the code on the screen: a picture of it, read by jsQR. */
async function readQr(page: Page): Promise<string | undefined> {
	const code = page.getByRole("img", { name: /^QR code/ });
	// On a phone the places stand over the sheet's end: the code goes where nothing covers it.
	await code.evaluate((node) => node.scrollIntoView({ block: "center" }));
	const picture = PNG.sync.read(await code.screenshot());
	return readCode(new Uint8ClampedArray(picture.data), picture.width, picture.height)?.data;
}

test("a bundle written on one device is taken on another", async ({ page, day, complaints }, info) => {
	await page.goto(`${await day.at("ines")}#/devices`);
	await expect(page.getByRole("heading", { name: "Devices", exact: true })).toBeVisible();
	const waits = page.waitForEvent("download");
	await page.getByRole("button", { name: "Write a bundle" }).click();
	const bundle = await (await waits).path();
	const { violations } = await axeOn(page).analyze();
	expect(violations.map(({ id, nodes }) => `${id}: ${nodes.map((n) => n.html).join("\n")}`)).toEqual([]);
	const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
	expect(wide).toBeLessThanOrEqual(0);

	await page.goto(`${await day.at(`stick-${info.project.name}`)}#/devices`);
	const field = page.getByLabel("Take a bundle");
	await field.setInputFiles({ name: "x", mimeType: "text/plain", buffer: Buffer.from("no bundle") });
	await expect(page.getByRole("alert")).toContainText("no Guyline bundle");
	// The browser itself tells of an answer that is a refusal.
	expect(complaints.filter((said) => !said.includes("502"))).toEqual([]);
	complaints.length = 0;
	await field.setInputFiles(bundle);
	await expect(page.getByRole("status").filter({ hasText: "came in" })).toContainText("Ines");
	await page.getByRole("link", { name: "Today" }).click();
	await expect(page.locator("a[href^='#/session/']")).toHaveCount(1);
});

test("a device gets a name its people know it by", async ({ page, day }) => {
	await page.goto(await day.at("tobias"));
	await page.locator("a.standing").click();
	await page.getByLabel("What people call it").fill("van 2's tablet");
	await page.getByRole("button", { name: "Keep the name" }).click();
	await expect(page.getByRole("button", { name: "Keep the name" })).toBeDisabled();
	await page.getByLabel("What people call it").fill("Tobias's tablet");
	await page.getByRole("button", { name: "Keep the name" }).click();
	await expect(page.getByRole("button", { name: "Keep the name" })).toBeDisabled();
});

test("a device comes in to the shop: both screens show the same code", async ({ page, day, context }, info) => {
	const host = page;
	// Shared on loopback: a test reaches no further.
	await host.goto(await day.at(`office-${info.project.name}`, "--share", "127.0.0.1:0"));
	await host.getByLabel("The shop's name").fill("Larkspur Radio Works");
	await host.getByLabel("Your name").fill("Wren");
	await host.getByLabel("What people call this device").fill("office laptop");
	await host.getByRole("button", { name: "Start it" }).click();
	await expect(host.getByRole("heading", { name: "Larkspur Radio Works" })).toBeVisible();
	await host.locator("a.standing").click();
	await expect(host.getByRole("button", { name: "Share no more" })).toBeVisible();
	await host.getByRole("button", { name: "Let a device in" }).click();
	const invitation = await host.locator("code.line").first().innerText();
	expect(await readQr(host), "dark modules on white in either theme").toBe(invitation);
	await host.getByText("The same as a link").click();
	expect(await host.locator("code.line").last().innerText()).toMatch(/^guyline:join\?invitation=/);

	const guest = await context.newPage();
	const tablet = await day.at(`tablet-${info.project.name}`, "--share", "127.0.0.1:0");
	await guest.goto(`${tablet}#/devices`);
	await guest.getByLabel("What people call it").fill("van 1's tablet");
	await guest.getByRole("button", { name: "Keep the name" }).click();
	await guest.getByLabel("Invitation from another device").fill(invitation);
	await guest.getByRole("button", { name: "Come in with it" }).click();
	await expect(host.locator("p.code")).toBeVisible();
	expect(await host.locator("p.code").innerText()).toBe(await guest.locator("p.code").innerText());
	await host.getByRole("button", { name: "It shows this code" }).click();
	await expect(guest.getByText("(this device)")).toBeVisible();
	await expect(host.locator("main")).toContainText("van 1's tablet");

	// And then they merge: the shop's papers come over.
	const address = await host.getByText("The shop's devices reach this one at").locator("code").innerText();
	await guest.getByLabel("Merge with another device or the hub").fill(`https://${address}`);
	await guest.getByRole("button", { name: "Merge", exact: true }).first().click();
	await expect(guest.locator("body")).toContainText("Merged with office laptop");
	// From here on by itself; that can be paused, and says so.
	const aside = guest.locator("section", { hasText: "Merging by itself" }).last();
	await expect(aside).toContainText("office laptop nearby");
	await expect(aside).toContainText(address);
	await aside.getByRole("button", { name: "Pause merging" }).click();
	await expect(aside).toContainText("Paused.");
	await expect(aside.getByRole("button", { name: "Go on merging" })).toBeVisible();
	for (const screen of [host, guest]) {
		const { violations } = await axeOn(screen).analyze();
		expect(violations.map(({ id, nodes }) => `${id}: ${nodes.map((n) => n.html).join("\n")}`)).toEqual([]);
	}
	await host.getByRole("button", { name: "Share no more" }).click();
	await expect(host.getByRole("button", { name: "Share on this network" })).toBeVisible();
});
