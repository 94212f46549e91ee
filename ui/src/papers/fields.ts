/**
 * How a field of a paper is shown and typed. What is typed goes to the node as text; what it means
 * is the node's to say. A frequency is shown in megahertz by moving the point, never by dividing.
 */
import type { GeoPosition } from "../bridge/types/GeoPosition";
import type { LossPoint } from "../bridge/types/LossPoint";
import type { ShortTime } from "../bridge/types/ShortTime";
import { fieldHelp, type FieldWord, type HelpWord } from "../words/fields";
import { decimalMark, marked } from "../words/numbers";

export type Kind =
	| "text"
	| "long"
	| "number"
	| "mhz"
	| "khz"
	| "date"
	| "choice"
	| "points"
	| "short"
	| "place"
	| "several"
	| "picture";

/** A field of an entry. */
export interface Spec {
	name: string;
	label: FieldWord;
	/** The thing it belongs to, where the form holds fields of several. */
	of?: FieldWord;
	kind: Kind;
	unit?: string;
	/** May stay empty. */
	optional?: boolean;
	/** What there is to choose from, by what is sent for it. */
	options?: Record<string, string>;
	help?: HelpWord;
}

/** Hertz as megahertz, with every digit that counts. */
export const megahertzText = (hz: number) => moved(hz, 6);
/** Hertz as kilohertz, with every digit that counts. */
export const kilohertzText = (hz: number) => moved(hz, 3);

function moved(hz: number, places: number): string {
	const digits = String(hz).padStart(places + 1, "0");
	const behind = digits.slice(-places).replace(/0+$/, "");
	const before = digits.slice(0, -places);
	return behind === "" ? before : `${before}${decimalMark()}${behind}`;
}

/** Whether a number or a day is wanted and nothing was typed: no need to ask the node. */
export const lacks = ({ kind, optional }: Spec, text: string) =>
	!optional && ["number", "mhz", "khz", "date"].includes(kind) && text.trim() === "";

/** A value as it stands in its field. */
export function written(kind: Kind, value: unknown): string {
	if (value === null || value === undefined) return "";
	switch (kind) {
		case "mhz":
			return megahertzText(value as number);
		case "khz":
			return kilohertzText(value as number);
		case "points":
			return (value as LossPoint[])
				.map(({ at_hz, loss_db }) => `${megahertzText(at_hz)} MHz: ${marked(String(loss_db))}`)
				.join("; ");
		case "short": {
			const { power_w, seconds } = value as ShortTime;
			return fieldHelp.shortShown(marked(String(power_w)), marked(String(seconds)));
		}
		case "place": {
			const { latitude_degrees, longitude_degrees } = value as GeoPosition;
			return `${marked(String(latitude_degrees))}; ${marked(String(longitude_degrees))}`;
		}
		case "several":
			return (value as string[]).join(" ");
		default:
			if (typeof value === "number") return marked(String(value));
			return typeof value === "string" ? value : String(value as boolean);
	}
}

/** What is sent for a text that was typed. Empty is none. */
export function sent(kind: Kind, text: string): unknown {
	const typed = text.trim();
	if (kind === "points") return points(typed);
	if (typed === "") return null;
	if (kind === "several") return typed.split(/\s+/);
	if (kind === "mhz") return /[a-z]/i.test(typed) ? typed : `${typed} MHz`;
	if (kind === "khz") return /[a-z]/i.test(typed) ? typed : `${typed} kHz`;
	if (kind === "short") {
		const [, power_w, seconds] = /^(\S+)\s*W\s+\p{L}+\s+(\S+)\s*s$/u.exec(typed) ?? [];
		return power_w === undefined ? typed : { power_w, seconds };
	}
	if (kind === "place") {
		const [latitude_degrees, longitude_degrees, ...more] = typed.split(";").map((half) => half.trim());
		const two = longitude_degrees !== undefined && more.length === 0;
		return two ? { latitude_degrees, longitude_degrees } : typed;
	}
	return kind === "long" ? text : typed;
}

function points(typed: string): unknown {
	const pieces = typed.split(";").map((piece) => piece.trim());
	const filled = pieces.filter((piece) => piece !== "");
	return filled.map((piece) => {
		const [at_hz = "", loss_db = ""] = piece.split(":").map((part) => part.trim());
		return { at_hz, loss_db };
	});
}
