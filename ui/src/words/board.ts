/** The words of the Shop board, in English. */
import { spoken } from "./speech.svelte";

const english = {
	board: "Board",
	title: "The shop's day",
	day: "Day",
	loading: "Asking the node\u2026",
	failing: "What does not simply pass",
	revisits: "To be visited again",
	disagreements: "Somebody has to choose",
	visits: "Visits of the day",
	noVisits: "No visit has an entry on this day.",
	calibrations: "Calibrations due",
	silent: "Devices not heard of that day",
	lastHeard: (day: string) => `last heard of ${day}`,
	overdue: "Not visited for over a year",
	lastVisit: (day: string) => `last visit ${day}`,
	grid: "Every repeater, as last visited",
	check: "Check",
	none: "None.",
	signed: "signed off",
	unsigned: "not signed off",
	days: (days: number) =>
		days < 0
			? `ended ${days === -1 ? "a day" : `${-days} days`} ago`
			: days === 0
				? "ends today"
				: `${days === 1 ? "a day" : `${days} days`} left`,
	unread: "Visits that cannot be read here",
	file: "The day as a file",
	fileWhy: "For the office or for mail. Nothing is sent from here by itself.",
};

/** What a language has to say here. */
export type BoardWords = typeof english;
export const boardWords: BoardWords = spoken("boardWords", english);
