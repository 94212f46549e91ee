// Yjs with its own websocket provider, its own websocket server and its own LevelDB persistence,
// as they come, but that a tab's own channel is off: the devices share a process, not a browser.
// Entries are plain values in a shared map, the least that Yjs can keep of them; nothing is put on
// disk by force (LevelDB's default), where ours is.
// @ts-check

import { createServer } from "node:http";
import { WebSocket, WebSocketServer } from "ws";
import { LeveldbPersistence } from "y-leveldb";
import { WebsocketProvider } from "y-websocket";
import * as Y from "yjs";
import { ENTRIES, LISTS, edits } from "./work.mjs";

/** @param {Y.Doc} doc */
const entries = (doc) => LISTS.reduce((sum, list) => sum + doc.getMap(list).size, 0);

/**
 * Serves `folder`; `whole` is told each time a document has all its entries.
 * @param {string} folder
 * @param {() => void} whole
 */
export async function serve(folder, whole) {
	// Read when the module is loaded.
	process.env.YPERSISTENCE = folder;
	const utils = await import("@y/websocket-server/utils");
	utils.setContentInitializor(async (doc) => {
		const watch = () => {
			if (entries(doc) === ENTRIES) {
				doc.off("update", watch);
				whole();
			}
		};
		doc.on("update", watch);
	});
	const http = createServer();
	new WebSocketServer({ server: http }).on("connection", utils.setupWSConnection);
	await new Promise((listening) => http.listen(0, "127.0.0.1", () => listening(undefined)));
	const stored = async () => {
		const { provider } = utils.getPersistence();
		// What is at the end of its queue once all of it was worked off.
		for (let last; last !== provider.tr; ) {
			last = provider.tr;
			await last;
		}
	};
	return { port: http.address().port, stored };
}

/**
 * The documents of one device. Gives what connects it.
 * @param {number[]} visits
 */
export async function prepare(visits) {
	const docs = visits.map((visit) => {
		const doc = new Y.Doc();
		for (const { list, id, value } of edits(visit)) {
			doc.transact(() => doc.getMap(list).set(id, value));
		}
		return { name: `visit-${visit}`, doc };
	});
	return (/** @type {number} */ port) => {
		const options = { WebSocketPolyfill: WebSocket, disableBc: true };
		for (const { name, doc } of docs) {
			new WebsocketProvider(`ws://127.0.0.1:${port}`, name, doc, options);
		}
	};
}

/**
 * How many entries each document in `folder` has.
 * @param {string} folder
 */
export async function held(folder) {
	const store = new LeveldbPersistence(folder);
	const counts = [];
	for (const name of await store.getAllDocNames()) {
		counts.push(entries(await store.getYDoc(name)));
	}
	await store.destroy();
	return counts;
}
