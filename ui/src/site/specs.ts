/** The fields of a site's entries: what each is called and how it is typed. */
import type { Spec } from "../papers/fields";
import { stations } from "../words/papers";

const name: Spec = { name: "name", label: "name", kind: "text" };

export const siteSpecs: Spec[] = [
	name,
	{ name: "access", label: "access", kind: "long" },
	{ name: "position", label: "position", kind: "place", optional: true, help: "position" },
];

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

/** How well the ports match, where somebody measured it: without it, mismatch widens a verdict. */
export const matchSpecs: Spec[] = (
	[
		["receiver_port_return_loss_db", "receiverReturns"],
		["transmitter_port_return_loss_db", "transmitterReturns"],
		["antenna_port_return_loss_db", "antennaPortReturns"],
	] as const
).map(([field, label]) => ({ name: field, label, kind: "number", unit: "dB", optional: true }));

/** What stands behind the antenna port. Its feedline is a cable of the list, by length. */
export const antennaSpecs: Spec[] = [
	{ name: "gain_dbd", label: "antennaGain", kind: "number", unit: "dBd" },
	{ name: "other_loss_db", label: "otherLoss", kind: "number", unit: "dB", help: "otherLoss" },
	{ name: "tolerance_db", label: "gainTolerance", kind: "number", unit: "dB" },
];

/** What a sweep is kept with besides its points. */
export const sweepSpecs: Record<"tolerance_db" | "swept_on" | "source", Spec> = {
	tolerance_db: { name: "tolerance_db", label: "lossTolerance", kind: "number", unit: "dB" },
	swept_on: { name: "swept_on", label: "sweptOn", kind: "date" },
	source: { name: "source", label: "sweptWith", kind: "text", help: "sweptWith" },
};

/** Its repeater is one of the site's, by id. */
export const equipmentSpecs = (repeaters: Record<string, string>): Spec[] => [
	name,
	{ name: "serial_number", label: "serial", kind: "text", optional: true },
	{ name: "rating", label: "rating", kind: "text", optional: true },
	{ name: "repeater", label: "ofRepeater", kind: "choice", options: repeaters, optional: true },
];

export const otherSpecs: Spec[] = [
	name,
	{ name: "frequency_hz", label: "transmits", kind: "mhz", unit: "MHz" },
	{ name: "power_w", label: "power", kind: "number", unit: "W", optional: true },
	{ name: "antenna", label: "antenna", kind: "text", optional: true },
];
