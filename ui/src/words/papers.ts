/** The words of the Papers and Site screens, in English. */
import type { Arrow } from "../bridge/types/Arrow";
import type { CalibrationPolicy } from "../bridge/types/CalibrationPolicy";
import type { CalibrationResult } from "../bridge/types/CalibrationResult";
import type { DecisionRule } from "../bridge/types/DecisionRule";
import type { ExposureStandard } from "../bridge/types/ExposureStandard";
import type { Imported } from "../bridge/types/Imported";
import type { LimitKind } from "../bridge/types/LimitKind";
import type { LimitOf } from "../bridge/types/LimitOf";
import type { PartKind } from "../bridge/types/PartKind";
import type { PortKind } from "../bridge/types/PortKind";
import type { Stage } from "../bridge/types/Stage";
import type { StationClass } from "../bridge/types/StationClass";
import { countedIn } from "./plural";
import { spoken } from "./speech.svelte";

export const partKinds: Record<PartKind, string> = spoken("partKinds", {
	cable: "cable",
	pad: "pad",
	coupler: "coupler",
	load: "load",
	antenna: "antenna",
	isolator: "isolator",
});
export const portKinds: Record<PortKind, string> = spoken("portKinds", {
	generator: "generator",
	meter: "meter",
	duplex: "duplex",
});
export const results: Record<CalibrationResult, string> = spoken("results", {
	within: "within its accuracy",
	adjusted: "outside, adjusted to within",
	outside: "outside, and stays so",
});
export const stages: Record<Stage, string> = spoken("stages", {
	prepare: "prepare",
	receiver: "receiver",
	transmitter: "transmitter",
	duplexer: "duplexer",
	desense: "desense",
});
export const limitKinds: Record<LimitKind, string> = spoken("limitKinds", {
	"at-most": "at most",
	around: "around",
	within: "within plus and minus",
});
export const limitOfs: Record<LimitOf, string> = spoken("limitOfs", {
	"rated-opening-level": "the receiver's rated opening level",
	"rated-power": "the transmitter's rated power",
	"rated-transmit-loss": "the duplexer's rated transmit loss",
	"rated-receive-loss": "the duplexer's rated receive loss",
	"frequency-tolerance": "the region's frequency tolerance",
	"channel-deviation": "the region's deviation limit",
	fixed: "this number",
});
export const lists: Record<Imported, string> = spoken("lists", {
	parts: "parts",
	instruments: "instruments",
	sites: "sites",
});

/** How uncertainty enters a verdict. */
export const rules: Record<DecisionRule, string> = spoken("rules", {
	"guard-banded": "guard band",
	"simple-acceptance": "the value alone decides",
});
/** What an ended calibration does to a verdict. */
export const policies: Record<CalibrationPolicy, string> = spoken("policies", {
	withhold: "nothing is said",
	widen: "its uncertainty counts several times",
});
export const arrows: Record<Arrow, string> = spoken("arrows", {
	"towards-repeater": "towards the repeater",
	"away-from-repeater": "away from the repeater",
});
export const stations: Record<StationClass, string> = spoken("stations", {
	base: "base",
	mobile: "mobile over 2 W",
	portable: "mobile up to 2 W",
});
export const standards: Record<ExposureStandard, string> = spoken("standards", {
	fcc: "FCC, 47 CFR 1.1310",
	"icnirp-2020": "ICNIRP 2020",
	"safety-code-6": "Safety Code 6",
});
/** A field that is said with yes or no. */
export const yesNo: Record<"true" | "false", string> = spoken("yesNo", { true: "yes", false: "no" });

const counted = countedIn("en");

const english = {
	papers: "Papers",
	parts: "Parts of this paper",
	loading: "Opening the papers\u2026",
	sections: {
		shop: "Shop",
		people: "People",
		instruments: "Instruments",
		parts: "Parts",
		plan: "Plan",
		sites: "Sites",
		lists: "Take in a list",
		out: "Take data out",
		changes: "Changes",
	},
	siteSections: {
		site: "Site",
		hazards: "Hazards",
		channels: "Channels",
		equipment: "Equipment",
		others: "Others' transmitters",
		mixing: "Mixing",
		exposure: "Exposure",
		visits: "Visits",
		report: "Report",
		changes: "Changes",
	},
	close: "Close",
	wanted: "This is wanted too",
	mayBeEmpty: "optional",
	notSaid: "not said",
	none: "none",
	by: (who: string, when: string) => `last written by ${who}, ${when}`,
	undo: "Undo",
	undoThis: (what: string) => `Undo: ${what}`,
	recorded: "Recorded:",
	changes: "The newest changes",
	changesWhy: "Each change stands by itself and can be taken back; that is a change of its own.",
	conflicts: (count: number) =>
		`${counted(count, "field was", "fields were")} changed by two people apart. Nothing is lost: choose there.`,
	problems: "These do not go together:",
	conflict: {
		title: "Two people wrote this apart",
		shown: "shown meanwhile",
		choose: "Keep this",
		chooseOf: (value: string) => `Keep ${value}`,
		somebody: "somebody",
	},
	add: "Add",
	addTo: (list: string) => `Add ${list}`,
	aLimit: "a limit",
	aCalibration: "a calibration",
	since: (from: string) => `since ${from}`,
	retire: "No longer in use",
	unretire: "In use again",
	retired: (from: string) => `not in use since ${from}`,
	showRetired: (count: number) => `${count} no longer in use`,
	due: {
		ended: (days: number) => `calibration ended ${counted(days, "day", "days")} ago`,
		today: "calibration ends today",
		soon: (days: number) => `calibration ends in ${counted(days, "day", "days")}`,
		holds: (on: string) => `calibrated to ${on}`,
		none: "no calibration date",
	},
	calibration: {
		title: "Calibrations",
		none: "None recorded yet.",
		record: "Record a calibration",
		line: (by: string, certificate: string | null) =>
			certificate ? `${by}, certificate ${certificate}` : by,
		to: (on: string) => `holds to ${on}`,
		withdrawn: "taken back",
	},
	person: "a person",
	instrument: "an instrument",
	part: "a part",
	port: "a port",
	run: "a length of a listed cable",
	ports: "Ports",
	accuracy: "Accuracy",
	ranges: "For part of a range",
	rangesWhy: "Of those that hold for a reading the widest counts; without one, the figures above.",
	range: (quantity: string) => `a range of ${quantity}`,
	/** A range that is open at both ends. */
	everywhere: "everywhere",
	atLeast: (value: string) => `from ${value}`,
	atMost: (value: string) => `up to ${value}`,
	limits: {
		title: "Limits of the shop's own",
		why: "Rows that go before the shipped ones of a region. Each carries its source; a wrong row changes nothing.",
		rows: (region: string) => `rows for the region ${region}`,
	},
	takeOut: "Take out",
	rule: {
		title: "How verdicts are made",
	},
	shop: {
		title: "What a report says of the shop",
	},
	sign: {
		title: "The sign at the head of its reports",
		why: (size: string, pixels: number) =>
			`A PNG or JPEG picture of at most ${size} and ${pixels} pixels either way. It stands on every report and goes with the shop's papers to every device.`,
		nothing: "None yet.",
		choose: "Choose a picture",
		another: "Choose another one",
		remove: "Take it out",
		alt: (shop: string) => `Sign of ${shop}`,
		picture: "a picture",
		broken: "This picture cannot be shown here, and a PDF leaves it out: choose another one.",
		tooLarge: (name: string, size: string) => `${name} has ${size}: make it smaller first.`,
	},
	plan: {
		title: "The plan",
		why: "What the shop changes on the shipped checks. Cautions of the program stay as they are.",
		made: "Made on every visit",
		off: "not made",
		own: "the shop's own",
		limit: "Limit",
		ownLimit: "A limit of the shop's own",
		back: "Back to the shipped limit",
		cautions: "Cautions the shop adds",
		caution: "a caution",
		takeOut: "Take out",
		text: "The plan as text",
		textWhy: "Copy it, change it elsewhere, bring it back. A wrong text changes nothing.",
		fetch: "Show the plan as text",
		take: "Take this text in",
		taken: "This is the shop's plan now.",
		at: (line: number, column: number) => `line ${line}, column ${column}`,
	},
	list: {
		of: "What the rows are",
		file: "A file of comma-separated values, or JSON",
		text: "Or the rows themselves",
		columns: "The first row may name",
		good: (count: number) => `${counted(count, "good row", "good rows")}`,
		wrong: (count: number) => `${counted(count, "problem", "problems")}`,
		line: "Line",
		column: "Column",
		what: "What is wrong",
		take: (count: number) => `Take ${counted(count, "row", "rows")} in`,
		taken: (count: number) => `${counted(count, "row is", "rows are")} taken in.`,
		wholeRow: "whole row",
	},
	site: {
		open: "Open the site",
		none: "No site has come here yet.",
		access: "How to get there and in",
		position: "Position",
		aPosition: "a position",
		positionWhy: "Optional. It goes to every device of the shop; a file for others has it only on request.",
		listed: "As the paper came",
		hazard: "a hazard",
		hazardWhy: "Taking one off the list clears nothing: look before you touch.",
		channel: "a channel",
		equipment: "a piece of equipment",
		other: "a transmitter",
		licence: "Licence",
		terms: "what the licence allows",
		ratings: "Ratings",
		match: "How well the ports match",
		antenna: "Antenna and feedline",
		antennaSystem: "what stands behind the antenna port",
		feedline: "Feedline",
		sweep: {
			title: "Duplexer as it was swept",
			why: "From Touchstone files of a network analyser: what lies about the two frequencies is kept, and goes before the rated losses where a reading is foreseen.",
			transmit: "Transmit path (.s2p): port 1 the transmitter, port 2 the antenna",
			receive: "Receive path (.s2p): port 1 the antenna, port 2 the receiver",
			whole: "Or all of it (.s3p): transmitter, receiver, antenna",
			found: (path: string, loss: string, points: number) =>
				`${path}: ${loss} at its own frequency, ${counted(points, "point", "points")} kept`,
			paths: { transmit: "Transmit path", receive: "Receive path" },
			bothWanted: "Choose a file for each path, or one of the whole duplexer.",
			keep: "Keep this sweep",
			kept: (on: string, source: string) => `Swept on ${on}: ${source}`,
			off: (by: string) => `losses may be off by ${by}`,
			anew: "Read a newer sweep",
		},
		baselines: "Usual values",
		baseline: "a usual value",
		mixing: "What the transmitters here mix to",
		mixingWhy: (order: number) =>
			`Products up to order ${order} of the site's own and others' transmitters that fall on its receivers. Where they mix, and how strong they are, only a test can tell.`,
		quiet: "No product falls on this receiver.",
		hits: (count: number) => `${counted(count, "product falls", "products fall")} on this receiver`,
		order: (order: number) => `order ${order}`,
		falls: (at: string) => `falls at ${at}`,
		off: (by: string) => `${by} off the channel`,
		onChannel: "right on the channel",
		exposure: "Exposure at a place",
		exposureWhy: "The site's own repeaters, all from one antenna. Say how far and how strong.",
		estimate: "Estimate",
		atLimit: (metres: string) => `By this estimate the limit is met at ${metres} m.`,
		workers: "people who know of it and have control",
		public: "everybody else",
		visits: "Visits",
		noVisits: "No visit here yet.",
		visitsComing: "Its visits are kept here from now on. Those made elsewhere come with the next merge.",
		visitsNotKept: "This device does not keep the visits to this site: what stands here may not be all. Open the site at the device itself, or look at the hub.",
	},
};

/** What a language has to say here. */
export type PapersWords = typeof english;
export const papersWords: PapersWords = spoken("papersWords", english);
