/** The words for what leaves the tool as a file, in English. */
import type { Kept } from "../bridge/kept";
import type { FileForm } from "../bridge/types/FileForm";
import type { Language } from "../bridge/types/Language";
import type { Paper } from "../bridge/types/Paper";
import { spoken } from "./speech.svelte";

const english = {
	report: "Report for the customer",
	reportWhy:
		"Made from the record on this device as it stands, and sealed by it: whoever changes a byte of the file is found out.",
	siteReport: "Report of the site",
	siteReportWhy:
		"Every repeater by its latest visit, what has to be done, how its values went from visit to visit, access and hazards. Made from the record on this device as it stands, and sealed by it.",
	language: "Language",
	languages: { english: "English", french: "Fran\u00e7ais" } satisfies Record<Language, string>,
	paper: "Paper",
	papers: { a4: "A4", letter: "Letter" } satisfies Record<Paper, string>,
	forms: {
		pdf: "PDF",
		html: "Web page",
		text: "Plain text",
		json: "Data (JSON)",
	} satisfies Record<FileForm, string>,
	keep: (name: string) => `Where to keep ${name}`,
	made: ({ name, at }: Kept) => {
		if (at === null) return `${name} was made and not kept.`;
		if (at === undefined) return `${name} was made. It is where this device keeps what it receives.`;
		return `${name} was made. It is kept as ${at}.`;
	},
};

/** What a language has to say here. */
export type FilesWords = typeof english;
export const files: FilesWords = spoken("files", english);
