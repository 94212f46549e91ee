/**
 * What a topic of the bench asks, read from the JSON Schema the node gives: its fields, each with a
 * label, a unit and a shape a screen can make.
 *
 * A field's unit stands last in its name, as in `loss_db`. What has no shape here is edited as JSON.
 */
import { unitOf } from "../words/units";

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

export type Shape =
	| { kind: "number" }
	| { kind: "text" }
	| { kind: "file" }
	| { kind: "yes" }
	| { kind: "choice"; options: string[] }
	| { kind: "list"; item: Shape }
	| { kind: "row"; items: Shape[] }
	| { kind: "group"; fields: Field[] }
	| { kind: "json" };

export interface Field {
	name: string;
	label: string;
	unit: string;
	help: string;
	required: boolean;
	shape: Shape;
}

/** The fields of a topic's question; none where the schema does not know the topic. */
export function fieldsOf(root: Schema, topic: string): Field[] {
	const asked = root.oneOf?.find(({ properties }) => properties?.["topic"]?.const === topic);
	const question = asked?.properties?.["with"];
	const shape = question ? shapeOf(question, root, "") : undefined;
	return shape?.kind === "group" ? shape.fields : [];
}

/** A name without its unit, in words. */
export function labelOf(name: string): { label: string; unit: string } {
	const { unit, stem } = unitOf(name);
	return { label: stem.replaceAll("_", " "), unit };
}

function resolved(schema: Schema, root: Schema): Schema {
	const name = /^#\/\$defs\/(.+)$/.exec(schema.$ref ?? "")?.[1];
	const found = name === undefined ? undefined : root.$defs?.[name];
	return found ? resolved(found, root) : schema;
}

const isNull = (schema: Schema) => schema.type === "null";

function shapeOf(given: Schema, root: Schema, name: string): Shape {
	const schema = resolved(given, root);
	const choices = schema.anyOf?.filter((one) => !isNull(one));
	if (choices?.length === 1) return shapeOf(choices[0] as Schema, root, name);
	const options = optionsOf(schema);
	if (options) return { kind: "choice", options };
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

function listOf(schema: Schema, root: Schema): Shape {
	if (schema.prefixItems) {
		return { kind: "row", items: schema.prefixItems.map((item) => shapeOf(item, root, "")) };
	}
	return schema.items
		? { kind: "list", item: shapeOf(schema.items, root, "") }
		: { kind: "json" };
}

function groupOf(schema: Schema, root: Schema): Shape {
	const required = new Set(schema.required);
	const fields = Object.entries(schema.properties ?? {}).map(([name, property]) => ({
		name,
		...labelOf(name),
		help: (property.description ?? "").replaceAll(/\[?`([^`]*)`\]?/g, "$1").replaceAll("\n", " "),
		required: required.has(name),
		shape: shapeOf(property, root, name),
	}));
	return { kind: "group", fields };
}
