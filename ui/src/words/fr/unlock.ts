/** The words before an encrypted device is open, in French. */
import type { UnlockWords } from "../unlock";

export const unlockWords: UnlockWords = {
	title: "Verrouillé",
	why: "Ce qui est sur cet appareil est chiffré. Tapez sa phrase secrète pour continuer.",
	again: "Redemander la phrase secrète quand personne n’a touché la fenêtre",
	after: (minutes) => (minutes === 1 ? "pendant 1 minute" : `pendant ${minutes} minutes`),
	never: "Jamais",
	againWhy: "Ce qui a été saisi reste, et la fusion continue. Gardé sur cet appareil.",
	passphrase: "Phrase secrète",
	show: "Montrer ce que je tape",
	open: "Déverrouiller",
	opening: "Déverrouillage …",
	how: "Personne ne peut l’ouvrir sans la phrase secrète. Ce qui a été fusionné est aussi sur les autres appareils de l’atelier.",
};
