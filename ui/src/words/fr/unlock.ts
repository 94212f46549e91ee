/** The words before an encrypted device is open, in French. */
import type { UnlockWords } from "../unlock";

export const unlockWords: UnlockWords = {
	title: "Verrouillé",
	why: "Ce qui est sur cet appareil est chiffré. Tapez sa phrase secrète pour continuer.",
	again: "Redemander la phrase secrète quand personne n’a touché la fenêtre",
	after: (minutes) => (minutes === 1 ? "pendant 1 minute" : `pendant ${minutes} minutes`),
	never: "Jamais",
	againWhy: "Ce qui a été saisi reste, et la fusion continue. Gardé sur cet appareil.",
	keyring: "Ouvrir au démarrage avec le trousseau de cet ordinateur",
	keyringOn: "S’ouvre sans rien demander tant que votre trousseau est déverrouillé.",
	keyringOff: "La phrase secrète est demandée à chaque démarrage.",
	keyringWhy:
		"Le trousseau garde une clé à lui, pas la phrase secrète. Celle-ci ouvre comme avant : gardez-la. Quiconque a ouvert une session à votre nom ouvre aussi la fenêtre. Une fenêtre qui s’est verrouillée la redemande quand même.",
	keyringUse: "Utiliser le trousseau",
	keyringStop: "Ne plus l’utiliser",
	keyringBusy: "Demande au trousseau …",
	keyringLeft: "Un élément nommé Guyline est peut-être encore dans le trousseau. Il n’ouvre rien.",
	keyringFaults: {
		absent: "Le trousseau qui ouvre cet appareil n’est pas là.",
		locked: "Votre trousseau est verrouillé.",
		lost: "Votre trousseau n’a plus ce qui ouvre cet appareil.",
		unfit: "Ce que garde votre trousseau n’ouvre pas cet appareil.",
		failed: "Votre trousseau n’a pas répondu comme il le devrait.",
	},
	passphrase: "Phrase secrète",
	show: "Montrer ce que je tape",
	open: "Déverrouiller",
	opening: "Déverrouillage …",
	how: "Personne ne peut l’ouvrir sans la phrase secrète. Ce qui a été fusionné est aussi sur les autres appareils de l’atelier.",
};
