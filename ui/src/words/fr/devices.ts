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
	keeping: {
		title: "Ce que cet appareil garde",
		refused: {
			office: "Tout : cet appareil est celui du bureau, où doit se trouver tout le travail de l’atelier.",
			hub: "Tout : c’est le central, où doit se trouver tout le travail de l’atelier.",
		},
		everything: "Tout",
		everythingWhy: "Tous les dossiers et toutes les visites de l’atelier.",
		wanted: "Seulement les visites des sites où je suis envoyé ou que j’ai ouverts",
		wantedWhy:
			"Tous les dossiers, et les visites des sites listés ici. Un site entre dans la liste quand on l’ouvre sur cet appareil, quand on y travaille à l’une de ses visites, ou quand les dossiers y envoient la personne qui tient l’appareil.",
		sites: (count) =>
			`Les visites de ${counted(count, "site", "sites")} sont gardées ici.`,
		sentTo: "mission",
		none: "Aucun site encore.",
		another: "Garder les visites d’un autre site",
		choose: "Choisir un site…",
		later: "Ce qui manque vient avec la prochaine fusion. Rien de ce qui est ici ne part. Les autres appareils doivent avoir cette version de Guyline ou une plus récente.",
	},
	aside: (count) => `${counted(count, "changement était abîmé et reste", "changements étaient abîmés et restent")} à part.`,
};
