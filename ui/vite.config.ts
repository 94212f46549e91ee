/**
 * The bundle: one page, one script, one style sheet, all from the node itself. Nothing is inlined,
 * because the page's policy allows neither inline script nor inline style.
 */
import { svelte } from "@sveltejs/vite-plugin-svelte";
import { defineConfig } from "vitest/config";

export default defineConfig({
	plugins: [svelte()],
	build: {
		target: ["es2022", "safari16", "chrome110"],
		assetsInlineLimit: 0,
		modulePreload: { polyfill: false },
		rolldownOptions: {
			output: {
				// What the first screen needs comes as one file: each one more is fetched in turn.
				codeSplitting: { groups: [{ name: "first", test: /src\/main\.ts/ }] },
			},
		},
	},
	test: { environment: "node", include: ["src/**/*.test.ts"] },
});
