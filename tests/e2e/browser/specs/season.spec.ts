/**
 * Goal: a season's visits do not stand between a person and the newest; the places behind the first
 * screen are fetched after it, and where they cannot be, that is said with what to do. Method: a new
 * hub whose shop plans more visits than are shown at once; a page whose second file does not come.
 */
import { axeOn } from "../axe.ts";
import { expect, test } from "../day.ts";

const NEWEST = 12;

test("of many visits the newest are shown, and the others when they are asked for", async ({
	page,
	day,
}, info) => {
	const { home } = await day.hub(`season-${info.project.name}-${info.repeatEachIndex}`);
	const asked = async (command: string, data: object) => {
		const answer = await page.request.post(`${home}/api/${command}`, { data });
		expect(answer.ok(), await answer.text()).toBe(true);
		return (await answer.json()) as never;
	};
	const { sites }: { sites: { id: string }[] } = await asked("papers", {});
	const site = sites[0]?.id;
	const shown: { site: { repeaters: Record<string, unknown> } } = await asked("site", { site });
	const [repeater] = Object.keys(shown.site.repeaters);
	const before: { sessions: unknown[] } = await asked("today", {});
	const more = NEWEST + 2 - before.sessions.length;
	for (let n = 0; n < more; n += 1) {
		await asked("plan-visit", { site, repeater, work_order: `order ${n}` });
	}
	await page.goto(home);
	const visits = page.locator("a[href^='#/session/']").filter({ has: page.locator(".stand") });
	await expect(visits).toHaveCount(NEWEST);
	await expect(visits.first()).toContainText(`order ${more - 1}`);
	const { violations } = await axeOn(page).analyze();
	expect(violations.map(({ id }) => id)).toEqual([]);
	await page.getByRole("button", { name: "Show 2 older visits" }).click();
	await expect(visits).toHaveCount(NEWEST + 2);
	await expect(page.getByRole("button", { name: /older visit/ })).toHaveCount(0);
});

test("a place that cannot be fetched says so, and is there once the page is loaded again", async ({
	page,
	day,
	complaints,
}) => {
	const address = await day.at("wren");
	await page.route("**/assets/others-*.js", (route) => route.abort());
	await page.goto(`${address}#/board`);
	await expect(page.getByText("This place could not be fetched")).toBeVisible();
	expect(complaints.splice(0).join("\n")).toContain("could not be fetched");
	await page.unroute("**/assets/others-*.js");
	await page.getByRole("button", { name: "Load the page again" }).click();
	await expect(page.getByRole("heading", { level: 1 })).toBeVisible();
	await expect(page.getByText("This place could not be fetched")).toHaveCount(0);
});
