/**
 * The words of the shell and of the Today screen, in English; those of the Session screen are in
 * session.ts. `Words` is the shape another language has to fill.
 */
import { countedIn } from "./plural";
import { spoken } from "./speech.svelte";

const counted = countedIn("en");
const changes = (count: number) => counted(count, "change", "changes");

const english = {
	name: "Guyline",
	places: "Places",
	today: "Today",
	visit: "Open visit",
	theme: { toDusk: "Dark", toSun: "Sun", label: (next: string) => `Change to the theme “${next}”` },
	noAnswer: {
		what: "this device's node does not answer",
		help: "see that Guyline is still running here; what was recorded before stands",
	},
	/** A notice of the platform: it stands on screens of strangers too, and names nothing. */
	cameIn: (findings: number) =>
		findings > 0
			? `Changes came in from another device, with ${counted(findings, "finding", "findings")} to look at.`
			: "Changes came in from another device.",
	signedOff: "Signed off",
	saved: "Saved",
	savedWhere: "on this device",
	onlyHere: (count: number) => (count === 0 ? "none only here" : `${count} only here`),
	standing: "Where the work stands",
	notFetched: {
		what: "This place could not be fetched: the hub does not answer, or it was renewed since.",
		act: "Load the page again",
	},
	asking: "Asking the node\u2026",
	notAnswering: "Node does not answer",

	done: "Done",
	close: "Close",
	pad: {
		keys: "Keypad",
		minus: "Minus",
		backspace: "Take the last one away",
		point: "Decimal point",
		comma: "Decimal comma",
		unit: "Unit",
	},

	visits: "Visits",
	noVisits: "No visit has been opened yet.",
	older: (count: number) => `Show ${counted(count, "older visit", "older visits")}`,
	read: (done: number, all: number) => `${done} of ${all} read`,
	findings: (count: number) => counted(count, "finding to look at", "findings to look at"),
	nothingJudged: "nothing judged yet",
	opened: "opened",
	crew: "On site",
	nobodyOnSite: "nobody on site yet",
	unreadable: "This visit cannot be shown here",

	holder: "This device",
	heldBy: "Held by",
	nobodyHolds: "Nobody holds this device",
	nobodyHoldsWhy: "Every reading carries a name. Choose yours before the first one.",
	choose: "Choose who holds it",
	change: "Change",
	chooseTitle: "Who holds this device?",

	waiting: "What waits to be merged",
	/** Follows the number itself. */
	waits: (count: number) => `${count === 1 ? "change" : "changes"} only on this device`,
	nothingWaits: "Nothing. Everything recorded here is on another node too.",
	waitsWhy: "Nothing is lost by waiting: all of it is on this device's disk.",
	setAside: (count: number) => `${changes(count)} from elsewhere came damaged and stood aside.`,

	peers: "Met before",
	noPeers: "No other device has been met yet.",
	ago: {
		now: "just now",
		minutes: (count: number) => `${count} min ago`,
		hours: (count: number) => `${count} h ago`,
	},
	met: (ago: string) => `merged ${ago}`,
	notThere: (count: number) =>
		count === 0 ? "holds all of this" : `lacks ${changes(count)} held here`,
	partNotThere: (count: number, sites: number) =>
		`keeps the papers and the visits of ${sites} ${sites === 1 ? "site" : "sites"}, and ${
			count === 0 ? "holds all of that" : `lacks ${changes(count)} of that`
		}`,
	sitesKept: (sites: number) =>
		`Visits of ${sites} ${sites === 1 ? "site" : "sites"} are kept here, and every paper.`,
	lastTry: "The last try failed:",
	came: "It came to us: no address of it is known here.",

	merge: "Merge with another device or the hub",
	addressHint: "As in 192.0.2.7:4771. The other side shows its own.",
	mergeNow: "Merge",
	mergeWith: (name: string) => `Merge with ${name}`,
	merging: (seconds: number) =>
		`Merging\u2026 ${seconds} s. You may go on working; what is cut off goes on next time.`,
	merged: (name: string) => `Merged with ${name}`,
	gave: "Given",
	got: "Taken in",
	/** The unit, after a count. */
	bytes: "B",
	changes,
	took: (ms: string) => `in ${ms}`,
	touched: (count: number) => counted(count, "paper has something new", "papers have something new"),
	noNews: "Nothing new on either side.",

	empty: "This device has no papers yet",
};

/** What a language has to say here. */
export type ShellWords = typeof english;
export const words: ShellWords = spoken("words", english);
