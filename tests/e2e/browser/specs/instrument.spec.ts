/**
 * A live reading: the instrument's number comes into the field, is judged like any other, and counts
 * once a person records it. A level goes out only by a second touch.
 */
import { readFileSync } from "node:fs";
import { resolve } from "node:path";
import { axeOn } from "../axe.ts";
import { expect, test } from "../day.ts";

const profile = readFileSync(
	resolve(import.meta.dirname, "../../../../demo-data/instruments/monitor.profile.toml"),
	"utf8",
);

test("a reading comes off the instrument, and its level goes out after a second touch", async ({ page, day }, info) => {
	const address = await day.at(`live-${info.project.name}`);
	const call = async (command: string, data: object) => {
		const answer = await page.request.post(`${address}/api/${command}`, { data });
		expect(answer.ok(), `${command}: ${await answer.text()}`).toBe(true);
		return (await answer.json()) as Record<string, unknown>;
	};
	const today = await call("start-demo", {});
	const session = (today["sessions"] as { id: string }[])[0]?.id;
	await call("join-crew", { session });
	const chain = { instrument: "monitor-1", port: "gen", between: ["cable-a"], line: [] };
	await call("connect-chain", { session, name: "direct", plane: "receiver-port", ...chain });

	// The shop's paper says how it is asked, in the field for it.
	await page.goto(`${address}#/papers`);
	await page.getByRole("link", { name: "Instruments" }).or(page.getByRole("button", { name: "Instruments" })).first().click();
	const monitor = page.locator(".entries > details").filter({ hasText: "service monitor 1" });
	await monitor.locator("summary").click();
	await monitor.getByLabel("profile for live readings").fill(profile);
	await monitor.getByLabel("serial number").fill("SIM-1");
	await monitor.getByLabel("serial number").press("Enter");
	await expect(monitor).toContainText("last written by");

	// This device says where it is.
	await page.goto(`${address}#/devices`);
	await page.getByLabel("Where service monitor 1 is connected").fill(await day.instrument());
	const place = page.locator("form").filter({ hasText: "service monitor 1" });
	await place.getByRole("button", { name: "Keep" }).click();
	await place.getByRole("button", { name: "Ask service monitor 1 who it is" }).click();
	await expect(place.getByRole("status")).toContainText("SIM-1");
	const { violations } = await axeOn(page).analyze();
	expect(violations.map(({ id, nodes }) => `${id}: ${nodes.map((n) => n.html).join("\n")}`)).toEqual([]);

	await page.goto(`${address}#/session/${session}`);
	await page.getByRole("navigation").getByRole("button", { name: "Opening level at the receiver port" }).first().click();
	await page.getByRole("button", { name: "Read it off service monitor 1" }).click();
	await expect(page.locator(".live").getByRole("status")).toContainText(/dBm, said by INVENTED/);
	await page.getByRole("button", { name: /^Record/ }).click();
	await expect(page.locator(".recorded")).toContainText("Recorded:");

	await page.getByRole("textbox", { name: "Opening level at the receiver port" }).fill("-95.5");
	await page.getByRole("button", { name: "Set the generator to \u221295.5 dBm" }).click();
	await expect(page.locator(".live").getByRole("alert")).toContainText("SOURce:POWer:LEVel -95.500 DBM");
	const boxes = await page.locator(".live button").evaluateAll((all) => all.map((one) => one.getBoundingClientRect().height));
	expect(Math.min(...boxes)).toBeGreaterThanOrEqual(48);
	const again = (await axeOn(page).analyze()).violations;
	expect(again.map(({ id, nodes }) => `${id}: ${nodes.map((n) => n.html).join("\n")}`)).toEqual([]);
	await page.getByRole("button", { name: "Send it", exact: true }).click();
	await expect(page.locator(".live").getByRole("status")).toContainText("-95.5 dBm");
});
