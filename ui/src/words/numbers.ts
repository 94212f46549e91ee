/**
 * Numbers, dates and times as the person's language writes them. A true minus sign stands in front,
 * so that it cannot be taken for a dash; digits are never grouped, so that no space or comma in a
 * level can be taken for the decimal mark.
 */
import { speech } from "./speech.svelte";

const MINUS = "\u2212";

/** What is made once a locale and kind, and then used every time: making a formatter costs. */
export function perLocale<Made, Kind = void>(
	make: (locale: string, kind: Kind) => Made,
): (kind: Kind) => Made {
	const made = new Map<string, Made>();
	return (kind) => {
		const { locale } = speech;
		const name = `${locale} ${kind}`;
		const one = made.get(name) ?? make(locale, kind);
		made.set(name, one);
		return one;
	};
}

/** The decimal mark of the language. */
export const decimalMark = perLocale(
	(locale) =>
		new Intl.NumberFormat(locale).formatToParts(0.5).find(({ type }) => type === "decimal")
			?.value ?? ".",
);

const fixed = perLocale(
	(locale, decimals: number) =>
		new Intl.NumberFormat(locale, {
			minimumFractionDigits: decimals,
			maximumFractionDigits: decimals,
			useGrouping: false,
			signDisplay: "negative",
		}),
);

/** A number with so many decimals. */
export const written = (value: number, decimals: number) =>
	fixed(decimals).format(value).replace("-", MINUS);

/** A number with the digits it has, none added and none rounded away. */
export const plain = (value: number) => marked(String(value)).replaceAll("-", MINUS);

/** A number's digits with the language's decimal mark; the sign stays one that can be typed. */
export const marked = (digits: string) => digits.replace(".", decimalMark());

/** What looks like a number with decimals and is the name of a rule or of its edition. */
const CITED = /(?:CFR |\bV)\d+(?:\.\d+)+/;
const DECIMAL = /(\d)\.(?=\d)/;
const MARKED = new RegExp(`(${CITED.source})|${DECIMAL.source}`, "g");

/** A colon, with the space before it where the language wants one. */
export const colon = () => (speech.name === "fr" ? "\u00a0:" : ":");

/** A text of the node's with its numbers marked as the language marks them. */
export const withMarks = (text: string) =>
	text.replaceAll(MARKED, (found, cited?: string, digit?: string) =>
		cited === undefined && digit !== undefined ? digit + decimalMark() : found,
	);

const grouped = perLocale((locale) => new Intl.NumberFormat(locale));

/** A count, grouped. */
export const counted = (count: number) => grouped().format(count).replace("-", MINUS);

const days = perLocale((locale) => new Intl.DateTimeFormat(locale, { dateStyle: "medium" }));

/**
 * Makes ready what dates are written with. The first one a program writes takes longer than all
 * that follow: it may be made while something else is waited for.
 */
export const readyDates = () => void days().format(0);

/** A day, from a time or a date alone. What is neither is shown as it is. */
export function day(at: string): string {
	const alone = /^\d{4}-\d{2}-\d{2}$/.test(at);
	const time = new Date(alone ? `${at}T00:00` : at);
	if (Number.isNaN(time.getTime())) return at;
	return days().format(time);
}

const named = perLocale(
	(locale) =>
		new Intl.DateTimeFormat(locale, { weekday: "long", day: "numeric", month: "long" }),
);

/** A day of this year, with its name. */
export const dayNamed = (time_ms: number) => named().format(time_ms);

const hours = perLocale(
	(locale) =>
		new Intl.DateTimeFormat(locale, { hour: "2-digit", minute: "2-digit", hourCycle: "h23" }),
);

/** The hour of a time, of 24. */
export const hour = (time: Date) => hours().format(time);

/** A day and its hour. What is no time is shown as it is. */
export function moment(at: string): string {
	const time = new Date(at);
	return Number.isNaN(time.getTime()) ? at : `${day(at)} ${hour(time)}`;
}

/** The hour alone where the time is today, and the day with it where it is not. */
export function clock(at: string, now = new Date()): string {
	const time = new Date(at);
	return time.toDateString() === now.toDateString() ? hour(time) : moment(at);
}
