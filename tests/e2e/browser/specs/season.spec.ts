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
	const before: { sessions: { id: string }[] } = await asked("today", {});
	for (let n = before.sessions.length; n < NEWEST + 2; n += 1) {
		await asked("plan-visit", { site, repeater, work_order: `order ${n}` });
	}
	const { sessions }: typeof before = await asked("today", {});
	const routes = sessions.map(({ id }) => `#/session/${id}`);
	await page.goto(home);
	const visits = page.locator("a[href^='#/session/']").filter({ has: page.locator(".stand") });
	await expect(visits).toHaveCount(NEWEST);
	const shownNow = () => visits.evaluateAll((all) => all.map((one) => one.getAttribute("href")));
	expect(await shownNow()).toEqual(routes.slice(0, NEWEST));
	const { violations } = await axeOn(page).analyze();
	expect(violations.map(({ id }) => id)).toEqual([]);
	await page.getByRole("button", { name: "Show 2 older visits" }).click();
	await expect(visits).toHaveCount(NEWEST + 2);
	expect(await shownNow()).toEqual(routes);
	await expect(page.getByRole("button", { name: /older visit/ })).toHaveCount(0);
});

test("a place that cannot be fetched says so, and is there once the page is loaded again", async ({
	page,
	day,
	complaints,
}) => {
	const address = await day.at("wren");
	let gone = true;
	await page.route("**/assets/others-*.js", (route) => (gone ? route.abort() : route.continue()));
	await page.goto(`${address}#/board`);
	await expect(page.getByText("This place could not be fetched")).toBeVisible();
	// It tries once more by itself: the file is there from when the page is asked for again, no sooner.
	await page.route(`${address}/`, (route) => {
		gone = false;
		return route.continue();
	});
	await page.getByRole("button", { name: "Load the page again" }).click();
	await expect(page.getByRole("heading", { level: 1 })).toBeVisible();
	await expect(page.getByText("This place could not be fetched")).toHaveCount(0);
	const said = complaints.splice(0);
	expect(said.join("\n")).toContain("could not be fetched");
	expect(said.filter((line) => !/could not be fetched|net::ERR_FAILED/.test(line))).toEqual([]);
});
