/** The fields of a shop's entries: what each is called and how it is typed. */
import type { AccuracyOf } from "../bridge/types/AccuracyOf";
import { arrows, partKinds, policies, portKinds, results, rules } from "../words/papers";
import type { Spec } from "./fields";

const serial: Spec = { name: "serial_number", label: "serial", kind: "text", optional: true };
const name: Spec = { name: "name", label: "name", kind: "text" };

export const shopSpecs: Spec[] = [
	name,
	{ name: "letterhead", label: "letterhead", kind: "long", optional: true },
	{ name: "phone", label: "phone", kind: "text", optional: true },
	{ name: "address", label: "address", kind: "long", optional: true },
	{ name: "report_wording", label: "reportWording", kind: "long", optional: true },
];

export const ruleSpecs: Spec[] = [
	{
		name: "decision_rule",
		label: "decisionRule",
		kind: "choice",
		options: rules,
	},
	{
		name: "guard_factor",
		label: "guard",
		kind: "number",
		unit: "\u00d7 U",
		help: "wholeU",
	},
	{
		name: "calibration_policy",
		label: "calibrationPolicy",
		kind: "choice",
		options: policies,
	},
	{
		name: "calibration_widening",
		label: "widening",
		kind: "number",
		unit: "\u00d7",
	},
];

/** The fields of somebody of the shop, who may be sent to these sites: id to name. */
export const personSpecs = (sites: Record<string, string>): Spec[] => [
	name,
	{ name: "role", label: "role", kind: "text", optional: true },
	{ name: "until", label: "lastDay", kind: "date", optional: true },
	{
		name: "sites",
		label: "sentTo",
		kind: "several",
		optional: true,
		options: sites,
		help: "sentTo",
	},
];

export const accuracySpecs: Spec[] = [
	{ name: "level_db", label: "generatorLevel", kind: "number", unit: "dB" },
	{ name: "power_percent", label: "power", kind: "number", unit: "%" },
	{ name: "frequency_ppm", label: "frequency", kind: "number", unit: "ppm" },
	{ name: "deviation_percent", label: "deviation", kind: "number", unit: "%" },
];

const halfWidth = (unit: string): Spec => ({
	name: "half_width",
	label: "halfWidth",
	kind: "number",
	unit,
});
const between = (unit: string): Spec[] => [
	{ name: "from", label: "readingFrom", kind: "number", unit, optional: true },
	{ name: "to", label: "readingTo", kind: "number", unit, optional: true },
	{ name: "from_hz", label: "frequencyFrom", kind: "mhz", unit: "MHz", optional: true },
	{ name: "to_hz", label: "frequencyTo", kind: "mhz", unit: "MHz", optional: true },
];
/** What a data sheet says of a part of a range, by quantity: its ends and how far it may be off. */
export const rangeSpecs: Record<AccuracyOf, Spec[]> = {
	level: [...between("dBm"), halfWidth("dB")],
	power: [...between("W"), halfWidth("%")],
	frequency: [...between("Hz"), halfWidth("ppm")],
	deviation: [...between("Hz"), halfWidth("%")],
};

/** The regions whose limits are shipped: what a shop can have rows of its own for. */
export const regions = ["us", "ca", "eu"];

export const instrumentSpecs: Spec[] = [
	name,
	serial,
	{ name: "calibration_due", label: "calibrationDue", kind: "date" },
	{ name: "profile", label: "profile", kind: "long", optional: true, help: "profile" },
];

export const portSpecs: Spec[] = [
	{ name: "name", label: "port", kind: "text" },
	{ name: "kind", label: "portKind", kind: "choice", options: portKinds },
	{
		name: "power_max_w",
		label: "powerIntoPort",
		kind: "number",
		unit: "W",
		optional: true,
		help: "unknownPower",
	},
	{ name: "return_loss_db", label: "returnLoss", kind: "number", unit: "dB", optional: true },
];

export const partSpecs: Spec[] = [
	name,
	{ name: "kind", label: "kind", kind: "choice", options: partKinds },
	serial,
	{ name: "calibration_due", label: "calibrationDue", kind: "date", optional: true },
	{ name: "loss", label: "loss", kind: "points", optional: true, help: "points" },
	{ name: "coupling", label: "coupling", kind: "points", optional: true, help: "points" },
	{ name: "tolerance_db", label: "lossTolerance", kind: "number", unit: "dB" },
	{ name: "power_max_w", label: "powerForLong", kind: "number", unit: "W" },
	{
		name: "short_time",
		label: "powerForAWhile",
		kind: "short",
		optional: true,
		help: "short",
	},
	{ name: "return_loss_db", label: "returnLoss", kind: "number", unit: "dB", optional: true },
];

/** A cable of the shipped list by its length. */
export const runSpecs: Spec[] = [
	{ name: "listed", label: "listed", kind: "text", help: "listed" },
	{ name: "length_m", label: "length", kind: "number", unit: "m" },
	{ name: "length_tolerance_m", label: "lengthTolerance", kind: "number", unit: "m" },
];

export const isolatorSpecs: Spec[] = [
	{
		name: "arrow",
		label: "arrow",
		kind: "choice",
		options: arrows,
	},
	{ name: "isolation", label: "againstArrow", kind: "points", help: "points" },
	{
		name: "reverse_power_max_w",
		label: "powerAgainst",
		kind: "number",
		unit: "W",
	},
];

export const calibrationSpecs: Spec[] = [
	{ name: "on", label: "madeOn", kind: "date" },
	{ name: "next_due", label: "holdsTo", kind: "date" },
	{ name: "by", label: "byWhom", kind: "text" },
	{ name: "certificate", label: "certificate", kind: "text", optional: true },
	{ name: "result", label: "result", kind: "choice", options: results },
];
