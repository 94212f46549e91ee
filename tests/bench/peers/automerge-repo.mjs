// automerge-repo with its own websocket adapters and, at the server, its own storage in files, as
// they come. The devices keep theirs in memory only, and the server offers nobody what it has, as
// its authors set up a sync server. Nothing is put on disk by force, where ours is.
// @ts-check

import { readdir } from "node:fs/promises";
import { join } from "node:path";
import * as Automerge from "@automerge/automerge";
import { Repo } from "@automerge/automerge-repo";
import * as network from "@automerge/automerge-repo-network-websocket";
import { NodeFSStorageAdapter } from "@automerge/automerge-repo-storage-nodefs";
import { WebSocketServer } from "ws";
import { ENTRIES, LISTS, edits } from "./work.mjs";

const LOOK_MS = 20;

/** @param {Record<string, object> | undefined} doc */
const entries = (doc) =>
	LISTS.reduce((sum, list) => sum + Object.keys(doc?.[list] ?? {}).length, 0);

/**
 * Serves `folder`; `whole` is told each time a document has all its entries.
 * @param {string} folder
 * @param {() => void} whole
 */
export async function serve(folder, whole) {
	const socket = new WebSocketServer({ host: "127.0.0.1", port: 0 });
	await new Promise((listening) => socket.once("listening", listening));
	const repo = new Repo({
		storage: new NodeFSStorageAdapter(folder),
		network: [new network.WebSocketServerAdapter(socket)],
		sharePolicy: async () => false,
	});
	// It says nothing of documents that others bring; looking is cheap against taking them.
	const seen = new Set();
	setInterval(() => {
		for (const [id, handle] of Object.entries(repo.handles)) {
			if (!seen.has(id) && handle.isReady() && entries(handle.doc()) === ENTRIES) {
				seen.add(id);
				whole();
			}
		}
	}, LOOK_MS);
	return { port: socket.address().port, stored: () => repo.flush() };
}

/**
 * The documents of one device. Gives what connects it.
 * @param {number[]} visits
 */
export async function prepare(visits) {
	const repo = new Repo({ network: [] });
	for (const visit of visits) {
		let doc = Automerge.init();
		for (const { list, id, value } of edits(visit)) {
			doc = Automerge.change(doc, (draft) => {
				draft[list] ??= {};
				draft[list][id] = value;
			});
		}
		repo.import(Automerge.save(doc));
	}
	return (/** @type {number} */ port) => {
		const adapter = new network.WebSocketClientAdapter(`ws://127.0.0.1:${port}`);
		repo.networkSubsystem.addNetworkAdapter(adapter);
	};
}

/**
 * How many entries each document in `folder` has. A document is a folder in one of two letters.
 * @param {string} folder
 */
export async function held(folder) {
	const repo = new Repo({ storage: new NodeFSStorageAdapter(folder), network: [] });
	const counts = [];
	for (const letters of await readdir(folder)) {
		for (const rest of await readdir(join(folder, letters))) {
			if (`${letters}${rest}` !== "storage-adapter-id") {
				const handle = await repo.find(`automerge:${letters}${rest}`);
				counts.push(entries(handle.doc()));
			}
		}
	}
	return counts;
}
