/** The words of the Devices screen, in French. */
import type { DevicesWords } from "../devices";
import { countedIn } from "../plural";

const counted = countedIn("fr");

export const devicesWords: DevicesWords = {
	devices: "Appareils",
	loading: "Le nœud est interrogé…",
	own: "Cet appareil",
	name: "Comment on l’appelle",
	rename: "Garder le nom",
	key: "Reconnu par la clé",
	keyWhy:
		"Elle signe les visites, les rapports et les lots. Lisez-la à voix haute à qui veut être sûr.",
	merge: "Fusionner par le réseau",
	stick: "Par clé USB",
	stickWhy:
		"Sans réseau : un seul fichier contient tout ce que cet appareil possède. Le prendre deux fois, ou en prendre un vieux, ne fait aucun mal.",
	out: "Écrire un lot",
	carry: "Portez-le à l’autre appareil.",
	in: "Prendre un lot",
	inDone: (device, taken, papers) =>
		taken === 0
			? `Rien de nouveau dans le lot de ${device}.`
			: `${counted(taken, "changement", "changements")} de ${device}, dans ${counted(papers, "dossier", "dossiers")}.`,
	sealedBy: (key) => `Scellé par la clé ${key}.`,
	aside: (count) => `${counted(count, "changement était abîmé et reste", "changements étaient abîmés et restent")} à part.`,
};
