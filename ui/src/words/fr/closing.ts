/** The words for closing a visit, in French. */
import type { ClosingWords } from "../closing";
import { countedIn } from "../plural";

const counted = countedIn("fr");

export const closing: ClosingWords = {
	close: "Clore la visite",
	signed: "signée",
	undo: "Annuler",
	undoWhat: (words) => `Annuler : ${words}`,
	undone: (words) => `Annulé : ${words}`,
	leave: (name) => `${name} quitte le site`,
	left: "Parti",
	before: "Avant de signer",
	notRead: (count) => `${counted(count, "contrôle n’a", "contrôles n’ont")} pas été lu :`,
	notPassed: (count) =>
		`${counted(count, "contrôle n’est pas conforme", "contrôles ne sont pas conformes")} :`,
	nothingOpen: "Chaque contrôle a été lu, et chacun est conforme.",
	noRestoration: "Rien n’est noté comme remis en place.",
	noSummary: "Personne n’a résumé la visite.",
	twoSummaries: "Deux personnes ont résumé chacune de son côté : choisissez ou récrivez.",
	sign: (name) => `Signer au nom de ${name}`,
	whatItMeans:
		"Cet appareil signe la visite telle qu’elle est : lectures, verdicts, limites et les dossiers derrière eux. Rien n’est verrouillé : qui change quelque chose plus tard dit pourquoi, et les deux restent visibles.",
	signOff: "Signature",
	signedBy: "Signée",
	check: "Vérifier la signature et ce qui a changé depuis",
	by: (name, device, when) => `${name}, ${device}, ${when}`,
	awaits: (who) => `Signée par ${who}.`,
	awaitsWhy: "Pour changer quelque chose, dites pourquoi. La raison reste à côté de la signature.",
	reason: "Pourquoi faut-il changer ?",
	giveReason: "Garder la raison et continuer",
	amended: "Modifiée après signature, parce que",
	intact: "Vraie et inchangée.",
	true: "La signature est vraie : cet appareil a signé ces mots.",
	notIntact: "Quelque chose n’est pas comme il a été signé.",
	refused: (why) => `Cette signature ne prouve rien : ${why}.`,
	key: "Clé",
	thisDevice: "celle de cet appareil",
	member: (name) => `Inscrite à la liste de l’atelier comme ${name}.`,
	whose:
		"Cette clé n’est sur aucune liste connue ici : comparez-la avec l’appareil pour savoir à qui elle est.",
	judgedBy: (core) => `Jugée par la version ${core}.`,
	papers: (paper, count) => `Dossier modifié (${paper}) : ${count} fois depuis.`,
	apart: "Écrit par des gens qui n’avaient pas vu la signature",
	after: "Écrit après elle",
	rejudged: "Cette version juge autrement ce qui a été signé",
	now: "Dans son état actuel, le dossier dit autre chose",
	was: "signé",
	isNow: "maintenant",
	nothing: "rien",
	again: "Vérifier encore",
};
