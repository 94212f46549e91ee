/** The fields of a site's entries: what each is called and how it is typed. */
import type { Spec } from "../papers/fields";

const name: Spec = { name: "name", label: "name", kind: "text" };

export const siteSpecs: Spec[] = [name, { name: "access", label: "how to get there and in", kind: "long" }];

export const hazardSpecs: Spec[] = [
	{ name: "text", label: "what can hurt people", kind: "long" },
];

export const channelSpecs: Spec[] = [
	name,
	{ name: "receive_hz", label: "receives", kind: "mhz", unit: "MHz" },
	{ name: "transmit_hz", label: "transmits", kind: "mhz", unit: "MHz" },
	{ name: "channel_width_hz", label: "channel width", kind: "khz", unit: "kHz" },
	{
		name: "station",
		label: "station",
		kind: "choice",
		options: { base: "base", mobile: "mobile over 2 W", portable: "mobile up to 2 W" },
	},
	{ name: "region", label: "region", kind: "text", help: "Whose limits hold, as in us" },
];

export const licenceSpecs: Spec[] = [
	{ name: "call_sign", label: "call sign", kind: "text", optional: true },
	{ name: "emission", label: "emission", kind: "text", optional: true, help: "As in 11K2F3E" },
	{ name: "licence_expires", label: "licence ends", kind: "date", optional: true },
];

/** What the licence allows: what a reading is judged by where it is known. */
export const termSpecs: Spec[] = [
	{ name: "transmit_hz", label: "licensed frequency", kind: "mhz", unit: "MHz" },
	{ name: "output_w", label: "licensed output", kind: "number", unit: "W", optional: true },
	{ name: "erp_w", label: "licensed ERP", kind: "number", unit: "W", optional: true },
	{ name: "source", label: "where its text was seen", kind: "text" },
];

export const ratingSpecs: Spec[] = [
	{ name: "opening_level_dbm", label: "opening level", kind: "number", unit: "dBm" },
	{ name: "power_w", label: "transmitter power", kind: "number", unit: "W" },
	{ name: "duplexer_transmit_loss_db", label: "duplexer, transmit", kind: "number", unit: "dB" },
	{ name: "duplexer_receive_loss_db", label: "duplexer, receive", kind: "number", unit: "dB" },
	{ name: "duplexer_tolerance_db", label: "duplexer may be off by", kind: "number", unit: "dB" },
	{ name: "duplexer_power_max_w", label: "duplexer takes", kind: "number", unit: "W" },
];

export const equipmentSpecs: Spec[] = [
	name,
	{ name: "serial_number", label: "serial number", kind: "text", optional: true },
	{ name: "rating", label: "rating", kind: "text", optional: true },
];

export const otherSpecs: Spec[] = [
	name,
	{ name: "frequency_hz", label: "transmits", kind: "mhz", unit: "MHz" },
	{ name: "power_w", label: "power", kind: "number", unit: "W", optional: true },
	{ name: "antenna", label: "antenna", kind: "text", optional: true },
];
