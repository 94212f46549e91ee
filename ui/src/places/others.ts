/**
 * The places behind the first screen, in one file of their own: they are fetched once that screen is
 * shown, or at once where the address names one of them.
 */
export { default as Bench } from "./Bench.svelte";
export { BenchState } from "./bench.svelte";
export { default as Board } from "./Board.svelte";
export { default as Devices } from "./Devices.svelte";
export { default as Papers } from "./Papers.svelte";
export { default as Session } from "./Session.svelte";
export { default as Site } from "./Site.svelte";
