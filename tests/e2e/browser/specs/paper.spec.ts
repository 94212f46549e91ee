/** What is on the screen comes out on paper: the sheet alone, black on white in either theme, still. */
import { expect, test } from "../day.ts";

test("a visit prints without what leads around it, in black on white", async ({ page, day }) => {
	await page.goto(await day.at("ines"));
	await page.locator("a[href^='#/session/']").first().click();
	await expect(page.locator("nav.list button").first()).toBeVisible();
	await page.locator("nav.list button").first().click();
	const theme = await page.locator("html").getAttribute("data-theme");
	await page.emulateMedia({ media: "print" });
	await expect(page.locator(".shell > nav")).toBeHidden();
	await expect(page.locator("section.entry")).toBeHidden();
	await expect(page.getByRole("heading", { name: "Owl Knob" })).toBeVisible();
	await expect(page.locator("section.open .mark").first()).toBeVisible();
	await expect(page.locator("html")).toHaveAttribute("data-theme", "sun");
	await page.emulateMedia({ media: "screen" });
	await expect(page.locator("html")).toHaveAttribute("data-theme", theme ?? "");
	await expect(page.locator(".shell > nav")).toBeVisible();
});

test("nothing moves for whoever asked for stillness", async ({ page, day }) => {
	await page.emulateMedia({ reducedMotion: "reduce" });
	await page.goto(await day.at("ines"));
	await expect(page.locator("a[href^='#/session/']").first()).toBeVisible();
	const moving = await page.evaluate(() =>
		[...document.styleSheets]
			.flatMap((sheet) => [...sheet.cssRules])
			.filter((rule): rule is CSSStyleRule => rule instanceof CSSStyleRule)
			.filter(({ style }) => style.transitionDuration !== "" || style.animationName !== "" || style.transform !== "")
			.map(({ selectorText }) => selectorText),
	);
	// What moves stands inside `prefers-reduced-motion: no-preference`, which is no plain rule.
	expect(moving).toEqual([]);
});
