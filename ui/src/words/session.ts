/** The words of the Session screen, in English, and how its quantities are written. */
import type { Outcome } from "../bridge/types/Outcome";
import type { PartKind } from "../bridge/types/PartKind";
import type { Phase } from "../bridge/types/Phase";
import type { Plane } from "../bridge/types/Plane";
import type { PortKind } from "../bridge/types/PortKind";
import type { Stage } from "../bridge/types/Stage";
import type { Unit } from "../bridge/types/Unit";
import type { Weight } from "../bridge/types/Weight";
import { perLocale, withMarks, written } from "./numbers";
import { spoken } from "./speech.svelte";

export const outcomeWord: Record<Outcome | "not-tested", string> = spoken("outcomeWord", {
	pass: "pass",
	"conditional-pass": "conditional pass",
	"conditional-fail": "conditional fail",
	fail: "fail",
	"not-judged": "not judged",
	"not-tested": "not tested",
});

export const stageWord: Record<Stage, string> = spoken("stageWord", {
	prepare: "Prepare",
	receiver: "Receiver",
	transmitter: "Transmitter",
	duplexer: "Duplexer",
	desense: "Desense",
});

export const planeWord: Record<Plane, string> = spoken("planeWord", {
	"receiver-port": "receiver port",
	"transmitter-port": "transmitter port",
	"antenna-port": "antenna port",
});

export const phaseWord: Record<Phase, string> = spoken("phaseWord", {
	"as-found": "as found",
	"as-left": "as left",
});

export const unitWord: Record<Unit, string> = spoken("unitWord", {
	dBm: "dBm",
	uV: "µV",
	"uV-emf": "µV EMF",
	dBuV: "dBµV",
	W: "W",
	mW: "mW",
	Hz: "Hz",
	kHz: "kHz",
	ppm: "ppm",
});

export const portWord: Record<PortKind, string> = spoken("portWord", {
	generator: "gives a signal, takes no power",
	meter: "takes power and measures it",
	duplex: "gives a signal and takes power",
});

export const partWord: Record<PartKind, string> = spoken("partWord", {
	cable: "cable",
	pad: "pad",
	coupler: "coupler",
	isolator: "isolator",
	load: "load",
	antenna: "antenna",
});

export const weightWord: Record<Weight, string> = spoken("weightWord", { fault: "Fault", doubt: "Doubt", note: "Note" });

export const dbm = (value: number) => `${written(value, 1)} dBm`;
export const db = (value: number) => `${written(value, 1)} dB`;

/** Watts as people write them: mW and µW where watts would be all zeros. */
export function watts(power_w: number): string {
	const [value, unit] =
		power_w >= 1 ? [power_w, "W"] : power_w >= 1e-3 ? [power_w * 1e3, "mW"] : [power_w * 1e6, "µW"];
	if (power_w < 1e-9) return withMarks(`${power_w.toExponential(1).replace("-", "\u2212")} W`);
	return `${written(value as number, (value as number) < 100 ? 1 : 0)} ${unit}`;
}

export const megahertz = (hz: number) => `${written(hz / 1e6, 4)} MHz`;

/** A typed number with a true minus sign; otherwise as typed. */
export const typed = (text: string, unit: Unit) =>
	`${text.trim().replace(/^-/, "\u2212")} ${unitWord[unit]}`;

const english = {
	loading: "Opening the session\u2026",
	back: "All checks",
	today: "Today",
	workOrder: "Work order",
	receives: "receives",
	transmits: "transmits",
	onSite: "On site",
	nobodyOnSite: "nobody yet",
	join: (name: string) => `${name} is on site`,
	hazards: "Hazards",
	noHazards: "None written down for this site. Look around anyway.",
	access: "Getting in",
	deferral: "Local codes, the site owner's rules and qualified people decide.",
	nobodyHolds: "Nobody holds this device",
	nobodyHoldsWhy: "A reading needs a name. Say on the Today screen who holds this device.",
	checks: "Checks",
	next: "next",
	keyed: "keyed",
	notKeyed: "not keyed",
	through: {
		direct: "straight on",
		coupler: "through a coupler",
		antenna: "through a coupler, on to the antenna",
	},
	criterion: "Criterion",
	expected: "Expect",
	because: "from",
	limit: "Limit",
	fromMemory: "This limit is from memory and not verified.",
	chain: "Connected as",
	noChain: "Nothing that fits this check is connected yet.",
	connect: "Connect another chain",
	connectFirst: "Connect a chain",
	diagram: "Level diagram",
	path: "Path",
	asTable: "As a table",
	point: "Point",
	by: "Through",
	level: "Level",
	power: "Power",
	takes: "Takes at most",
	takesNote: (power: string) => `max ${power}`,
	plusMinus: (spread: string) => `\u00b1${spread}`,
	asTyped: "as typed, not recorded",
	readHere: "Readings here",
	noDiagram: "There is no level to draw for this chain.",
	stop: "STOP",
	stopTitle: "Do not key",
	stopClosed: "Entry is closed while a stop stands. Change the chain.",
	stopArrives: "would arrive",
	stopRated: "rated",
	stopUnknown: "rating unknown",
	stopHelp: "Change",
	keyForAWhile: "Key for a while only",
	cautions: "Before you key",
	haveRead: (name: string) => `I have read this: ${name}`,
	readBy: "read by",
	allRead: (count: number) => (count === 1 ? "One caution read" : `${count} cautions read`),
	cautionsOpen: (count: number) =>
		count === 1
			? "One caution to read, then the entry opens."
			: `${count} cautions to read, then the entry opens.`,
	entry: "Reading",
	record: "Record",
	recording: "Recording\u2026",
	phase: "State of the repeater",
	type: "Type the number that was read.",
	corrects: (reading: string) => `Corrects ${reading}`,
	noCorrection: "Leave as it was",
	correct: "Correct",
	takeBack: "Take back",
	takeBackTitle: "Why is it taken back?",
	reasons: ["Slip of the finger", "Another chain was connected", "Did not repeat"],
	otherReason: "Another reason",
	takenBack: "taken back",
	replaced: "replaced by",
	readings: "Readings",
	noReadings: "None yet.",
	waits: "Not recorded: ",
	how: "How was this computed",
	working: "Working",
	budget: "Uncertainty budget",
	cause: "Cause",
	standard: "Standard",
	freedom: "Degrees of freedom",
	sensitivity: "Sensitivity",
	contribution: "Adds",
	margin: "margin",
	inside: "inside",
	outside: "outside",
	doubtful: "nearer to the limit than the uncertainty",
	findings: "Findings",
	noFindings: "Nothing found so far.",
	evidence: "Evidence",
	nextTest: "Next",
	remarks: "Notes and summary",
	history: "What happened",
	historyOrder: "Newest first. What led to something stands below it, whatever a clock said.",
	somebody: "somebody",
	asItWas: "Show it as it was then",
	asItWasTitle: "As it was then",
	asItWasNote: "Judged with the shop's and the site's papers as they are now. Nothing here can be changed.",
	unseen: (count: number) =>
		count === 1
			? "Written without having seen the step that stands before it."
			: `Written without having seen ${count} of the steps before it.`,
	clockBehind: (behind: string) =>
		`This clock is ${behind} behind one it had heard: one of the two is wrong.`,
	backToHistory: "Back to what happened",
	notes: "Notes",
	adjustments: "Adjustments",
	summary: "Summary",
	restorations: "Put back as it belongs",
	write: {
		notes: "Add note",
		adjustments: "Add adjustment",
		summary: "Keep summary",
		restorations: "Keep",
	},
	ask: {
		notes: "What else should be known?",
		adjustments: "What was adjusted, and from what to what?",
		summary: "The visit in a sentence.",
		restorations: "What was put back: squelch, tone, cables, doors, the channel on the air?",
	},
	twoSummaries: "Two summaries stand: they were written apart. Write one that holds for both.",
	takeUp: "Take these words up",
	noneWritten: "None yet.",
	nothingRead: "Nothing was read yet.",
	plane: "Where it ends on the repeater",
	instrument: "Instrument",
	port: "Port",
	between: "From the instrument to the plane",
	nothingBetween: "Straight on: nothing in between.",
	line: "From the coupler on, ending in a load or the antenna",
	nothingOnLine: "Open. End it in a load.",
	add: "Add",
	choosePart: "Choose a part",
	earlier: "Move up",
	later: "Move down",
	remove: "Remove",
	chainName: "What the crew calls it",
	doConnect: "It is connected so",
	cancel: "Cancel",
	connectTitle: "Connect a chain",
	understood: "Understood",
	two: "two stand",
	nothingForbids: "No known rating is exceeded when keyed. That is no clearance.",
	calibrated: (due: string) => `in calibration until ${due}`,
	lost: "This device's node does not answer. What you type is kept here.",
	recorded: (reading: string) => `Recorded: ${reading}.`,
};

/** What a language has to say here. */
export type SessionWords = typeof english;
export const say: SessionWords = spoken("say", english);

/** A time span as people say it: the two largest units would promise more than a clock knows. */
export function span(seconds: number): string {
	const units: [number, SpanUnit][] = [
		[86_400, "day"],
		[3_600, "hour"],
		[60, "minute"],
	];
	const [size, unit] = units.find(([size]) => seconds >= size) ?? [1, "second"];
	const count = Math.round(seconds / size);
	return spans(unit).format(count);
}
const spans = perLocale(
	(locale, unit: SpanUnit) =>
		new Intl.NumberFormat(locale, { style: "unit", unit, unitDisplay: "long" }),
);
type SpanUnit = "day" | "hour" | "minute" | "second";
