/** The fields of a site's entries: what each is called and how it is typed. */
import type { Spec } from "../papers/fields";
import { stations } from "../words/papers";

const name: Spec = { name: "name", label: "name", kind: "text" };

export const siteSpecs: Spec[] = [name, { name: "access", label: "access", kind: "long" }];

/** Where it is. Kept only where somebody wants it kept: it tells strangers too. */
export const positionSpecs: Spec[] = [
	{ name: "latitude_degrees", label: "latitude", kind: "number", unit: "°" },
	{ name: "longitude_degrees", label: "longitude", kind: "number", unit: "°" },
];

export const hazardSpecs: Spec[] = [
	{ name: "text", label: "hazard", kind: "long" },
];

export const channelSpecs: Spec[] = [
	name,
	{ name: "receive_hz", label: "receives", kind: "mhz", unit: "MHz" },
	{ name: "transmit_hz", label: "transmits", kind: "mhz", unit: "MHz" },
	{ name: "channel_width_hz", label: "channelWidth", kind: "khz", unit: "kHz" },
	{
		name: "station",
		label: "station",
		kind: "choice",
		options: stations,
	},
	{ name: "region", label: "region", kind: "text", help: "region" },
];

export const licenceSpecs: Spec[] = [
	{ name: "call_sign", label: "callSign", kind: "text", optional: true },
	{ name: "emission", label: "emission", kind: "text", optional: true, help: "emission" },
	{ name: "licence_expires", label: "licenceEnds", kind: "date", optional: true },
];

/** What the licence allows: what a reading is judged by where it is known. */
export const termSpecs: Spec[] = [
	{ name: "transmit_hz", label: "licensedFrequency", kind: "mhz", unit: "MHz" },
	{ name: "output_w", label: "licensedOutput", kind: "number", unit: "W", optional: true },
	{ name: "erp_w", label: "licensedErp", kind: "number", unit: "W", optional: true },
	{ name: "source", label: "textSeen", kind: "text" },
];

export const ratingSpecs: Spec[] = [
	{ name: "opening_level_dbm", label: "openingLevel", kind: "number", unit: "dBm" },
	{ name: "power_w", label: "transmitterPower", kind: "number", unit: "W" },
	{ name: "duplexer_transmit_loss_db", label: "duplexerTransmit", kind: "number", unit: "dB" },
	{ name: "duplexer_receive_loss_db", label: "duplexerReceive", kind: "number", unit: "dB" },
	{ name: "duplexer_tolerance_db", label: "duplexerTolerance", kind: "number", unit: "dB" },
	{ name: "duplexer_power_max_w", label: "duplexerTakes", kind: "number", unit: "W" },
];

export const equipmentSpecs: Spec[] = [
	name,
	{ name: "serial_number", label: "serial", kind: "text", optional: true },
	{ name: "rating", label: "rating", kind: "text", optional: true },
];

export const otherSpecs: Spec[] = [
	name,
	{ name: "frequency_hz", label: "transmits", kind: "mhz", unit: "MHz" },
	{ name: "power_w", label: "power", kind: "number", unit: "W", optional: true },
	{ name: "antenna", label: "antenna", kind: "text", optional: true },
];
