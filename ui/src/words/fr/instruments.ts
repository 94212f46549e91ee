/** The words for instruments that are connected to this device, in French. */
import type { InstrumentsWords } from "../instruments";

export const instrumentsWords: InstrumentsWords = {
	title: "Instruments branchés à cet appareil",
	why: "Un instrument dont le profil figure dans les dossiers peut donner lui-même sa lecture. Rien ici ne met un émetteur en émission.",
	noProfile: "sans profil : ses nombres se tapent",
	address: (name) => `Où ${name} est branché`,
	addressHelp: "Par exemple 192.0.2.9:5025, ou /dev/ttyUSB0@9600",
	keep: "Garder",
	meet: (name) => `Demander à ${name} qui il est`,
	met: (identity) => `Il répond : ${identity}`,
	ended: (due) => `Son étalonnage a pris fin le ${due} : ses lectures sont jugées ainsi.`,
	read: (name) => `Lire sur ${name}`,
	reading: "L’instrument est interrogé…",
	heard: (number, identity) => `${number}, dit par ${identity}. À enregistrer si c’est juste.`,
	setTo: (number) => `Régler le générateur à ${number}`,
	send: "L’envoyer",
	sendNot: "Ne pas l’envoyer",
	reads: (level) => `L’instrument dit que son niveau est ${level}.`,
};
