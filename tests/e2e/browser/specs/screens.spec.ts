/**
 * A browser at a hub, over TLS: let in on the Devices screen, signed in once, reading and nothing
 * more, and out the moment that ends. The certificate is the one the hub said it shows.
 */
import { connect } from "node:tls";
import type { Page } from "@playwright/test";
import { axeOn } from "../axe.ts";
import { expect, test } from "../day.ts";

test.use({ ignoreHTTPSErrors: true, locale: "en-GB" });

/** The fingerprint of the certificate that is shown at an address. */
function shownAt(address: string): Promise<string> {
	const { hostname, port } = new URL(address);
	return new Promise((resolve, reject) => {
		const socket = connect({ host: hostname, port: Number(port), rejectUnauthorized: false }, () => {
			resolve(socket.getPeerCertificate().fingerprint256);
			socket.end();
		});
		socket.on("error", reject);
	});
}

async function readable(page: Page) {
	const { violations } = await axeOn(page).analyze();
	expect(violations.map(({ id, nodes }) => `${id}: ${nodes.map((n) => n.html).join("\n")}`)).toEqual([]);
	const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
	expect(wide).toBeLessThanOrEqual(0);
}

test("a browser is let in to read, enters nothing, and is out at once", async ({ page, day, context, complaints }, info) => {
	const { home, address, fingerprint } = await day.hub(`screens-${info.project.name}`);
	expect(await shownAt(address)).toBe(fingerprint);

	const hub = await context.newPage();
	await hub.goto(`${home}#/devices`);
	await hub.getByLabel("Where the browser stands").fill("wall screen");
	await hub.getByLabel("What it is for").selectOption("read-only");
	await hub.getByRole("button", { name: "Let a browser in" }).click();
	const link = await hub.locator("code.line").innerText();
	expect(link).toContain(`${address}/#/sign-in/`);
	await readable(hub);

	// Without it, nothing but the door.
	await page.goto(address);
	await expect(page.getByRole("heading", { name: "Sign in" })).toBeVisible();
	await expect(page.getByRole("navigation")).toHaveCount(0);
	await page.getByLabel("Code from the hub").fill("0000-0000-0000-0000");
	await page.getByRole("button", { name: "Sign in" }).click();
	await expect(page.getByRole("alert")).toContainText("lets nobody in");
	await readable(page);
	// The browser itself tells of an answer that is a refusal.
	expect(complaints.filter((said) => !said.includes("401"))).toEqual([]);
	complaints.length = 0;

	await page.goto(link);
	await page.getByRole("button", { name: "Sign in" }).click();
	await expect(page.getByText("This browser is let in to read only")).toBeVisible();
	expect(page.url()).not.toContain("sign-in");
	expect(await page.evaluate(() => document.cookie)).toBe("");
	const cookies = await page.context().cookies(address);
	const [cookie] = cookies.filter(({ name }) => name === "__Host-guyline");
	expect(cookie).toMatchObject({ httpOnly: true, secure: true, sameSite: "Strict", path: "/" });
	await readable(page);

	// Every place shows, and none lets anything be entered.
	await expect(page.getByText("Plan a visit")).toHaveCount(0);
	await page.locator("a[href^='#/session/']").first().click();
	await expect(page.getByText("Let in to read only").first()).toBeAttached();
	await expect(page.getByRole("button", { name: /^Join|^Record/ })).toHaveCount(0);
	await page.goto(`${address}#/papers/people`);
	await expect(page.getByText("Let in to read only", { exact: false }).last()).toBeVisible();
	await expect(page.locator("fieldset.content")).toHaveAttribute("disabled", "");
	await readable(page);
	for (const place of ["board", "bench", "devices", "papers/plan", "today"]) {
		await page.goto(`${address}#/${place}`);
		await expect(page.getByRole("heading", { level: 1 })).toBeVisible();
	}
	// Before it had signed in, the page was told so.
	expect(complaints.filter((said) => !said.includes("401"))).toEqual([]);
	complaints.length = 0;
	// What the screens leave out the hub refuses.
	const refused = await page.evaluate(async () => {
		const headers = { "content-type": "application/json" };
		const answer = await fetch("/api/summarise", { method: "POST", headers, body: "{}" });
		return answer.status;
	});
	expect(refused).toBe(403);
	complaints.length = 0;

	await hub.getByRole("button", { name: "End wall screen" }).click();
	await expect(page.getByRole("heading", { name: "Sign in" })).toBeVisible();
	await expect(page.getByRole("navigation")).toHaveCount(0);
	expect(complaints.filter((said) => !said.includes("401"))).toEqual([]);
	complaints.length = 0;
});
