/**
 * The screens in Debian's Chromium, at the two sizes and in the two colour schemes they are made
 * for. Each project starts with a day of its own (see `day.ts`), so no test meets another's edits.
 */
import { defineConfig } from "@playwright/test";

const sizes = { wide: { width: 1280, height: 800 }, phone: { width: 390, height: 844 } };
const schemes = ["light", "dark"] as const;

export default defineConfig({
	// The pictures are for people; they are made when asked for.
	testDir: process.env["GUYLINE_PICTURES"] ? "pictures" : "specs",
	outputDir: "../../../target/e2e/browser",
	// The machine has few cores, and one node serves all tests of a project.
	workers: 1,
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
			use: { viewport, colorScheme, hasTouch: size === "phone" },
		})),
	),
});
