/**
 * Every screen held to one rule each: what can be touched is large enough, text can be read in the
 * sun, nothing is wider than the screen, and axe finds nothing. Offenders are listed by screen.
 *
 * Two of the four projects walk in English and two in French, so that each size and each theme meets
 * each language once.
 */
import type { Page } from "@playwright/test";
import { axeOn } from "../axe.ts";
import { expect, test } from "../day.ts";
import { tour } from "../tour.ts";

/** WCAG 2.2 2.5.8 wants 24, 2.5.5 wants 44; Android's guide says 48 dp. A hair less is rounding. */
const TARGET = 47.5;
/** WCAG 2.2 1.4.6. Ours counts for large text too, and for what cannot be pressed now. */
const CONTRAST = 7;

/** What takes the focus and is smaller than a finger. Links inside a sentence are exempt (2.5.8). */
const tooSmall = (page: Page) =>
	page.evaluate((least) => {
		const open = document.querySelector("dialog[open]") ?? document;
		const found: string[] = [];
		for (const element of open.querySelectorAll<HTMLElement>(
			"button, a[href], input, select, textarea, summary, [tabindex]:not([tabindex='-1'])",
		)) {
			if (!element.checkVisibility() || element.closest("p a") === element) continue;
			// A box to tick is as large as the label around it.
			const label = element.closest("label") ?? element;
			const { width, height } = (element.matches("[type=checkbox], [type=radio]") ? label : element)
				.getBoundingClientRect();
			if (width >= least && height >= least) continue;
			const size = `${Math.round(width)}x${Math.round(height)}`;
			found.push(`${size} ${element.outerHTML.replaceAll(/\s+/g, " ").slice(0, 90)}`);
		}
		return found;
	}, TARGET);

/** Text that stands out from what is behind it by less than wanted, by WCAG's relative luminance. */
const tooFaint = (page: Page) =>
	page.evaluate((least) => {
		const parts = (colour: string) => (colour.match(/[\d.]+/g) ?? []).map(Number);
		const luminance = (colour: string) => {
			const [r = 0, g = 0, b = 0] = parts(colour).map((part) => {
				const share = part / 255;
				return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
			});
			return 0.2126 * r + 0.7152 * g + 0.0722 * b;
		};
		const behind = (element: Element | null): string => {
			for (let at = element; at; at = at.parentElement) {
				const colour = getComputedStyle(at).backgroundColor;
				if ((parts(colour)[3] ?? 1) > 0) return colour;
			}
			return "rgb(255, 255, 255)";
		};
		const found = new Set<string>();
		const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
		while (texts.nextNode()) {
			const element = texts.currentNode.parentElement;
			const said = texts.currentNode.textContent?.trim();
			if (!said || !element?.checkVisibility() || element.closest("svg")) continue;
			const [one, other] = [luminance(getComputedStyle(element).color), luminance(behind(element))];
			const ratio = (Math.max(one, other) + 0.05) / (Math.min(one, other) + 0.05);
			if (ratio < least) found.add(`${ratio.toFixed(1)}:1 ${said.slice(0, 60)}`);
		}
		return [...found];
	}, CONTRAST);

async function troubles(page: Page): Promise<string[]> {
	const axe = axeOn(page).options({
		rules: { "color-contrast-enhanced": { enabled: true }, "target-size": { enabled: true } },
	});
	const { violations } = await axe.analyze();
	const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
	return [
		...(await tooSmall(page)).map((said) => `too small: ${said}`),
		...(await tooFaint(page)).map((said) => `too faint: ${said}`),
		...violations.flatMap(({ id, nodes }) =>
			nodes.map(({ html, failureSummary }) => `axe ${id}: ${html.slice(0, 120)} ${failureSummary ?? ""}`),
		),
		...(wide > 0 ? [`${wide} px wider than the screen`] : []),
	];
}

/**
 * One page goes the whole way: to make one costs as much as to look at a screen. It keeps nothing
 * from one screen to the next, and each is loaded anew.
 */
const walk = test.extend<{ page: Page }, { walker: Page }>({
	walker: [
		async ({ browser }, use, { project }) => {
			const { viewport, colorScheme, hasTouch } = project.use;
			const context = await browser.newContext({ viewport, colorScheme, hasTouch });
			const page = await context.newPage();
			const french = ["wide-dark", "phone-light"].includes(project.name);
			await page.addInitScript((name) => {
				// An empty page between two screens has nothing to keep.
				if (location.protocol !== "http:") return;
				localStorage.clear();
				sessionStorage.clear();
				localStorage.setItem("guyline-language", name);
			}, french ? "fr" : "en");
			await use(page);
			await context.close();
		},
		{ scope: "worker" },
	],
	page: ({ walker }, use) => use(walker),
});

for (const { screen, go } of tour) {
	walk(`${screen}: large enough, readable, and nothing for axe to find`, async ({ page, day }) => {
		walk.setTimeout(60_000);
		await go(page, day);
		expect(await troubles(page), screen).toEqual([]);
	});
}

walk("the walk finds what it looks for", async ({ page, day }) => {
	await page.goto(await day.at("ines"));
	await expect(page.locator("a[href^='#/session/']")).toBeVisible();
	await page.evaluate(() => {
		const small = document.createElement("button");
		small.textContent = "too small";
		small.style.cssText = "color: #999; background: #777; width: 20px; height: 20px";
		document.querySelector("main")?.append(small);
	});
	const said = (await troubles(page)).join("\n");
	expect(said).toMatch(/too small: 20x20/);
	expect(said).toMatch(/too faint: .*too small/);
});
