/** From the node's schema to fields, from what is typed to a question, from an answer to lines. */
import { expect, test } from "vitest";
import { figures, partsOf } from "./answer";
import { toForm, toQuestion, type Either, type Form } from "./form";
import { labelOf, questionOf, type Schema } from "./schema";

const schema: Schema = {
	oneOf: [
		{ properties: { topic: { const: "chain" }, with: { $ref: "#/$defs/Chain" } } },
		{ properties: { topic: { const: "known" }, with: { $ref: "#/$defs/Known" } } },
		{ properties: { topic: { const: "made" }, with: { $ref: "#/$defs/Made" } } },
	],
	$defs: {
		Chain: {
			type: "object",
			required: ["start_dbm", "elements", "plane"],
			properties: {
				start_dbm: { type: "number", description: "What goes in, as `Dbm`." },
				note: { type: ["string", "null"] },
				power_w: { anyOf: [{ type: "number" }, { type: "null" }] },
				plane: { $ref: "#/$defs/Plane" },
				elements: { type: "array", items: { $ref: "#/$defs/Element" } },
				data_base64: { type: ["string", "null"] },
				odd: { anyOf: [{ type: "string" }, { type: "number" }] },
			},
		},
		Known: {
			oneOf: [
				{ type: "object", required: ["vswr"], properties: { vswr: { type: "number" } } },
				{
					type: "object",
					required: ["return-loss-db"],
					properties: { "return-loss-db": { type: "number" } },
				},
			],
		},
		Made: {
			oneOf: [
				{ type: "object", properties: { from: { const: "text" }, text: { type: "string" } } },
				{
					type: "object",
					required: ["width_hz"],
					properties: { from: { const: "width" }, width_hz: { type: "number" } },
				},
			],
		},
		Plane: { oneOf: [{ const: "receiver-port" }, { const: "antenna-port" }] },
		Element: {
			type: "object",
			required: ["loss_db"],
			properties: { loss_db: { type: "number" }, keyed: { type: "boolean" } },
		},
	},
};

const fieldsOf = (topic: string) => {
	const shape = questionOf(schema, topic);
	return shape.kind === "group" ? shape.fields : [];
};

test("a schema's fields have labels, units and shapes", () => {
	const fields = fieldsOf("chain");
	const said = fields.map(({ label, unit, shape, required }) => [label, unit, shape.kind, required]);
	expect(said).toEqual([
		["start", "dBm", "number", true],
		["plane", "", "choice", true],
		["elements", "", "list", true],
		["note", "", "text", false],
		["power", "W", "number", false],
		["data", "", "file", false],
		["odd", "", "json", false],
	]);
	expect(fields[0]?.help).toBe("What goes in, as Dbm.");
	expect(fieldsOf("nowhere")).toEqual([]);
});

test("what stands in the fields becomes a question, numbers with point or comma", () => {
	const shape = questionOf(schema, "chain");
	const given = { start_dbm: -30.5, plane: "antenna-port", elements: [{ loss_db: 1, keyed: true }] };
	const form = toForm(shape, given) as { [name: string]: Form };
	expect(toQuestion(shape, form)).toEqual({ question: given, problems: [] });
	form["start_dbm"] = "\u22124,25";
	form["odd"] = "7";
	expect(toQuestion(shape, form).question).toMatchObject({ start_dbm: -4.25, odd: 7 });
});

test("a field that cannot be asked is named by its path", () => {
	const shape = questionOf(schema, "chain");
	const form = toForm(shape, { plane: "antenna-port", elements: [{ loss_db: "1,2,3" }] }) as {
		[name: string]: Form;
	};
	form["odd"] = "{";
	expect(toQuestion(shape, form).problems).toEqual([
		{ path: "start_dbm", what: "empty" },
		{ path: "elements.0.loss_db", what: "number" },
		{ path: "odd", what: "json" },
	]);
});

test("of several things one is asked, under its name or told by a tag", () => {
	const known = questionOf(schema, "known");
	const form = toForm(known, { "return-loss-db": 14 }) as Either;
	expect(form.which).toBe("return-loss-db");
	expect(toQuestion(known, form).question).toEqual({ "return-loss-db": 14 });
	form.which = "vswr";
	expect(toQuestion(known, form).problems).toEqual([{ path: "vswr", what: "empty" }]);
	form.each["vswr"] = "1,5";
	expect(toQuestion(known, form).question).toEqual({ vswr: 1.5 });

	const made = questionOf(schema, "made");
	const given = { from: "width", width_hz: 11000 };
	expect(toQuestion(made, toForm(made, given)).question).toEqual(given);
});

test("an answer is lines, and a table where its parts are alike", () => {
	const parts = partsOf({
		loss_db: 1.0899999,
		extra_db: null,
		hits: [{ order: 3, at_hz: 155000000 }, { order: 5 }],
		inner: { note: "steady" },
	});
	expect(parts[0]).toEqual({ kind: "line", line: { label: "loss", text: "1.09", unit: "dB" } });
	expect(parts[1]).toEqual({ kind: "line", line: { label: "extra", text: "none", unit: "" } });
	expect(parts[2]).toMatchObject({ kind: "table", rows: [["3", "155\u202f000\u202f000"], ["5", "none"]] });
	expect(parts[3]).toMatchObject({ kind: "part", label: "inner" });
});

test("rows that hold tables stand one under the other", () => {
	const [part] = partsOf({ receivers: [{ name: "lookout", hits: [{ order: 3 }, { order: 5 }] }] });
	expect(part).toMatchObject({ kind: "part", parts: [{ kind: "part", label: "lookout" }] });
	const inner = part?.kind === "part" && part.parts[0]?.kind === "part" ? part.parts[0].parts : [];
	expect(inner[1]).toMatchObject({ kind: "table", rows: [["3"], ["5"]] });
});

test("numbers have five figures and a true minus sign", () => {
	expect(figures(-119.03145)).toBe("\u2212119.03");
	expect(figures(1.2345678e-9)).toBe("1.2346e\u22129");
	expect(labelOf("noise_dbc_hz")).toEqual({ label: "noise", unit: "dBc/Hz" });
});

test("what the node calls a field stands in place of its name", () => {
	const told = {
		names: { start: "départ", loss: "perte", plane: "plan" },
		choices: { plane: { "antenna-port": "port d’antenne" } },
	};
	const shape = questionOf(schema, "chain", told);
	const fields = shape.kind === "group" ? shape.fields : [];
	expect(fields.map(({ label }) => label)).toContain("départ");
	const plane = fields.find(({ name }) => name === "plane")?.shape;
	expect(plane).toMatchObject({
		kind: "choice",
		options: [
			{ value: "receiver-port", word: "receiver port" },
			{ value: "antenna-port", word: "port d’antenne" },
		],
	});
	const [loss, where] = partsOf({ loss_db: 1.5, plane: "antenna-port" }, told);
	expect(loss).toEqual({ kind: "line", line: { label: "perte", text: "1.5", unit: "dB" } });
	expect(where).toMatchObject({ line: { label: "plan", text: "port d’antenne" } });
});
