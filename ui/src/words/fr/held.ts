/** The words for changes that wait for somebody to look at them, in French. */
import type { HeldWords } from "../held";
import { countedIn } from "../plural";

const counted = countedIn("fr");

export const heldWords: HeldWords = {
	title: "Attend que quelqu’un regarde",
	why: "Ces changements sont arrivés et ne font encore partie de rien. Rien n’est perdu : ils restent ici jusqu’à ce que quelqu’un décide, et le travail des autres continue.",
	unknown: "Un appareil que personne ici ne connaît",
	extent: (changes, papers) =>
		`${counted(changes, "changement", "changements")} dans ${counted(papers, "dossier", "dossiers")} :`,
	look: "Les prendre…",
	before:
		"Demandez à qui tenait cet appareil s’il était encore entre ses mains. Ce qui est pris vient sur tous les appareils de l’atelier, sur la parole de celui-ci.",
	take: "J’ai demandé : les prendre",
	reached: {
		here: "sur cet appareil seulement",
		elsewhere: "aussi sur un autre appareil",
		office: "au bureau, qui a signé",
	},
	sealed: (device) => `scellé par ${device}`,
};
