/** Putting a chain together: the node is asked at each change, and late answers are dropped. */
import { expect, test } from "vitest";
import type { Desk } from "../bridge/desk";
import type { ChainState } from "../bridge/types/ChainState";
import type { ConnectChain } from "../bridge/types/ConnectChain";
import type { SessionPage } from "../bridge/types/SessionPage";
import { ChainDraft } from "./draft.svelte";

const page = {
	id: "s",
	instruments: { set: { ports: { duplex: { name: "duplex" } } } },
	parts: {
		cable: { name: "cable 1 m", kind: "cable" },
		coupler: { name: "coupler 30 dB", kind: "coupler" },
		load: { name: "load 50 W", kind: "load" },
	},
	appraisal: { chains: [] },
} as unknown as SessionPage;

function draft() {
	const asked: { body: ConnectChain; answer: (chain: ChainState) => void }[] = [];
	const desk = {
		call: (_: string, body: ConnectChain) =>
			new Promise((answer) => asked.push({ body, answer: answer as (chain: ChainState) => void })),
	} as unknown as Desk;
	return {
		asked,
		chain: new ChainDraft(
			desk,
			() => page,
			"antenna-port",
			() => {},
		),
	};
}

const answer = (id: string) => ({ id, refused: null, stops: [] }) as unknown as ChainState;
const settled = () => new Promise((done) => setTimeout(done, 0));

test("parts are added, moved and removed in order, and asked about each time", () => {
	const { asked, chain } = draft();
	chain.add("between", "cable");
	chain.add("between", "coupler");
	expect(asked.at(-1)?.body.between).toEqual(["cable", "coupler"]);
	chain.move("between", 1, -1);
	expect(asked.at(-1)?.body.between).toEqual(["coupler", "cable"]);
	chain.move("between", 0, -1);
	expect(chain.between).toEqual(["coupler", "cable"]);
	chain.remove("between", 0);
	expect(asked.at(-1)?.body.between).toEqual(["cable"]);
});

test("a line goes on only from a coupler that stands last", () => {
	const { asked, chain } = draft();
	chain.add("between", "coupler");
	chain.add("line", "load");
	expect(asked.at(-1)?.body.line).toEqual(["load"]);
	chain.add("between", "cable");
	expect(chain.hasCoupler).toBe(false);
	expect(asked.at(-1)?.body.line).toEqual([]);
	chain.remove("between", 1);
	expect(asked.at(-1)?.body.line).toEqual(["load"]);
});

test("a late answer to an older draft is dropped", async () => {
	const { asked, chain } = draft();
	chain.add("between", "cable");
	asked[1].answer(answer("newer"));
	await settled();
	asked[0].answer(answer("older"));
	await settled();
	expect(chain.preview?.id).toBe("newer");
	expect(chain.ready).toBe(true);
});

test("a load is not offered between, nor a coupler on the line", () => {
	const { chain } = draft();
	expect(chain.offered("between").map(([id]) => id)).toEqual(["cable", "coupler"]);
	expect(chain.offered("line").map(([id]) => id)).toEqual(["cable", "load"]);
});
