/** The words of the Bench, in French. */
import type { BenchWords, groupWord as groups } from "../bench";
import type { UnitWords } from "../units";

export const groupWord: typeof groups = {
	levels: "Niveaux",
	receiver: "Récepteur et bruit",
	transmitter: "Émetteur",
	duplexer: "Duplexeur et désensibilisation",
	line: "Ligne et antenne",
	site: "Le site",
	recording: "Enregistrements",
	judging: "Limites et incertitude",
};

export const benchWords: BenchWords = {
	bench: "Calculs",
	topics: "Calculs",
	choose: "Choisissez ce qu’il faut calculer.",
	all: "Tous les calculs",
	asks: "Données",
	answers: "Résultat",
	reset: "Recommencer",
	waits: "Le résultat attend les champs signalés.",
	either: "Ce qui est connu",
	known: "Connu comme",
	notSaid: "non précisé",
	mayBeEmpty: "facultatif",
	nth: (n) => `${n}.`,
	addTo: (label) => `Ajouter à ${label}`,
	dropNth: (label, n) => `Retirer le n° ${n} de ${label}`,
	openFile: (label) => `Ouvrir un fichier pour ${label}`,
	moreRows: (left) => `${left} de plus, non affichés.`,
	none: "aucun",
	yes: "oui",
	no: "non",
	unknown: "Ce calcul n’existe pas ici.",
	loading: "Le nœud est interrogé…",
	invented: "Les nombres de départ sont inventés.",
	problem: {
		number: "Pas un nombre.",
		empty: "À remplir.",
		json: "Pas du JSON.",
	},
};

export const unitWords: UnitWords = {
	"dB/year": "dB/an",
	"per year": "par an",
	days: "jours",
	"samples/s": "échantillons/s",
};
