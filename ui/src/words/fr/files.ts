/** The words for what leaves the tool as a file, in French. */
import type { FilesWords } from "../files";

export const files: FilesWords = {
	report: "Rapport pour le client",
	reportWhy:
		"Fait à partir du dossier de cet appareil tel qu’il est, et scellé par lui : qui change un octet du fichier est découvert.",
	siteReport: "Rapport du site",
	siteReportWhy:
		"Chaque répéteur à sa dernière visite, ce qu’il faut faire, l’évolution de ses valeurs de visite en visite, accès et dangers. Fait à partir du dossier de cet appareil tel qu’il est, et scellé par lui.",
	language: "Langue",
	languages: { english: "English", french: "Français" },
	paper: "Papier",
	papers: { a4: "A4", letter: "Letter" },
	forms: {
		pdf: "PDF",
		html: "Page web",
		text: "Texte simple",
		json: "Données (JSON)",
	},
	keep: (name) => `Où garder ${name}`,
	made: ({ name, at }) => {
		if (at === null) return `${name} est fait, mais n’a pas été gardé.`;
		if (at === undefined) return `${name} est fait. Il est là où cet appareil range ce qu’il reçoit.`;
		return `${name} est fait. Il est gardé sous ${at}.`;
	},
};
