/** The words for data that is taken out for other programs, in English. */
import type { DataForm } from "../bridge/types/DataForm";
import type { TakenOut } from "../bridge/types/TakenOut";
import { countedIn } from "./plural";
import { spoken } from "./speech.svelte";

const counted = countedIn("en");

const english = {
	title: "Take data out",
	why: "Files for other programs, made from the record on this device as it stands. Nothing is sent from here by itself.",
	kinds: {
		readings: "Every reading",
		due: "What falls due",
		sites: "Sites on a map",
	} satisfies Record<TakenOut, string>,
	whys: {
		readings:
			"A row for each: where, what, how and on what it was read, its limit with the source, its uncertainty, its verdict.",
		due: "The next visit of every repeater and the end of every calibration, for a calendar.",
		sites: "Names and channels. Where a site stands is left out unless you ask for it.",
	} satisfies Record<TakenOut, string>,
	positions: "With positions: whoever gets the file can find the sites.",
	forms: {
		csv: "Table (CSV)",
		json: "Data (JSON)",
		parquet: "Columns (Parquet)",
		geojson: "Map (GeoJSON)",
		ics: "Calendar (ICS)",
	} satisfies Record<DataForm, string>,
	entries: (count: number) => `${counted(count, "entry", "entries")}.`,
	unread: (count: number) =>
		`${counted(count, "visit", "visits")} could not be read and ${count === 1 ? "is" : "are"} not in it:`,
};

/** What a language has to say here. */
export type TakeOutWords = typeof english;
export const takeOut: TakeOutWords = spoken("takeOut", english);
