/** The words before an encrypted device is open, in French. */
import type { UnlockWords } from "../unlock";

export const unlockWords: UnlockWords = {
	title: "Verrouillé",
	why: "Ce qui est sur cet appareil est chiffré. Tapez sa phrase secrète pour continuer.",
	passphrase: "Phrase secrète",
	show: "Montrer ce que je tape",
	open: "Déverrouiller",
	opening: "Déverrouillage …",
	how: "Personne ne peut l’ouvrir sans la phrase secrète. Ce qui a été fusionné est aussi sur les autres appareils de l’atelier.",
};
