/** The words for closing a visit: put back, sign off, amend, verify, take back. In English. */
import { countedIn } from "./plural";
import { spoken } from "./speech.svelte";

const counted = countedIn("en");

const english = {
	close: "Close the visit",
	signed: "signed",
	undo: "Undo",
	undoWhat: (words: string) => `Undo: ${words}`,
	undone: (words: string) => `Taken back: ${words}`,
	leave: (name: string) => `${name} leaves the site`,
	left: "Left",
	before: "Before you sign",
	notRead: (count: number) => `${counted(count, "check was", "checks were")} not read:`,
	notPassed: (count: number) => `${counted(count, "check does", "checks do")} not pass:`,
	nothingOpen: "Every check was read, and every one passes.",
	noRestoration: "Nothing was written down as put back.",
	noSummary: "Nobody has summed the visit up.",
	twoSummaries: "Two people summed up apart: choose one or write another.",
	sign: (name: string) => `Sign off as ${name}`,
	whatItMeans:
		"This device signs the visit as it stands now: readings, verdicts, limits and the papers behind them. Nothing is locked: whoever changes something later says why, and both stay in view.",
	signOff: "Sign-off",
	signedBy: "Signed off",
	check: "Check the signature and what changed since",
	by: (name: string, device: string, when: string) => `${name}, ${device}, ${when}`,
	awaits: (who: string) => `Signed off by ${who}.`,
	awaitsWhy: "To change anything now, say why. The reason is kept beside the sign-off.",
	reason: "Why must it be changed?",
	giveReason: "Keep the reason and go on",
	amended: "Changed after signing, because",
	intact: "True and unchanged.",
	true: "The signature is true: that device signed these words.",
	notIntact: "Something is not as it was signed.",
	refused: (why: string) => `This sign-off proves nothing: ${why}.`,
	key: "Key",
	thisDevice: "this device's own",
	member: (name: string) => `On the shop's roster as ${name}.`,
	whose: "This key is on no roster known here: compare it with the device to know whose it is.",
	judgedBy: (core: string) => `Judged by version ${core}.`,
	papers: (paper: string, count: number) =>
		`The ${paper} changed ${count === 1 ? "once" : `${count} times`} since.`,
	apart: "Written by people who had not seen the sign-off",
	after: "Written after it",
	rejudged: "This version judges what was signed otherwise",
	now: "As it stands now, the record says otherwise",
	was: "signed",
	isNow: "now",
	nothing: "nothing",
	again: "Check again",
};

/** What a language has to say here. */
export type ClosingWords = typeof english;
export const closing: ClosingWords = spoken("closing", english);
