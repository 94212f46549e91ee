/** The words of listening to the sound input, in French. */
import type { ListeningWords } from "../listening";
import { countedIn } from "../plural";

const counted = countedIn("fr");

export const listening: ListeningWords = {
	title: "Entrée son",
	start: "Écouter l’entrée son",
	stop: "Ne plus écouter",
	about:
		"Remplace l’enregistrement : chaque seconde est analysée comme un fichier, avec la tonalité et le filtre donnés ici. Rien n’est gardé.",
	asking: "Le navigateur demande si cette page peut écouter…",
	heard: (looked, passed) =>
		passed === 0
			? `${counted(looked, "seconde analysée", "secondes analysées")}.`
			: `${counted(looked, "seconde analysée", "secondes analysées")}, ${passed} laissées de côté : cet appareil est plus lent que le son.`,
	deaf: {
		refused: {
			what: "Cette page ne peut pas écouter.",
			help: "Autorisez le micro pour cette adresse dans les réglages du navigateur et réessayez, ou ouvrez un fichier WAV.",
		},
		missing: {
			what: "Il n’y a pas d’entrée son.",
			help: "Branchez-en une et réessayez, ou ouvrez un fichier WAV.",
		},
		busy: {
			what: "L’entrée son est prise ou ne répond pas.",
			help: "Fermez l’autre programme qui la tient et réessayez, ou ouvrez un fichier WAV.",
		},
		impossible: {
			what: "Aucun son n’arrive ici.",
			help: "Cette fenêtre ou ce navigateur n’en donne pas à une page. Ouvrez ces écrans dans un navigateur de cet appareil, ou ouvrez un fichier WAV.",
		},
	},
};
