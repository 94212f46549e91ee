/**
 * A shop's or a site's paper on the screen: the page, what was refused at which field, and the
 * change to take back. Each change is recorded when it is made; there is nothing to save.
 */
import { createContext } from "svelte";
import { Refused, type Asks, type Desk } from "../bridge/desk";
import type { Conflict } from "../bridge/types/Conflict";
import type { PaperLine } from "../bridge/types/PaperLine";
import type { PaperProblem } from "../bridge/types/PaperProblem";
import type { Recorded } from "../bridge/types/Recorded";
import type { Refusal } from "../bridge/types/Refusal";
import type { Stamp } from "../bridge/types/Stamp";
import type { Standing } from "../bridge/types/Standing";
import { moment } from "../words/numbers";

/** What every paper's page has. */
export interface PaperPage {
	id: string;
	standing: Standing;
	conflicts: Conflict[];
	disputed: string[];
	problems: PaperProblem[];
	steps: PaperLine[];
}

export class Paper<Page extends PaperPage = PaperPage> {
	page = $state.raw<Page>();
	/** Why the page could not be had. */
	refusal = $state.raw<Refusal>();
	/** What was refused, by the place it was meant for. */
	errors = $state<Record<string, Refusal>>({});
	/** The change made here last, until another one is. */
	last = $state.raw<string>();
	readonly desk: Desk;
	#ask: () => Promise<Page>;

	constructor(desk: Desk, ask: () => Promise<Page>) {
		this.desk = desk;
		this.#ask = ask;
		void this.load();
	}

	async load() {
		try {
			this.page = await this.#ask();
			this.refusal = undefined;
		} catch (error) {
			this.refusal = refusalOf(error);
		}
	}

	/** Sets a field; true when it is recorded. */
	set(path: string[], value: unknown): Promise<boolean> {
		return this.do(key(path), (document) =>
			this.desk.call("set-field", { document, path, value }),
		);
	}

	/** Adds an entry to a list; true when it is recorded. */
	put(list: string, entry: Record<string, unknown>): Promise<boolean> {
		return this.do(`add ${list}`, (document) =>
			this.desk.call("put-entry", { document, list, entry }),
		);
	}

	retire(list: string, entry: string, retired: boolean): Promise<boolean> {
		return this.do(key([list, entry]), (document) =>
			this.desk.call("retire-entry", { document, list, entry, retired }),
		);
	}

	choose(path: string[], claim: string): Promise<boolean> {
		return this.do(key(path), (document) =>
			this.desk.call("choose-claim", { document, path, claim }),
		);
	}

	undo(change: string): Promise<boolean> {
		return this.do("undo", (document) => this.desk.call("undo-change", { document, change }));
	}

	calibrate(asked: Asks<"record-calibration">): Promise<boolean> {
		return this.do(`calibrate ${asked.item}`, () =>
			this.desk.call("record-calibration", asked),
		);
	}

	/** The values of a field two people wrote apart, if they did. */
	conflict(path: string[]): Conflict | undefined {
		return this.page?.conflicts.find((one) => key(one.path) === key(path));
	}

	/** How many disagreements stand under a path. */
	disputes(path: string[]): number {
		const under = (one: Conflict) => path.every((step, at) => one.path[at] === step);
		return this.page?.conflicts.filter(under).length ?? 0;
	}

	forget(place: string) {
		delete this.errors[place];
	}

	/** Records one change, then shows the paper as it is. A refusal stands where it was meant for. */
	async do(place: string, call: (document: string) => Promise<Recorded>): Promise<boolean> {
		if (!this.page) return false;
		try {
			this.last = (await call(this.page.id)).change;
			this.errors = {};
		} catch (error) {
			this.errors[place] = refusalOf(error);
			return false;
		}
		await this.load();
		return true;
	}
}

/** A path as one word, for looking up. */
export const key = (path: string[]) => path.join("/");

/** When somebody wrote something, as people write it. */
export const written = (stamp: Stamp) => moment(stamp.at);

function refusalOf(error: unknown): Refusal {
	if (error instanceof Refused) return error.refusal;
	throw error;
}

export const [getPaper, setPaper] = createContext<Paper>();
/** The shop's people by id, for whoever wrote what. */
export const [getPeople, setPeople] = createContext<() => Record<string, string | undefined>>();
