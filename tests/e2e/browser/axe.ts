/**
 * Axe, as every spec asks it. It looks at the page alone: what it does by default opens a blank page
 * beside for each look and loads itself there anew, which is for frames of other origins. Here are
 * none, and that is held.
 */
import { AxeBuilder } from "@axe-core/playwright";
import type { Page } from "@playwright/test";

export function axeOn(page: Page): AxeBuilder {
	if (page.frames().length > 1) throw new Error("the page has frames, which would not be looked at");
	return new AxeBuilder({ page }).setLegacyMode();
}
