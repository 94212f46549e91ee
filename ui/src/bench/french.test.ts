/**
 * The Bench's French names: every field of a question and of an answer has one, and every word that a
 * field offers or answers; none is left over. The fields are those of the generated types.
 */
import { readFileSync } from "node:fs";
import { join } from "node:path";
import ts from "typescript";
import { expect, test } from "vitest";
import { unitOf } from "../words/units";

const types = join(import.meta.dirname, "../bridge/types");
const shipped = readFileSync(
	join(import.meta.dirname, "../../../shared-core/data/bench.fr.toml"),
	"utf8",
);

/** The keys of a table of the file. */
function keysOf(table: string): string[] {
	const [, after = ""] = shipped.split(`\n[${table}]\n`);
	const [lines = ""] = after.split("\n[");
	return [...lines.matchAll(/^([\w-]+) = "/gm)].map(([, key = ""]) => key);
}

interface Met {
	names: Set<string>;
	/** The words of each field that has some. */
	words: Map<string, Set<string>>;
}

const stem = (name: string) => unitOf(name.replaceAll("-", "_")).stem;

function declared(name: string): ts.SourceFile {
	const text = readFileSync(join(types, `${name}.ts`), "utf8");
	return ts.createSourceFile(name, text, ts.ScriptTarget.Latest, true);
}

/** The words of a type that is nothing but some. */
function wordsOf(name: string): string[] {
	const file = declared(name);
	const alias = file.statements.find(ts.isTypeAliasDeclaration)?.type;
	const parts = alias && ts.isUnionTypeNode(alias) ? [...alias.types] : [];
	const words = parts.flatMap((part) =>
		ts.isLiteralTypeNode(part) && ts.isStringLiteral(part.literal) ? [part.literal.text] : [],
	);
	return words.length === parts.length ? words : [];
}

function gather(name: string, met: Met, seen: Set<string>) {
	if (seen.has(name)) return;
	seen.add(name);
	const file = declared(name);
	const visit = (node: ts.Node, field: string | undefined) => {
		let at = field;
		if (ts.isPropertySignature(node)) {
			at = ts.isStringLiteral(node.name) ? node.name.text : node.name.getText(file);
			// How a question and an answer are told apart is shown by nobody.
			if (!["BenchQuestion", "BenchAnswer"].includes(name)) met.names.add(stem(at));
		}
		if (ts.isTypeReferenceNode(node)) {
			const type = node.typeName.getText(file);
			if (type !== "Array" && type !== "Record") {
				const words = wordsOf(type);
				if (words.length === 0) gather(type, met, seen);
				else if (at !== undefined) {
					const known = met.words.get(stem(at)) ?? new Set();
					met.words.set(stem(at), new Set([...known, ...words]));
				}
			}
		}
		node.forEachChild((child) => visit(child, at));
	};
	file.forEachChild((node) => visit(node, undefined));
}

const met: Met = { names: new Set(), words: new Map() };
const seen = new Set<string>();
for (const name of ["BenchQuestion", "BenchAnswer"]) gather(name, met, seen);

test("every field has its French name, and none is left over", () => {
	expect(met.names.size).toBeGreaterThan(300);
	const known = keysOf("name");
	expect([...met.names].filter((name) => !known.includes(name)).toSorted()).toEqual([]);
	expect(known.filter((name) => !met.names.has(name))).toEqual([]);
});

test("every word that a field offers or answers has its French", () => {
	expect(met.words.size).toBeGreaterThan(8);
	for (const [field, words] of met.words) {
		expect([field, keysOf(`choice.${field}`).toSorted()]).toEqual([field, [...words].toSorted()]);
	}
});
