// One end of a peer, in a process of its own that `run.mjs` starts and speaks to:
//
//   node part.mjs PEER serve FOLDER DEVICES EACH    until all their visits are on disk
//   node part.mjs PEER bring DEVICES EACH           says when it is ready, brings all, and waits
//   node part.mjs PEER held FOLDER                  opens what was stored and counts it
//
// Each end tells the CPU time it took itself, user and system of all its threads, from "begin" on.
// @ts-check

import { EventEmitter, once } from "node:events";

// Nobody is left over where the one who started it is gone.
process.once("disconnect", () => process.exit(1));

const [name, end, ...rest] = process.argv.slice(2);
const peer = await import(`./${name}.mjs`);

// From one address our own hub listens to no more; so the peers have them no more at once either.
const DEVICES_AT_ONCE = 8;

/** @param {unknown} message */
const say = (message) => process.send?.(message);
const heard = () => new Promise((resolve) => process.once("message", resolve));

/** CPU of this process in ms since `since`. @param {NodeJS.CpuUsage} since */
function cpu(since) {
	const { user, system } = process.cpuUsage(since);
	return (user + system) / 1000;
}

/** @param {string} folder @param {number} devices @param {number} each */
async function serve(folder, devices, each) {
	const arrivals = new EventEmitter();
	const all = once(arrivals, "all");
	let whole = 0;
	const { port, stored } = await peer.serve(folder, () => {
		whole += 1;
		// As many as one device has are there: the next may come.
		if (whole % each === 0) say({ next: true });
		if (whole === devices * each) arrivals.emit("all");
	});
	const begun = heard();
	say({ port });
	await begun;
	const since = process.cpuUsage();
	await all;
	await stored();
	say({ cpu: cpu(since) });
}

/** @param {number} devices @param {number} each */
async function bring(devices, each) {
	process.setMaxListeners(0); // Yjs wants one for each document.
	const connects = [];
	for (let device = 0; device < devices; device++) {
		const visits = Array.from({ length: each }, (_, visit) => device * each + visit);
		connects.push(await peer.prepare(visits));
	}
	globalThis.gc?.();
	const begun = heard();
	say({ ready: true });
	const { port } = await begun;
	const since = process.cpuUsage();
	process.on("message", ({ next }) => {
		if (next) connects.shift()?.(port);
		else say({ cpu: cpu(since) });
	});
	for (const connect of connects.splice(0, DEVICES_AT_ONCE)) connect(port);
}

if (end === "serve") await serve(rest[0], Number(rest[1]), Number(rest[2]));
else if (end === "bring") await bring(Number(rest[0]), Number(rest[1]));
else say({ counts: await peer.held(rest[0]) });
