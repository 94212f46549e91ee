/**
 * The Today screen's state, and what the shell always shows of it: where the work stands. Asks for
 * the position twice a second and for the page when it has grown.
 */
import { Refused, type Asks, type Desk } from "../bridge/desk";
import type { ExchangeReport } from "../bridge/types/ExchangeReport";
import type { Refusal } from "../bridge/types/Refusal";
import type { Today } from "../bridge/types/Today";
import { speech } from "../words/speech.svelte";

/** A browser that is not signed in at its hub, or a device whose store is encrypted. */
type Door = "sign-in" | "locked";

const POLL_MS = 500;
/** Others may fetch from here while nothing grows here: so often the page is asked for anyway. */
const RELOAD_MS = 15_000;

export class TodayState {
	page = $state.raw<Today>();
	refusal = $state.raw<Refusal>();
	/** Set while the node does not answer. */
	lost = $state(false);
	/** Which door stands between the person and the screens: nothing is asked until it is open. */
	door = $state<Door>();
	address = $state("");
	/** Seconds since the merge under way began; none when none is. */
	merging = $state<number>();
	report = $state.raw<ExchangeReport>();
	mergeRefusal = $state.raw<Refusal>();

	/** This device's clock, as of the last look: "3 min ago" must not stand still. */
	now_ms = $state(Date.now());

	#desk: Desk;
	#came: (findings: number) => void;
	#loaded_ms = 0;
	#spoken = speech.name;

	/**
	 * `came` hears that something has come, and how many findings more it made. `first` is the page,
	 * where it is here already.
	 */
	constructor(desk: Desk, came: (findings: number) => void = () => {}, first?: Today) {
		this.#desk = desk;
		this.#came = came;
		if (first === undefined) void this.load();
		else this.#show(first);
	}

	#show(page: Today) {
		this.page = page;
		this.#loaded_ms = Date.now();
		this.refusal = undefined;
		this.lost = false;
	}

	async load() {
		try {
			this.#spoken = speech.name;
			this.#show(await this.#desk.call("today", {}));
		} catch (error) {
			this.refusal = refusalOf(error);
			const door = doorOf(this.refusal);
			if (door !== undefined) this.shut(door);
		}
	}

	/** Whether what was worked on waits behind the door, as it was left. */
	get lockedAgain() {
		return this.door === "locked" && this.page !== undefined;
	}

	/** Nobody is in any longer, or not yet: what was shown is not shown on. */
	shut(door: Door = "sign-in") {
		this.door = door;
		if (door === "sign-in") this.page = undefined;
	}

	/** It is in. */
	async enter() {
		this.door = undefined;
		await this.load();
	}

	async hold(person: string) {
		try {
			this.page = await this.#desk.call("hold-device", { person });
		} catch (error) {
			this.refusal = refusalOf(error);
		}
	}

	/** Begins with a shop on this device: one's own, or the invented one. */
	async begin<C extends "start-shop" | "start-demo">(command: C, body: Asks<C>) {
		try {
			this.page = (await this.#desk.call(command, body)) as Today;
			this.refusal = undefined;
		} catch (error) {
			this.refusal = refusalOf(error);
		}
	}

	/** Plans a visit. Gives its id; none where it was refused. */
	async plan(body: Asks<"plan-visit">): Promise<string | undefined> {
		try {
			const { document } = await this.#desk.call("plan-visit", body);
			this.refusal = undefined;
			return document;
		} catch (error) {
			this.refusal = refusalOf(error);
			return undefined;
		}
	}

	async merge(address: string) {
		if (this.merging !== undefined) return;
		this.report = undefined;
		this.mergeRefusal = undefined;
		this.merging = 0;
		const clock = setInterval(() => (this.merging = (this.merging ?? 0) + 1), 1000);
		try {
			this.report = await this.#desk.call("exchange", { address: address.trim() });
		} catch (error) {
			this.mergeRefusal = refusalOf(error);
		} finally {
			clearInterval(clock);
			this.merging = undefined;
		}
		await this.load();
	}

	/** Looks twice a second whether something has come. Returns how to stop. */
	watch(): () => void {
		const clock = setInterval(() => void this.look(), POLL_MS);
		return () => clearInterval(clock);
	}

	async look() {
		if (this.door !== undefined) return;
		this.now_ms = Date.now();
		try {
			const { position } = await this.#desk.call("position", {});
			const grown = position !== this.page?.standing.position;
			const old = this.now_ms - this.#loaded_ms >= RELOAD_MS;
			// What was said in another language is asked for anew.
			const otherwise = speech.name !== this.#spoken;
			const before = this.page;
			if (this.lost || grown || old || otherwise) await this.load();
			if (before === undefined || this.page === undefined) return;
			if (this.page.standing.position > before.standing.position) {
				this.#came(findingsIn(this.page) - findingsIn(before));
			}
		} catch (error) {
			if (!(error instanceof Refused)) throw error;
			const door = doorOf(error.refusal);
			if (door !== undefined) return this.shut(door);
			// Said on the screen until the node answers again; nothing else can be done about it here.
			this.lost = true;
		}
	}
}

const doorOf = ({ code }: Refusal): Door | undefined =>
	code === "sign-in" || code === "locked" ? code : undefined;

const findingsIn = (page: Today) => page.sessions.reduce((sum, { findings }) => sum + findings, 0);

function refusalOf(error: unknown): Refusal {
	if (error instanceof Refused) return error.refusal;
	throw error;
}
