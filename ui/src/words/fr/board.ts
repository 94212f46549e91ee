/** The words of the Shop board, in French. */
import type { BoardWords } from "../board";

const inDays = (days: number) =>
	days === 1 ? "il reste un jour" : `il reste ${days} jours`;

export const boardWords: BoardWords = {
	board: "Tableau",
	title: "La journée de l’atelier",
	day: "Jour",
	loading: "Le nœud est interrogé…",
	failing: "Ce qui n’est pas simplement conforme",
	revisits: "À revisiter",
	disagreements: "Quelqu’un doit choisir",
	visits: "Visites du jour",
	noVisits: "Aucune visite n’a d’entrée ce jour-là.",
	calibrations: "Étalonnages à échéance",
	silent: "Appareils sans nouvelles ce jour-là",
	lastHeard: (day) => `dernières nouvelles le ${day}`,
	overdue: "Sans visite depuis plus d’un an",
	lastVisit: (day) => `dernière visite le ${day}`,
	grid: "Chaque relais, à sa dernière visite",
	check: "Contrôle",
	none: "Aucun.",
	signed: "signée",
	unsigned: "non signée",
	days: (days) => {
		if (days === 0) return "finit aujourd’hui";
		if (days > 0) return inDays(days);
		return days === -1 ? "terminé depuis un jour" : `terminé depuis ${-days} jours`;
	},
	unread: "Visites illisibles ici",
	file: "La journée en fichier",
	fileWhy: "Pour le bureau ou le courriel. Rien ne part d’ici tout seul.",
};
