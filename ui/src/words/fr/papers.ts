/** The words of the Papers and Site screens, in French. */
import type * as english from "../papers";
import { countedIn } from "../plural";

export const partKinds: typeof english.partKinds = {
	cable: "câble",
	pad: "atténuateur",
	coupler: "coupleur",
	load: "charge",
	antenna: "antenne",
	isolator: "isolateur",
};
export const portKinds: typeof english.portKinds = {
	generator: "générateur",
	meter: "mesureur",
	duplex: "duplex",
};
export const results: typeof english.results = {
	within: "dans sa précision",
	adjusted: "hors d’elle, réajusté",
	outside: "hors d’elle, et le reste",
};
export const stages: typeof english.stages = {
	prepare: "préparation",
	receiver: "récepteur",
	transmitter: "émetteur",
	duplexer: "duplexeur",
	desense: "désensibilisation",
};
export const limitKinds: typeof english.limitKinds = {
	"at-most": "au plus",
	around: "autour de",
	within: "à plus ou moins",
};
export const limitOfs: typeof english.limitOfs = {
	"rated-opening-level": "niveau d’ouverture nominal du récepteur",
	"rated-power": "puissance nominale de l’émetteur",
	"rated-transmit-loss": "affaiblissement nominal du duplexeur, émission",
	"rated-receive-loss": "affaiblissement nominal du duplexeur, réception",
	"frequency-tolerance": "tolérance de fréquence de la région",
	"channel-deviation": "limite d’excursion de la région",
	fixed: "ce nombre",
};
export const lists: typeof english.lists = {
	parts: "pièces",
	instruments: "instruments",
	sites: "sites",
};
export const rules: typeof english.rules = {
	"guard-banded": "bande de garde",
	"simple-acceptance": "la valeur seule décide",
};
export const policies: typeof english.policies = {
	withhold: "rien n’est dit",
	widen: "son incertitude compte plusieurs fois",
};
export const arrows: typeof english.arrows = {
	"towards-repeater": "vers le relais",
	"away-from-repeater": "en s’éloignant du relais",
};
export const stations: typeof english.stations = {
	base: "base",
	mobile: "mobile de plus de 2 W",
	portable: "mobile jusqu’à 2 W",
};
export const standards: typeof english.standards = {
	fcc: "FCC, 47 CFR 1.1310",
	"icnirp-2020": "ICNIRP 2020",
	"safety-code-6": "Code de sécurité 6",
};
export const yesNo: typeof english.yesNo = { true: "oui", false: "non" };

const counted = countedIn("fr");

export const papersWords: english.PapersWords = {
	papers: "Dossiers",
	parts: "Parties de ce dossier",
	loading: "Ouverture des dossiers…",
	sections: {
		shop: "Atelier",
		people: "Personnes",
		instruments: "Instruments",
		parts: "Pièces",
		plan: "Plan",
		sites: "Sites",
		lists: "Reprendre une liste",
		out: "Sortir des données",
		changes: "Changements",
	},
	siteSections: {
		site: "Site",
		hazards: "Dangers",
		channels: "Canaux",
		equipment: "Équipement",
		others: "Émetteurs d’autrui",
		mixing: "Mélanges",
		exposure: "Exposition",
		visits: "Visites",
		changes: "Changements",
	},
	close: "Fermer",
	mayBeEmpty: "facultatif",
	notSaid: "non précisé",
	none: "aucun",
	by: (who, when) => `dernière écriture : ${who}, ${when}`,
	undo: "Annuler",
	undoThis: (what) => `Annuler : ${what}`,
	recorded: "Enregistré :",
	changes: "Les derniers changements",
	changesWhy:
		"Chaque changement vaut par lui-même et peut être annulé ; l’annulation est un changement aussi.",
	conflicts: (count) =>
		`${counted(count, "champ a été changé", "champs ont été changés")} par deux personnes chacune de son côté. Rien n’est perdu : choisissez là.`,
	problems: "Ceci ne va pas ensemble :",
	conflict: {
		title: "Deux personnes ont écrit ceci chacune de son côté",
		shown: "montré en attendant",
		choose: "Garder ceci",
		chooseOf: (value) => `Garder ${value}`,
		somebody: "quelqu’un",
	},
	add: "Ajouter",
	addTo: (list) => `Ajouter ${list}`,
	aLimit: "une limite",
	aCalibration: "un étalonnage",
	since: (from) => `depuis le ${from}`,
	retire: "Plus en service",
	unretire: "De nouveau en service",
	retired: (from) => `plus en service depuis le ${from}`,
	showRetired: (count) => `${count} plus en service`,
	due: {
		ended: (days) => `étalonnage échu depuis ${counted(days, "jour", "jours")}`,
		today: "l’étalonnage finit aujourd’hui",
		soon: (days) => `l’étalonnage finit dans ${counted(days, "jour", "jours")}`,
		holds: (on) => `étalonné jusqu’au ${on}`,
		none: "pas de date d’étalonnage",
	},
	calibration: {
		title: "Étalonnages",
		none: "Aucun n’est encore noté.",
		record: "Noter un étalonnage",
		line: (by, certificate) => (certificate ? `${by}, certificat ${certificate}` : by),
		to: (on) => `vaut jusqu’au ${on}`,
		withdrawn: "repris",
	},
	person: "une personne",
	instrument: "un instrument",
	part: "une pièce",
	port: "un accès",
	run: "une longueur de câble de la liste",
	ports: "Accès",
	accuracy: "Précision",
	rule: { title: "Comment se font les verdicts" },
	shop: { title: "Ce qu’un rapport dit de l’atelier" },
	plan: {
		title: "Le plan",
		why: "Ce que l’atelier change aux contrôles livrés. Les mises en garde du programme restent.",
		made: "Fait à chaque visite",
		off: "non fait",
		own: "propre à l’atelier",
		limit: "Limite",
		ownLimit: "Une limite propre à l’atelier",
		back: "Revenir à la limite livrée",
		cautions: "Mises en garde de l’atelier",
		caution: "une mise en garde",
		takeOut: "Retirer",
		text: "Le plan en texte",
		textWhy: "Copiez-le, changez-le ailleurs, rapportez-le. Un texte faux ne change rien.",
		fetch: "Montrer le plan en texte",
		take: "Reprendre ce texte",
		taken: "C’est maintenant le plan de l’atelier.",
		at: (line, column) => `ligne ${line}, colonne ${column}`,
	},
	list: {
		of: "Ce que sont les lignes",
		file: "Un fichier de valeurs séparées par des virgules",
		text: "Ou les lignes elles-mêmes",
		columns: "La première ligne peut nommer",
		good: (count) => counted(count, "bonne ligne", "bonnes lignes"),
		wrong: (count) => counted(count, "problème", "problèmes"),
		line: "Ligne",
		column: "Colonne",
		what: "Ce qui ne va pas",
		take: (count) => `Reprendre ${counted(count, "ligne", "lignes")}`,
		taken: (count) => `${counted(count, "ligne est reprise", "lignes sont reprises")}.`,
		wholeRow: "ligne entière",
	},
	site: {
		open: "Ouvrir le site",
		none: "Aucun site n’est encore arrivé ici.",
		access: "Comment y aller et y entrer",
		position: "Position",
		aPosition: "une position",
		positionWhy: "Facultative. Chaque appareil de l’atelier la reçoit ; un fichier pour d’autres ne l’a que sur demande.",
		listed: "Comme le dossier est venu",
		hazard: "un danger",
		hazardWhy: "En retirer un de la liste n’écarte rien : regardez avant de toucher.",
		channel: "un canal",
		equipment: "un équipement",
		other: "un émetteur",
		licence: "Licence",
		terms: "ce que la licence permet",
		ratings: "Valeurs nominales",
		baselines: "Valeurs habituelles",
		baseline: "une valeur habituelle",
		mixing: "Les mélanges des émetteurs d’ici",
		mixingWhy: (order) =>
			`Produits jusqu’à l’ordre ${order} des émetteurs du site et d’autrui qui tombent sur ses récepteurs. Où ils se mélangent, et avec quelle force, seul un essai le dit.`,
		quiet: "Aucun produit ne tombe sur ce récepteur.",
		hits: (count) => `${counted(count, "produit tombe", "produits tombent")} sur ce récepteur`,
		order: (order) => `ordre ${order}`,
		falls: (at) => `tombe à ${at}`,
		off: (by) => `${by} à côté du canal`,
		onChannel: "juste sur le canal",
		exposure: "Exposition à un endroit",
		exposureWhy:
			"Les relais du site, tous par une seule antenne. Dites à quelle distance et avec quelle force.",
		estimate: "Estimer",
		atLimit: (metres) => `D’après cette estimation, la limite est atteinte à ${metres} m.`,
		workers: "les personnes averties et maîtres de la situation",
		public: "toutes les autres",
		visits: "Visites",
		noVisits: "Aucune visite ici.",
	},
};
