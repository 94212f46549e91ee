/** The words for merging by itself, in French. */
import type { BackgroundWords } from "../background";
import { counted as grouped } from "../numbers";
import { countedIn } from "../plural";

const counted = countedIn("fr");

export const backgroundWords: BackgroundWords = {
	title: "Fusion automatique",
	off: "Ce programme ne fusionne que si on le lui demande.",
	paused: "En pause. Rien n’est envoyé ni cherché tant que vous ne reprenez pas.",
	working:
		"Après chaque écriture, et de temps en temps, avec chaque appareil ci-dessous. Le partage permet aux appareils proches de trouver celui-ci.",
	pause: "Mettre la fusion en pause",
	goOn: "Reprendre la fusion",
	deaf: (why) => `Aucun appareil proche n’est cherché : ${why}.`,
	none: "Aucun appareil de l’atelier n’a encore été trouvé ni rencontré.",
	anyDevice: "Un appareil de l’atelier",
	nearby: "à proximité",
	underWay: (who, sent, received) =>
		`Fusion avec ${who} : ${grouped(sent)} octets envoyés, ${grouped(received)} reçus`,
	last: (who, when) => `Dernière fusion avec ${who}, ${when} :`,
	moved: (sent, received, papers) =>
		`${counted(sent, "changement donné", "changements donnés")}, ${counted(received, "reçu", "reçus")}, dans ${counted(papers, "dossier", "dossiers")} ici.`,
	again: "Partager à nouveau après chaque démarrage",
};
