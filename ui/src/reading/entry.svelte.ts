/** One check's entry field. What the number means is asked of the node, never worked out here. */
import { Refused, type Desk } from "../bridge/desk";
import type { CheckState } from "../bridge/types/CheckState";
import type { EnterReading } from "../bridge/types/EnterReading";
import type { JudgedEntry } from "../bridge/types/JudgedEntry";
import type { LiveReading } from "../bridge/types/LiveReading";
import type { Phase } from "../bridge/types/Phase";
import type { ReadingState } from "../bridge/types/ReadingState";
import type { Refusal } from "../bridge/types/Refusal";
import type { SessionPage } from "../bridge/types/SessionPage";
import type { Unit } from "../bridge/types/Unit";
import { say, typed } from "../words/session";

/** So long a hand rests between two numbers, and hardly between two keys of one. */
const REST_MS = 150;

export class ReadingEntry {
	#text = $state("");
	#unit = $state<Unit>("dBm");
	#phase = $state<Phase>("as-found");
	#chosen = $state<string>();
	#replaces = $state.raw<ReadingState>();
	/** What the instrument answered last. It is meant only while the field says the very same. */
	#live?: LiveReading;
	#judged = $state.raw<JudgedEntry>();
	#drawn = $state.raw<JudgedEntry>();
	#rest: ReturnType<typeof setTimeout> | undefined;
	refusal = $state.raw<Refusal>();
	recording = $state(false);
	/** What was recorded last, for reading out. */
	recorded = $state("");
	readonly blank = $derived(this.#text.trim() === "");

	#turn = 0;
	#desk: Desk;
	#session: string;
	#check: () => CheckState;
	#take: (page: SessionPage) => void;

	/** `take` is given the page that answers a recording. */
	constructor(
		desk: Desk,
		session: string,
		check: () => CheckState,
		take: (page: SessionPage) => void,
	) {
		this.#desk = desk;
		this.#session = session;
		this.#check = check;
		this.#take = take;
		this.#unit = check().units[0];
	}

	/** What the entry would be judged as. */
	get judged() {
		return this.#judged;
	}
	/**
	 * The same for a drawing, once the hand rests: one to scale is drawn anew with every number on
	 * the way to the one that is meant, and the verdict would wait for it.
	 */
	get drawn() {
		return this.#drawn;
	}
	#show(judged: JudgedEntry | undefined) {
		this.#judged = judged;
		clearTimeout(this.#rest);
		if (judged === undefined) this.#drawn = undefined;
		else this.#rest = setTimeout(() => (this.#drawn = judged), REST_MS);
	}

	get text() {
		return this.#text;
	}
	set text(text: string) {
		this.#text = text;
		this.recorded = "";
		void this.judge();
	}
	get unit() {
		return this.#unit;
	}
	set unit(unit: Unit) {
		this.#unit = unit;
		void this.judge();
	}
	get phase() {
		return this.#phase;
	}
	set phase(phase: Phase) {
		this.#phase = phase;
		void this.judge();
	}
	/** The chain the reading goes through: chosen by hand, or the newest that fits. */
	get chain(): string | undefined {
		return this.#chosen ?? this.#check().chain ?? undefined;
	}
	get replaces() {
		return this.#replaces;
	}
	get ready() {
		return (
			!this.blank && this.judged !== undefined && this.refusal === undefined && !this.recording
		);
	}

	choose(chain: string) {
		this.#chosen = chain;
		void this.judge();
	}

	/** Starts a correction: everything as it was, to be changed where it is wrong. */
	correct(state: ReadingState) {
		this.#replaces = state;
		this.#chosen = state.reading.chain;
		this.#unit = state.reading.unit;
		this.#phase = state.reading.phase;
		this.text = state.reading.typed;
	}

	leave() {
		this.#replaces = undefined;
		this.text = "";
	}

	/** Asks the chain's instrument, and puts its answer into the field for a person to look at. */
	async ask(): Promise<LiveReading | undefined> {
		if (this.chain === undefined) return undefined;
		const check = this.#check().check.id;
		const asked = { session: this.#session, check, chain: this.chain };
		const heard = await this.#desk.call("ask-instrument", asked);
		this.#live = heard;
		this.#unit = heard.unit;
		this.text = heard.typed;
		return heard;
	}

	/** Asks what the entry would be judged as. A late answer to an older entry is dropped. */
	async judge() {
		const turn = ++this.#turn;
		const body = this.#body();
		if (body === undefined) {
			this.#show(undefined);
			this.refusal = undefined;
			return;
		}
		try {
			const judged = await this.#desk.call("judge-entry", body);
			if (turn !== this.#turn) return;
			this.#show(judged);
			this.refusal = judged.refusal ?? undefined;
		} catch (error) {
			if (!(error instanceof Refused)) throw error;
			if (turn !== this.#turn) return;
			this.#show(undefined);
			this.refusal = error.refusal;
		}
	}

	async record() {
		const body = this.#body();
		if (body === undefined || this.recording) return;
		this.recording = true;
		try {
			const page = await this.#desk.call("record-reading", body);
			this.#take(page);
			this.leave();
			this.recorded = say.recorded(typed(body.typed, body.unit));
		} catch (error) {
			if (!(error instanceof Refused)) throw error;
			this.refusal = error.refusal;
		} finally {
			this.recording = false;
		}
	}

	/** A number that was changed since is a typed one. */
	#said(): { live?: string } {
		const live = this.#live;
		const same = live?.typed === this.#text.trim() && live.unit === this.#unit;
		return live !== undefined && same ? { live: live.live } : {};
	}

	#body(): EnterReading | undefined {
		if (this.blank || this.chain === undefined) return undefined;
		return {
			session: this.#session,
			check: this.#check().check.id,
			chain: this.chain,
			typed: this.#text.trim(),
			unit: this.#unit,
			phase: this.#phase,
			replaces: this.#replaces?.id ?? null,
			...this.#said(),
		};
	}
}
