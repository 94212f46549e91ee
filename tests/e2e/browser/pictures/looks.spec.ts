/**
 * Verdict marks as they are seen without some colours, and on paper, for people to look at:
 * `npm --prefix tests/e2e/browser run looks`. Pictures go into target/pictures as
 * looks-SCREEN-EYES-THEME.png. Shape and word must tell every outcome apart in each of them.
 */
import { join, resolve } from "node:path";
import { expect, test } from "../day.ts";

const folder = resolve(import.meta.dirname, "../../../../target/pictures");
/** Chromium's own names; achromatopsia is what a grey printer leaves. */
const eyes = ["none", "achromatopsia", "protanopia", "deuteranopia", "tritanopia"] as const;

test("marks without colours", async ({ page, day }, info) => {
	// One size is enough for colours.
	if (!info.project.name.startsWith("wide")) return;
	test.setTimeout(90_000);
	await page.goto(await day.at("hub"));
	await page.locator("a[href^='#/session/']").first().click();
	await expect(page.locator("nav.list .mark").first()).toBeVisible();
	await page.locator("nav.list button", { hasText: "Desense, straight on" }).first().click();
	const devtools = await page.context().newCDPSession(page);
	for (const type of eyes) {
		await devtools.send("Emulation.setEmulatedVisionDeficiency", { type });
		const path = join(folder, `looks-session-${type}-${info.project.name}.png`);
		await page.screenshot({ path });
	}
	await devtools.send("Emulation.setEmulatedVisionDeficiency", { type: "none" });
	await page.emulateMedia({ media: "print" });
	await page.screenshot({ path: join(folder, `looks-session-paper-${info.project.name}.png`), fullPage: true });
});
