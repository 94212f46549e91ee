// Has one peer do the work of the bench's row `push`, and prints one line of JSON about it:
//
//   node run.mjs yjs|automerge-repo DEVICES EACH
//
// Server and devices are a process each; the devices' documents are made before anything is timed.
// Ends with 1 where the server's storage, opened by a third process, lacks anything.
// @ts-check

import { fork } from "node:child_process";
import { mkdtemp, rm } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { ENTRIES } from "./work.mjs";

const [peer, devices, each] = process.argv.slice(2);
const visits = Number(devices) * Number(each);

/** @param {(string | number)[]} rest */
function part(...rest) {
	const file = join(import.meta.dirname, "part.mjs");
	// What a peer prints has no place in the answer.
	const stdio = /** @type {const} */ (["ignore", "ignore", "inherit", "ipc"]);
	const child = fork(file, [peer, ...rest.map(String)], { stdio, execArgv: ["--expose-gc"] });
	/** The next message that says this. @param {string} what */
	const said = (what) =>
		new Promise((resolve, reject) => {
			child.on("message", (message) => what in message && resolve(message[what]));
			child.once("exit", (code) => reject(new Error(`${peer} ${rest[0]} ended: ${code}`)));
		});
	return { child, said };
}

/** @param {import("node:child_process").ChildProcess} child */
function ended(child) {
	const exit = new Promise((resolve) => child.once("exit", resolve));
	child.kill();
	return exit;
}

const folder = await mkdtemp(join(tmpdir(), "peer-"));
const stored = join(folder, "store");
try {
	const server = part("serve", stored, devices, each);
	const port = await server.said("port");
	const client = part("bring", devices, each);
	await client.said("ready");
	const start = performance.now();
	const [done, told] = [server.said("cpu"), client.said("cpu")];
	server.child.on("message", ({ next }) => next && client.child.send({ next }));
	server.child.send({ begin: true });
	client.child.send({ port });
	// The devices tell theirs later: this way it is heard of where they end before.
	const server_ms = await Promise.race([done, told]);
	const took_ms = performance.now() - start;
	client.child.send({ end: true });
	const client_ms = await told;
	await ended(client.child);
	await ended(server.child);
	const opened = part("held", stored);
	const counts = await opened.said("counts");
	await ended(opened.child);
	if (counts.length !== visits || counts.some((count) => count !== ENTRIES)) {
		throw new Error(`the server's storage has ${counts.length} visits, of ${counts} entries`);
	}
	console.log(JSON.stringify({ server_ms, client_ms, took_ms }));
} finally {
	await rm(folder, { recursive: true });
}
process.exit();
