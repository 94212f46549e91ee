/** The words of the shell and of the Today screen, in French. */
import type { ShellWords } from "../en";
import { countedIn } from "../plural";

const counted = countedIn("fr");
const changes = (count: number) => counted(count, "changement", "changements");

export const words: ShellWords = {
	name: "Guyline",
	places: "Lieux",
	today: "Jour",
	visit: "Visite ouverte",
	theme: { toDusk: "Sombre", toSun: "Soleil", label: (next) => `Passer au thème « ${next} »` },
	noAnswer: {
		what: "le nœud de cet appareil ne répond pas",
		help: "voyez si Guyline tourne encore ici ; ce qui était enregistré le reste",
	},
	cameIn: (findings) =>
		findings > 0
			? `Des changements sont arrivés d’un autre appareil, avec ${counted(findings, "constat", "constats")} à regarder.`
			: "Des changements sont arrivés d’un autre appareil.",
	signedOff: "Signée",
	saved: "Gardé",
	savedWhere: "sur cet appareil",
	onlyHere: (count) => (count === 0 ? "rien qui ne soit qu’ici" : `${count} seulement ici`),
	standing: "Où en est le travail",
	notFetched: {
		what: "Cette page n’a pas pu être chargée : le central ne répond pas, ou il a été renouvelé.",
		act: "Recharger la page",
	},
	asking: "Le nœud est interrogé…",
	notAnswering: "Le nœud ne répond pas",

	done: "Fini",
	close: "Fermer",
	pad: {
		keys: "Pavé numérique",
		minus: "Moins",
		backspace: "Effacer le dernier",
		point: "Point décimal",
		comma: "Virgule décimale",
		unit: "Unité",
	},

	visits: "Visites",
	noVisits: "Aucune visite n’a encore été ouverte.",
	older: (count) =>
		`Montrer ${counted(count, "visite plus ancienne", "visites plus anciennes")}`,
	read: (done, all) => `${done} sur ${all} lus`,
	findings: (count) => counted(count, "constat à regarder", "constats à regarder"),
	nothingJudged: "rien de jugé encore",
	opened: "ouverte le",
	crew: "Sur place",
	nobodyOnSite: "personne sur place",
	unreadable: "Cette visite ne peut pas être montrée ici",

	holder: "Cet appareil",
	heldBy: "Tenu par",
	nobodyHolds: "Personne ne tient cet appareil",
	nobodyHoldsWhy: "Chaque lecture porte un nom. Choisissez le vôtre avant la première.",
	choose: "Choisir qui le tient",
	change: "Changer",
	chooseTitle: "Qui tient cet appareil ?",

	waiting: "Ce qui attend d’être fusionné",
	waits: (count) => `${count < 2 ? "changement" : "changements"} sur cet appareil seulement`,
	nothingWaits: "Rien. Tout ce qui est enregistré ici est aussi sur un autre nœud.",
	waitsWhy: "Attendre ne fait rien perdre : tout est sur le disque de cet appareil.",
	setAside: (count) =>
		`${counted(count, "changement venu d’ailleurs était abîmé et reste", "changements venus d’ailleurs étaient abîmés et restent")} à part.`,

	peers: "Déjà rencontrés",
	noPeers: "Aucun autre appareil n’a encore été rencontré.",
	ago: {
		now: "à l’instant",
		minutes: (count) => `il y a ${count} min`,
		hours: (count) => `il y a ${count} h`,
	},
	met: (ago) => `fusionné ${ago}`,
	notThere: (count) => (count === 0 ? "possède tout ceci" : `il lui manque ${changes(count)} d’ici`),
	partNotThere: (count, sites) =>
		`garde les dossiers et les visites de ${counted(sites, "site", "sites")}, et ${
			count === 0 ? "en possède tout" : `il lui en manque ${changes(count)}`
		}`,
	sitesKept: (sites) =>
		`Les visites de ${counted(sites, "site", "sites")} sont gardées ici, et tous les dossiers.`,
	lastTry: "Le dernier essai a échoué :",
	came: "Il est venu à nous : aucune adresse de lui n’est connue ici.",

	merge: "Fusionner avec un autre appareil ou le central",
	addressHint: "Par exemple 192.0.2.7:4771. L’autre côté montre la sienne.",
	mergeNow: "Fusionner",
	mergeWith: (name) => `Fusionner avec ${name}`,
	merging: (seconds) =>
		`Fusion… ${seconds} s. Vous pouvez travailler ; ce qui est coupé reprend la fois suivante.`,
	merged: (name) => `Fusionné avec ${name}`,
	gave: "Donné",
	got: "Reçu",
	bytes: "o",
	changes,
	took: (ms) => `en ${ms}`,
	touched: (count) => counted(count, "dossier a du nouveau", "dossiers ont du nouveau"),
	noNews: "Rien de nouveau d’aucun côté.",

	empty: "Cet appareil n’a pas encore de dossiers",
};
