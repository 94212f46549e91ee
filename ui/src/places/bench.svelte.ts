/**
 * The Bench's state: the topics, what stands in each topic's fields, and the node's answer to it.
 * An answer belongs to what was asked last; a late one for older numbers is dropped.
 */
import { toForm, toQuestion, type Form, type Problem } from "../bench/form";
import { questionOf, type Schema, type Shape } from "../bench/schema";
import { Refused, type Desk } from "../bridge/desk";
import type { BenchAnswer } from "../bridge/types/BenchAnswer";
import type { BenchQuestion } from "../bridge/types/BenchQuestion";
import type { BenchTopic } from "../bridge/types/BenchTopic";
import type { BenchTopics } from "../bridge/types/BenchTopics";
import type { Refusal } from "../bridge/types/Refusal";

/** A pause in typing: short enough to feel at once, long enough not to ask for every digit. */
const PAUSE_MS = 120;

/** One topic on the screen. */
export class Topic {
	form = $state<Form>({});
	answer = $state.raw<Record<string, unknown>>();
	refusal = $state.raw<Refusal>();
	problems = $state.raw<Problem[]>([]);
	readonly shape: Shape;
	readonly listed: BenchTopic;
	#desk: Desk;
	#asked = 0;
	#pause: ReturnType<typeof setTimeout> | undefined;

	constructor(desk: Desk, listed: BenchTopic, schema: Schema) {
		this.#desk = desk;
		this.listed = listed;
		this.shape = questionOf(schema, listed.listed.name);
		this.form = toForm(this.shape, listed.listed.example);
		void this.ask();
	}

	/** To be called when a field has changed. */
	changed() {
		clearTimeout(this.#pause);
		this.#pause = setTimeout(() => void this.ask(), PAUSE_MS);
	}

	/** Puts the first question back. */
	reset() {
		this.form = toForm(this.shape, this.listed.listed.example);
		void this.ask();
	}

	/** Asks; with what is heard in place of a field's own text, where something is. */
	async ask(heard: Record<string, string> = {}) {
		const number = ++this.#asked;
		const { question, problems } = toQuestion(this.shape, this.form);
		this.problems = problems;
		if (problems.length > 0) return;
		const asked = { topic: this.listed.listed.name, with: { ...(question as object), ...heard } } as BenchQuestion;
		try {
			const answer: BenchAnswer = await this.#desk.call("bench", asked);
			if (number !== this.#asked) return;
			this.answer = answer.found as Record<string, unknown>;
			this.refusal = undefined;
		} catch (error) {
			if (!(error instanceof Refused)) throw error;
			if (number === this.#asked) this.refusal = error.refusal;
		}
	}
}

export class BenchState {
	listed = $state.raw<BenchTopics>();
	refusal = $state.raw<Refusal>();
	#desk: Desk;
	#topics = new Map<string, Topic>();

	constructor(desk: Desk) {
		this.#desk = desk;
		void this.load();
	}

	async load() {
		try {
			this.listed = await this.#desk.call("bench-topics", {});
			this.refusal = undefined;
		} catch (error) {
			if (!(error instanceof Refused)) throw error;
			this.refusal = error.refusal;
		}
	}

	/** A topic by name, with what was typed into it before. */
	topic(name: string | undefined): Topic | undefined {
		if (name === undefined) return undefined;
		const known = this.#topics.get(name);
		const listed = this.listed?.topics.find((one) => one.listed.name === name);
		if (known || !listed) return known;
		const topic = new Topic(this.#desk, listed, this.listed?.schema as Schema);
		this.#topics.set(name, topic);
		return topic;
	}

	/** The topics by group, in the order they are listed. */
	get groups(): { group: BenchTopic["listed"]["group"]; topics: BenchTopic[] }[] {
		const groups = new Map<BenchTopic["listed"]["group"], BenchTopic[]>();
		for (const topic of this.listed?.topics ?? []) {
			const list = groups.get(topic.listed.group) ?? [];
			groups.set(topic.listed.group, [...list, topic]);
		}
		return [...groups].map(([group, topics]) => ({ group, topics }));
	}
}
