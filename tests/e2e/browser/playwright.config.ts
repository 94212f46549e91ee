/**
 * The screens in Debian's Chromium, at the two sizes and in the two colour schemes they are made
 * for. Each worker starts each project with a day of its own (see `day.ts`), so no project meets
 * another's edits.
 */
import { defineConfig } from "@playwright/test";

const sizes = { wide: { width: 1280, height: 800 }, phone: { width: 390, height: 844 } };
const schemes = ["light", "dark"] as const;
/** These two meet each size once and each scheme once: what a screen does is tried in them. */
const DOES = ["wide-light", "phone-dark"];
/** How screens look as a whole, every one of them, is seen at each size in each scheme. */
const LOOKS = ["everywhere", "opens", "paper", "language"].map((name) => `**/${name}.spec.ts`);
/** The pictures are for people; they are made when asked for, of all. */
const pictures = process.env["GUYLINE_PICTURES"] !== undefined;

export default defineConfig({
	testDir: pictures ? "pictures" : "specs",
	outputDir: "../../../target/e2e/browser",
	// Each has nodes of its own; Chromium and what it asks take turns, so that two fill two cores.
	workers: 2,
	forbidOnly: true,
	timeout: 30_000,
	reporter: [["list"]],
	use: {
		launchOptions: {
			executablePath: "/usr/bin/chromium",
			args: [
				"--no-sandbox",
				"--disable-gpu",
				"--no-first-run",
				"--disable-background-networking",
				"--disable-component-update",
				"--disable-sync",
			],
		},
		screenshot: "only-on-failure",
	},
	projects: Object.entries(sizes).flatMap(([size, viewport]) =>
		schemes.map((colorScheme) => ({
			name: `${size}-${colorScheme}`,
			...(pictures || DOES.includes(`${size}-${colorScheme}`) ? {} : { testMatch: LOOKS }),
			use: { viewport, colorScheme, hasTouch: size === "phone" },
		})),
	),
});
