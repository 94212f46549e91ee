/** Units as they end a field's name, and as people write them. */
import { spoken } from "./speech.svelte";

/** The longest ending counts. */
const UNITS: [ending: string, written: string][] = [
	["dbm_per_hz", "dBm/Hz"],
	["dbc_per_hz", "dBc/Hz"],
	["dbc_hz", "dBc/Hz"],
	["dbm_hz", "dBm/Hz"],
	["mw_cm2", "mW/cm²"],
	["mw_per_cm2", "mW/cm²"],
	["w_m2", "W/m²"],
	["w_per_m2", "W/m²"],
	["v_per_m", "V/m"],
	["db_per_year", "dB/year"],
	["per_year", "per year"],
	["percent", "%"],
	["degrees", "°"],
	["samples_per_s", "samples/s"],
	["dbuv", "dBµV"],
	["dbfs", "dBFS"],
	["ohms", "Ω"],
	["ohm", "Ω"],
	["minutes", "min"],
	["days", "days"],
	["base64", ""],
	["dbm", "dBm"],
	["dbi", "dBi"],
	["dbd", "dBd"],
	["dbc", "dBc"],
	["ghz", "GHz"],
	["mhz", "MHz"],
	["khz", "kHz"],
	["ppm", "ppm"],
	["deg", "°"],
	["min", "min"],
	["mw", "mW"],
	["uv", "µV"],
	["hz", "Hz"],
	["db", "dB"],
	["km", "km"],
	["cm", "cm"],
	["mm", "mm"],
	["ms", "ms"],
	["m", "m"],
	["s", "s"],
	["w", "W"],
	["v", "V"],
	["k", "K"],
];

/** Units that are words, in English; the others are written alike in every language. */
const english = { "dB/year": "dB/year", "per year": "per year", days: "days", "samples/s": "samples/s" };
export type UnitWords = typeof english;
const unitWords = spoken("unitWords", english);

/** Splits a name into what it names and its unit; no unit where none ends it. */
export function unitOf(name: string): { stem: string; unit: string } {
	const found = UNITS.find(([ending]) => name.endsWith(`_${ending}`));
	if (!found) return { stem: name, unit: "" };
	const [ending, unit] = found;
	return { stem: name.slice(0, -ending.length - 1), unit: unitWords[unit as keyof UnitWords] ?? unit };
}
