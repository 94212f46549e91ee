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
	fileWhy:
		"Pour le bureau ou pour un courriel : la page web est faite pour que les messageries la montrent telle quelle. Rien n’est envoyé d’ici de soi-même.",
	fleet: {
		title: "Au fil des ans",
		why: "Chaque contrôle sur toutes les visites, par bande : qui atteint une limite en premier, et qui diffère de ses semblables.",
		look: "Parcourir toutes les visites",
		nothing: "Aucune visite n’a de mesure qui puisse être jugée.",
		middle: (drift) => `dérive médiane ${drift} par an`,
		room: (room) => `reste ${room}`,
		perYear: (drift) => `${drift} par an`,
		noTrend: (visits) =>
			visits === 1 ? "une visite : pas encore de tendance" : `${visits} visites : pas encore de tendance`,
		yearsLeft: (years) => `atteint sa limite dans ${years} ans à ce rythme`,
		apart: {
			room: "Diffère de ses semblables par ce qui lui reste",
			drift: "Diffère de ses semblables par sa dérive",
		},
		all: (count) => `Montrer les ${count}`,
	},
};
