/**
 * An answer of the bench as a person reads it: single values as lines, rows of the same shape as a
 * table. In: the node's plain data. Out: words and numbers with units; works nothing out.
 */
import { benchWords } from "../words/bench";
import { marked, withMarks } from "../words/numbers";
import { labelOf, wordOf, type Told } from "./schema";

export interface Line {
	label: string;
	text: string;
	unit: string;
}

export type Part =
	| { kind: "line"; line: Line }
	| { kind: "table"; label: string; columns: { label: string; unit: string }[]; rows: string[][]; left: number }
	| { kind: "part"; label: string; parts: Part[] };

/** More rows than this are counted, not shown. */
const ROWS_MAX = 200;

/** A number of five figures with a true minus sign; whole numbers stay whole. */
export function figures(value: number): string {
	if (Number.isInteger(value) && Math.abs(value) < 1e15) {
		return String(value).replace(/\B(?=(\d{3})+$)/g, "\u202f").replace("-", "\u2212");
	}
	const short = Number(value.toPrecision(5));
	const text = Math.abs(short) >= 1e-4 && Math.abs(short) < 1e7 ? String(short) : short.toExponential();
	return marked(text).replaceAll("-", "\u2212");
}

/** A single value in words; `name` is the field it stands in. */
export function shown(value: unknown, name: string, told?: Told): string {
	if (value === null || value === undefined) return benchWords.none;
	if (typeof value === "number") return figures(value);
	if (typeof value === "boolean") return value ? benchWords.yes : benchWords.no;
	if (Array.isArray(value)) return value.map((one) => shown(one, name, told)).join(", ");
	if (typeof value === "object") {
		const entries = Object.entries(value);
		const each = ([name, one]: [string, unknown]) =>
			`${labelOf(name, told).label} ${shown(one, name, told)}`;
		return entries.map(each).join(", ");
	}
	return wordOf(name, String(value), told) ?? sentence(String(value));
}

/** What is one word was typed, or is a name; what is more may hold numbers. */
const sentence = (text: string) => (text.includes(" ") ? withMarks(text) : text);

const isRecord = (value: unknown): value is Record<string, unknown> =>
	typeof value === "object" && value !== null && !Array.isArray(value);

const isRows = (value: unknown): value is Record<string, unknown>[] =>
	Array.isArray(value) && value.length > 0 && value.every(isRecord);

/** The parts of an answer in the order the node gives them. */
export function partsOf(answer: Record<string, unknown>, told?: Told): Part[] {
	return Object.entries(answer).map(([name, value]) => partOf(name, value, told));
}

function partOf(name: string, value: unknown, told?: Told): Part {
	const { label, unit } = labelOf(name, told);
	if (isRecord(value)) return { kind: "part", label, parts: partsOf(value, told) };
	if (isRows(value)) {
		// A table in a table cannot be read: such rows stand one under the other.
		if (value.some((row) => Object.values(row).some(isRows))) {
			const parts = value.slice(0, ROWS_MAX).map((row, n): Part => {
				const label = typeof row["name"] === "string" ? row["name"] : `${n + 1}.`;
				return { kind: "part", label, parts: partsOf(row, told) };
			});
			return { kind: "part", label, parts };
		}
		const all = [...new Set(value.flatMap((row) => Object.keys(row)))];
		// What a row is called stands first, whatever letters its other fields begin with.
		const isName = (column: string) => value.every((row) => typeof row[column] === "string");
		const names = [...all.filter(isName), ...all.filter((column) => !isName(column))];
		return {
			kind: "table",
			label,
			columns: names.map((column) => labelOf(column, told)),
			rows: value.slice(0, ROWS_MAX).map((row) => names.map((column) => shown(row[column], column, told))),
			left: Math.max(0, value.length - ROWS_MAX),
		};
	}
	return { kind: "line", line: { label, text: shown(value, name, told), unit: value === null ? "" : unit } };
}
