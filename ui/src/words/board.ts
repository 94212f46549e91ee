/** The words of the Shop board, in English. */
import type { ApartBy } from "../bridge/types/ApartBy";
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
	fileWhy:
		"For the office or for mail: the web page is made so that mail programs show it as it is. Nothing is sent from here by itself.",
	fleet: {
		title: "Over the years",
		why: "Every check over all visits, by band: who meets a limit first, and who stands apart from its like.",
		look: "Look over all visits",
		nothing: "No visit has a reading that can be judged.",
		middle: (drift: string) => `middle drift ${drift} a year`,
		room: (room: string) => `room ${room}`,
		perYear: (drift: string) => `${drift} a year`,
		noTrend: (visits: number) => (visits === 1 ? "one visit: no trend yet" : `${visits} visits: no trend yet`),
		yearsLeft: (years: string) => `meets its limit in ${years} years as it goes`,
		apart: {
			room: "Apart from its like by the room it has left",
			drift: "Apart from its like by its drift",
		} satisfies Record<ApartBy, string>,
		all: (count: number) => `Show all ${count}`,
	},
};

/** What a language has to say here. */
export type BoardWords = typeof english;
export const boardWords: BoardWords = spoken("boardWords", english);
