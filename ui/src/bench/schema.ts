/**
 * What a topic of the bench asks, read from the JSON Schema the node gives: its fields, each with a
 * label, a unit and a shape a screen can make.
 *
 * A field's unit stands last in its name, as in `loss_db`. What has no shape here is edited as JSON.
 */
import { unitOf } from "../words/units";

/** What the node calls fields, and what they offer, where it does not leave that to their names. */
export interface Told {
	names: Record<string, string>;
	choices: Record<string, Record<string, string>>;
}
const UNTOLD: Told = { names: {}, choices: {} };

/** As much of JSON Schema as the node's questions use. */
export interface Schema {
	type?: string | string[];
	$ref?: string;
	properties?: Record<string, Schema>;
	required?: string[];
	items?: Schema;
	prefixItems?: Schema[];
	enum?: unknown[];
	const?: unknown;
	oneOf?: Schema[];
	anyOf?: Schema[];
	description?: string;
	$defs?: Record<string, Schema>;
}
interface Root extends Schema {
	told: Told;
}

export type Shape =
	| { kind: "number" }
	| { kind: "text" }
	| { kind: "file" }
	| { kind: "yes" }
	| { kind: "choice"; options: Choice[] }
	| { kind: "list"; item: Shape }
	| { kind: "row"; items: Shape[] }
	| { kind: "group"; fields: Field[] }
	/** One of several things; `tag` names the field that says which, or each stands under its name. */
	| { kind: "either"; tag: string | undefined; options: Field[] }
	| { kind: "json" };

/** One of several words: as it goes to the node, and as it is read. */
export interface Choice {
	value: string;
	word: string;
}

export interface Field {
	name: string;
	label: string;
	unit: string;
	help: string;
	required: boolean;
	shape: Shape;
}

/** What a topic asks; a question without fields where the schema does not know the topic. */
export function questionOf(schema: Schema, topic: string, told = UNTOLD): Shape {
	const asked = schema.oneOf?.find(({ properties }) => properties?.["topic"]?.const === topic);
	const question = asked?.properties?.["with"];
	return question ? shapeOf(question, { ...schema, told }, "") : { kind: "group", fields: [] };
}

/** A name without its unit, in words. */
export function labelOf(name: string, { names } = UNTOLD): { label: string; unit: string } {
	// An alternative is named with hyphens, a field with low lines.
	const { unit, stem } = unitOf(name.replaceAll("-", "_"));
	return { label: names[stem] ?? stem.replaceAll("_", " "), unit };
}

/** What a field's own word is read as; the word itself where nothing else is told. */
export const wordOf = (name: string, value: string, { choices } = UNTOLD): string | undefined =>
	choices[unitOf(name).stem]?.[value];

function resolved(schema: Schema, root: Root): Schema {
	const name = /^#\/\$defs\/(.+)$/.exec(schema.$ref ?? "")?.[1];
	const found = name === undefined ? undefined : root.$defs?.[name];
	return found ? resolved(found, root) : schema;
}

const isNull = (schema: Schema) => schema.type === "null";

function shapeOf(given: Schema, root: Root, name: string): Shape {
	const schema = resolved(given, root);
	const choices = schema.anyOf?.filter((one) => !isNull(one));
	if (choices?.length === 1) return shapeOf(choices[0] as Schema, root, name);
	const options = optionsOf(schema);
	if (options) {
		const word = (value: string) => wordOf(name, value, root.told) ?? value.replaceAll("-", " ");
		return { kind: "choice", options: options.map((value) => ({ value, word: word(value) })) };
	}
	const either = eitherOf(schema, root);
	if (either) return either;
	const types = [schema.type ?? []].flat().filter((type) => type !== "null");
	switch (types.length === 1 ? types[0] : undefined) {
		case "number":
		case "integer":
			return { kind: "number" };
		case "boolean":
			return { kind: "yes" };
		case "string":
			return { kind: name.endsWith("_base64") ? "file" : "text" };
		case "array":
			return listOf(schema, root);
		case "object":
			return schema.properties ? groupOf(schema, root) : { kind: "json" };
		default:
			return { kind: "json" };
	}
}

function optionsOf(schema: Schema): string[] | undefined {
	const values = schema.enum ?? schema.oneOf?.flatMap((one) => one.enum ?? [one.const]);
	const words = values?.filter((value) => typeof value === "string");
	return words && words.length > 0 && words.length === values?.length ? words : undefined;
}

function listOf(schema: Schema, root: Root): Shape {
	if (schema.prefixItems) {
		return { kind: "row", items: schema.prefixItems.map((item) => shapeOf(item, root, "")) };
	}
	return schema.items
		? { kind: "list", item: shapeOf(schema.items, root, "") }
		: { kind: "json" };
}

function groupOf(schema: Schema, root: Root): { kind: "group"; fields: Field[] } {
	const required = new Set(schema.required);
	const fields = Object.entries(schema.properties ?? {}).map(([name, property]) => ({
		...fieldOf(name, property, root),
		required: required.has(name),
	}));
	// The schema's order is the alphabet's: what a thing is called comes first, what may stay empty last.
	const rank = ({ name, required }: Field) => (name === "name" ? 0 : required ? 1 : 2);
	return { kind: "group", fields: fields.toSorted((a, b) => rank(a) - rank(b)) };
}

function fieldOf(name: string, property: Schema, root: Root): Field {
	const help = property.description ?? "";
	return {
		name,
		...labelOf(name, root.told),
		help: help.replaceAll(/\[?`([^`]*)`\]?/g, "$1").replaceAll("\n", " "),
		required: true,
		shape: shapeOf(property, root, name),
	};
}

/** Alternatives: objects that each hold one field of their own, or that a tag tells apart. */
function eitherOf(schema: Schema, root: Root): Shape | undefined {
	const all = schema.oneOf?.map((one) => resolved(one, root));
	if (!all || all.length === 0 || all.some((one) => one.type !== "object")) return undefined;
	const tag = Object.entries(all[0]?.properties ?? {}).find(([, one]) => one.const !== undefined);
	const options = all.map((one): Field => {
		const properties = Object.entries(one.properties ?? {});
		if (tag) {
			const rest = Object.fromEntries(properties.filter(([name]) => name !== tag[0]));
			const name = String(one.properties?.[tag[0]]?.const);
			const described = { ...one, properties: rest, oneOf: undefined };
			return { ...fieldOf(name, described, root), unit: "" };
		}
		const [name, property] = properties[0] ?? ["", {}];
		return fieldOf(name, { description: one.description, ...property }, root);
	});
	return { kind: "either", tag: tag?.[0], options };
}
