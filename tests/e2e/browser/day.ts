/**
 * What a spec starts from: the played day, its nodes served by the real program on loopback, and a
 * page that must stay clean: no console error, no uncaught error, no breach of the page's policy.
 */
import { type ChildProcess, execFileSync, spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { createInterface } from "node:readline";
import { test as base, expect, type Page } from "@playwright/test";

const repository = resolve(import.meta.dirname, "../../..");
const target = process.env["CARGO_TARGET_DIR"] ?? join(repository, "target");
const guyline = join(target, "debug/guyline");

/** The nodes of a played day, each served when it is first asked for. */
export class Day {
	#folder = mkdtempSync(join(tmpdir(), "guyline-day-"));
	#served = new Map<string, { program: ChildProcess; address: string }>();

	constructor() {
		const files = join(repository, "demo-data");
		const places = ["--data", files, "--work", this.#folder];
		execFileSync(guyline, ["demo", ...places], { stdio: ["ignore", "ignore", "inherit"] });
	}

	/** The address of a node's screens; what more the program is told counts when it is started. */
	async at(node: string, ...more: string[]): Promise<string> {
		const known = this.#served.get(node);
		if (known) return known.address;
		const data = join(this.#folder, node);
		const words = ["serve", "--data", data, "--listen", "127.0.0.1:0", ...more];
		const program = spawn(guyline, words, { stdio: ["ignore", "pipe", "inherit"] });
		const address = await firstAddress(program, node, /http:\/\/127\.0\.0\.1:\d+/);
		this.#served.set(node, { program, address });
		return address;
	}

	/** A new hub with the invented shop, its screens also served to browsers over TLS. */
	async hub(node: string): Promise<{ home: string; address: string; fingerprint: string }> {
		const data = join(this.#folder, node);
		const words = ["serve", "--data", data, "--listen", "127.0.0.1:0", "--screens", "127.0.0.1:0"];
		const program = spawn(guyline, words, { stdio: ["ignore", "pipe", "inherit"] });
		const said: string[] = [];
		if (!program.stdout) throw new Error("the program's output is piped");
		for await (const line of createInterface({ input: program.stdout })) {
			said.push(line);
			if (line.includes("SHA-256")) break;
		}
		const [home] = /http:\/\/127\.0\.0\.1:\d+/.exec(said.join("\n")) ?? [];
		const [address] = /https:\/\/127\.0\.0\.1:\d+/.exec(said.join("\n")) ?? [];
		const [fingerprint] = /(?:[0-9A-F]{2}:){31}[0-9A-F]{2}/.exec(said.join("\n")) ?? [];
		if (!home || !address || !fingerprint) throw new Error(`the hub ${node} said ${said.join()}`);
		this.#served.set(node, { program, address: home });
		const headers = { "content-type": "application/json" };
		const begun = await fetch(`${home}/api/start-demo`, { method: "POST", headers, body: "{}" });
		if (!begun.ok) throw new Error(await begun.text());
		return { home, address, fingerprint };
	}

	/** The address of an instrument made of software that answers as the demo's scenario says. */
	async instrument(): Promise<string> {
		const known = this.#served.get("the instrument");
		if (known) return known.address;
		const scenario = join(repository, "demo-data/instruments/monitor.scenario.toml");
		const words = ["instrument", "simulate", scenario, "--port", "0"];
		const program = spawn(guyline, words, { stdio: ["ignore", "pipe", "inherit"] });
		const address = await firstAddress(program, "the instrument", /127\.0\.0\.1:\d+/);
		this.#served.set("the instrument", { program, address });
		return address;
	}

	async end(): Promise<void> {
		for (const { program } of this.#served.values()) {
			const ended = once(program, "exit");
			program.kill("SIGTERM");
			await ended;
		}
		rmSync(this.#folder, { recursive: true });
	}
}

async function firstAddress(program: ChildProcess, node: string, form: RegExp): Promise<string> {
	if (!program.stdout) throw new Error("the program's output is piped");
	for await (const line of createInterface({ input: program.stdout })) {
		const address = form.exec(line)?.[0];
		if (address) return address;
	}
	throw new Error(`the node ${node} ended before it said where it is`);
}

export const test = base.extend<{ complaints: string[] }, { day: Day }>({
	day: [
		async ({}, use) => {
			const day = new Day();
			await use(day);
			await day.end();
		},
		{ scope: "worker" },
	],
	complaints: [
		async ({ page }, use) => {
			const complaints = heard.get(page) ?? (await hear(page));
			complaints.length = 0;
			await use(complaints);
			expect(complaints, "the page complained").toEqual([]);
		},
		{ auto: true },
	],
});

/** What each page complained of since its test began. */
const heard = new WeakMap<Page, string[]>();

async function hear(page: Page): Promise<string[]> {
	const complaints: string[] = [];
	heard.set(page, complaints);
	page.on("console", (said) => {
		if (said.type() === "error") complaints.push(said.text());
	});
	page.on("pageerror", (error) => complaints.push(String(error)));
	await page.exposeFunction("complain", (said: string) => complaints.push(said));
	await page.addInitScript(() => {
		const complain = (globalThis as unknown as { complain(said: string): void }).complain;
		addEventListener("securitypolicyviolation", (event) => {
			complain(`policy ${event.violatedDirective} breached by ${event.blockedURI}`);
		});
	});
	return complaints;
}

export { expect };
