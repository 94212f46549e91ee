/** The fields of a shop's entries: what each is called and how it is typed. */
import { papersWords as say, partKinds, portKinds, results } from "../words/papers";
import { pointsHelp, shortHelp, type Spec } from "./fields";

const serial: Spec = { name: "serial_number", label: "serial number", kind: "text", optional: true };
const name: Spec = { name: "name", label: "name", kind: "text" };

export const shopSpecs: Spec[] = [
	name,
	{ name: "phone", label: "phone", kind: "text", optional: true },
	{ name: "address", label: "address", kind: "long", optional: true },
	{ name: "report_wording", label: "what every report says besides", kind: "long", optional: true },
];

export const ruleSpecs: Spec[] = [
	{
		name: "decision_rule",
		label: "how uncertainty enters a verdict",
		kind: "choice",
		options: {
			"guard-banded": say.rule["guard-banded"],
			"simple-acceptance": say.rule["simple-acceptance"],
		},
	},
	{
		name: "guard_factor",
		label: "guard band",
		kind: "number",
		unit: "\u00d7 U",
		help: "1 is the whole expanded uncertainty",
	},
	{
		name: "calibration_policy",
		label: "when a calibration had ended",
		kind: "choice",
		options: { withhold: say.rule.withhold, widen: say.rule.widen },
	},
	{
		name: "calibration_widening",
		label: "how many times it counts then",
		kind: "number",
		unit: "\u00d7",
	},
];

export const personSpecs: Spec[] = [
	name,
	{ name: "role", label: "role", kind: "text", optional: true },
	{ name: "until", label: "last day", kind: "date", optional: true },
];

export const accuracySpecs: Spec[] = [
	{ name: "level_db", label: "generator level", kind: "number", unit: "dB" },
	{ name: "power_percent", label: "power", kind: "number", unit: "%" },
	{ name: "frequency_ppm", label: "frequency", kind: "number", unit: "ppm" },
	{ name: "deviation_percent", label: "deviation", kind: "number", unit: "%" },
];

export const instrumentSpecs: Spec[] = [
	name,
	serial,
	{ name: "calibration_due", label: "calibration holds to", kind: "date" },
];

export const portSpecs: Spec[] = [
	{ name: "name", label: "port", kind: "text" },
	{ name: "kind", label: "what the port does", kind: "choice", options: portKinds },
	{
		name: "power_max_w",
		label: "most power into it",
		kind: "number",
		unit: "W",
		optional: true,
		help: "Unknown is treated as none",
	},
	{ name: "return_loss_db", label: "return loss", kind: "number", unit: "dB", optional: true },
];

export const partSpecs: Spec[] = [
	name,
	{ name: "kind", label: "kind", kind: "choice", options: partKinds },
	serial,
	{ name: "calibration_due", label: "calibration holds to", kind: "date", optional: true },
	{ name: "loss", label: "loss", kind: "points", optional: true, help: pointsHelp },
	{ name: "coupling", label: "coupling", kind: "points", optional: true, help: pointsHelp },
	{ name: "tolerance_db", label: "loss may be off by", kind: "number", unit: "dB" },
	{ name: "power_max_w", label: "most power for long", kind: "number", unit: "W" },
	{
		name: "short_time",
		label: "most power for a while",
		kind: "short",
		optional: true,
		help: shortHelp,
	},
	{ name: "return_loss_db", label: "return loss", kind: "number", unit: "dB", optional: true },
];

/** A cable of the shipped list by its length. */
export const runSpecs: Spec[] = [
	{ name: "listed", label: "listed as", kind: "text", help: "Its short name on the Bench" },
	{ name: "length_m", label: "length", kind: "number", unit: "m" },
	{ name: "length_tolerance_m", label: "length may be off by", kind: "number", unit: "m" },
];

export const isolatorSpecs: Spec[] = [
	{
		name: "arrow",
		label: "arrow",
		kind: "choice",
		options: {
			"towards-repeater": "towards the repeater",
			"away-from-repeater": "away from the repeater",
		},
	},
	{ name: "isolation", label: "loss against the arrow", kind: "points", help: pointsHelp },
	{
		name: "reverse_power_max_w",
		label: "most power against it",
		kind: "number",
		unit: "W",
	},
];

export const calibrationSpecs: Spec[] = [
	{ name: "on", label: say.calibration.on, kind: "date" },
	{ name: "next_due", label: say.calibration.nextDue, kind: "date" },
	{ name: "by", label: say.calibration.by, kind: "text" },
	{ name: "certificate", label: say.calibration.certificate, kind: "text", optional: true },
	{ name: "result", label: say.calibration.result, kind: "choice", options: results },
];
