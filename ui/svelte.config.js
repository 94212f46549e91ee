/** How Svelte is compiled: runes everywhere, so that no file falls back to the older way by accident. */
export default { compilerOptions: { runes: true } };
