/** The words for data that is taken out for other programs, in French. */
import { countedIn } from "../plural";
import type { TakeOutWords } from "../takeout";

const counted = countedIn("fr");

export const takeOut: TakeOutWords = {
	title: "Sortir des données",
	why: "Des fichiers pour d’autres programmes, faits à partir du dossier de cet appareil tel qu’il est. Rien ne part d’ici tout seul.",
	kinds: {
		readings: "Chaque mesure",
		due: "Ce qui arrive à échéance",
		sites: "Les sites sur une carte",
	},
	whys: {
		readings:
			"Une ligne pour chacune : où, quoi, comment et sur quoi elle fut lue, sa limite avec la source, son incertitude, son verdict.",
		due: "La prochaine visite de chaque relais et la fin de chaque étalonnage, pour un agenda.",
		sites: "Les noms et les canaux. L’endroit d’un site n’y est que si vous le demandez.",
	},
	positions: "Avec les positions : qui reçoit le fichier peut trouver les sites.",
	forms: {
		csv: "Tableau (CSV)",
		json: "Données (JSON)",
		parquet: "Colonnes (Parquet)",
		geojson: "Carte (GeoJSON)",
		ics: "Agenda (ICS)",
	},
	entries: (count) => `${counted(count, "entrée", "entrées")}.`,
	unread: (count) =>
		`${counted(count, "visite illisible manque", "visites illisibles manquent")} dans ce fichier :`,
};
