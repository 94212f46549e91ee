/**
 * A question between the screen and the node: numbers stand on the screen as they are typed, with
 * a point or a comma, and go to the node as numbers. Works nothing out.
 */
import { marked } from "../words/numbers";
import type { Shape } from "./schema";

/** What a screen edits: text for numbers, and the rest as it is. */
export type Form = string | boolean | Form[] | { [name: string]: Form };

/** Which of several is meant, with what stands in each: going back to one loses nothing. */
export interface Either {
	[name: string]: Form;
	which: string;
	each: { [name: string]: Form };
}

/** A field that holds no answerable value, by its path as in `lines.2.loss_db`. */
export interface Problem {
	path: string;
	what: "number" | "empty" | "json";
}

/** The value of a shape as a screen edits it. */
export function toForm(shape: Shape, value: unknown): Form {
	switch (shape.kind) {
		case "yes":
			return value === true;
		case "list":
			return Array.isArray(value) ? value.map((item) => toForm(shape.item, item)) : [];
		case "row":
			return shape.items.map((item, n) => toForm(item, Array.isArray(value) ? value[n] : undefined));
		case "group":
			return groupForm(shape, value);
		case "either":
			return eitherForm(shape, value);
		case "json":
			return value === undefined ? "" : JSON.stringify(value);
		default:
			return value === undefined || value === null ? "" : textOf(value);
	}
}

/** A number as it would be typed. */
const textOf = (value: unknown) =>
	typeof value === "number" ? marked(String(value)) : String(value);

const entriesOf = (value: unknown) =>
	new Map<string, unknown>(typeof value === "object" && value !== null ? Object.entries(value) : []);

function groupForm(shape: Shape & { kind: "group" }, value: unknown): Form {
	const given = entriesOf(value);
	return Object.fromEntries(
		shape.fields.map(({ name, shape }) => [name, toForm(shape, given.get(name))]),
	);
}

function eitherForm({ tag, options }: Shape & { kind: "either" }, value: unknown): Either {
	const given = entriesOf(value);
	const named = (name: string) => (tag === undefined ? given.has(name) : given.get(tag) === name);
	const which = options.find(({ name }) => named(name)) ?? options[0];
	const each = options.map(({ name, shape }) => {
		const inside = tag === undefined ? given.get(name) : value;
		return [name, toForm(shape, name === which?.name ? inside : undefined)];
	});
	return { which: which?.name ?? "", each: Object.fromEntries(each) };
}

/** The question a form makes, with every field that keeps it from being asked. */
export function toQuestion(shape: Shape, form: Form): { question: unknown; problems: Problem[] } {
	const problems: Problem[] = [];
	const question = fromForm(shape, form, "", true, problems);
	return { question, problems };
}

function fromForm(
	shape: Shape,
	form: Form | undefined,
	path: string,
	required: boolean,
	problems: Problem[],
): unknown {
	const under = (name: string | number) => (path === "" ? String(name) : `${path}.${name}`);
	if (!required && isEmpty(form)) return undefined;
	if (shape.kind === "group") {
		const given = form as { [name: string]: Form };
		const entries = shape.fields.map((field) => {
			const at = under(field.name);
			const value = fromForm(field.shape, given[field.name], at, field.required, problems);
			return [field.name, value] as const;
		});
		return Object.fromEntries(entries.filter(([, value]) => value !== undefined));
	}
	if (shape.kind === "either") {
		const { which, each } = form as Either;
		const option = shape.options.find(({ name }) => name === which);
		if (!option || (!required && isEmpty(each[which]))) return undefined;
		const at = shape.tag === undefined ? under(which) : path;
		const value = fromForm(option.shape, each[which], at, true, problems);
		if (shape.tag === undefined) return { [which]: value };
		return { [shape.tag]: which, ...(value as object) };
	}
	if (shape.kind === "list") {
		const given = form as Form[];
		return given.map((item, n) => fromForm(shape.item, item, under(n), true, problems));
	}
	if (shape.kind === "row") {
		const given = form as Form[];
		return shape.items.map((item, n) => fromForm(item, given[n], under(n), true, problems));
	}
	if (shape.kind === "yes") return form === true;
	const text = String(form ?? "").trim();
	if (text === "") {
		if (required) problems.push({ path, what: "empty" });
		return undefined;
	}
	if (shape.kind === "number") return numberOf(text, path, problems);
	if (shape.kind === "json") return jsonOf(text, path, problems);
	return String(form);
}

/** Nothing was put in: an optional part is then left out of the question. */
function isEmpty(form: Form | undefined): boolean {
	if (form === undefined || form === "" || form === false) return true;
	if (typeof form !== "object") return false;
	if (Array.isArray(form)) return form.every(isEmpty);
	const { which, each } = form as Either;
	if (typeof which === "string" && each !== undefined) return isEmpty(each[which]);
	return Object.values(form).every(isEmpty);
}

/** A number with a point or a comma, and with a true minus sign as well as a hyphen. */
function numberOf(text: string, path: string, problems: Problem[]): number | undefined {
	const plain = text.replace("\u2212", "-").replace(",", ".");
	const value = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(plain) ? Number(plain) : NaN;
	if (Number.isFinite(value)) return value;
	problems.push({ path, what: "number" });
	return undefined;
}

function jsonOf(text: string, path: string, problems: Problem[]): unknown {
	try {
		return JSON.parse(text) as unknown;
	} catch {
		problems.push({ path, what: "json" });
		return undefined;
	}
}
