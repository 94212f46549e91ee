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
import type { LanguageName } from "../words/speech.svelte";

/** A pause in typing: short enough to feel at once, long enough not to ask for every digit. */
const PAUSE_MS = 120;

/** One topic on the screen. */
export class Topic {
	form = $state<Form>({});
	answer = $state.raw<Record<string, unknown>>();
	refusal = $state.raw<Refusal>();
	problems = $state.raw<Problem[]>([]);
	shape = $state.raw<Shape>({ kind: "group", fields: [] });
	listed = $state.raw() as BenchTopic;
	/** What its fields are called, and those of its answers. */
	told = $state.raw() as BenchTopics;
	#desk: Desk;
	#asked = 0;
	#pause: ReturnType<typeof setTimeout> | undefined;

	constructor(desk: Desk, listed: BenchTopic, told: BenchTopics) {
		this.#desk = desk;
		this.tell(listed, told);
		this.form = toForm(this.shape, listed.listed.example);
		void this.ask();
	}

	/** Calls its fields otherwise, as in another language; what stands in them stays. */
	tell(listed: BenchTopic, told: BenchTopics) {
		this.listed = listed;
		this.told = told;
		this.shape = questionOf(told.schema as Schema, listed.listed.name, told);
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
	#spoken: LanguageName | undefined;

	constructor(desk: Desk) {
		this.#desk = desk;
	}

	/** Asks for the topics in a language, and what was asked of them again. */
	async speak(language: LanguageName) {
		if (language === this.#spoken) return;
		this.#spoken = language;
		try {
			const listed = await this.#desk.call("bench-topics", {});
			if (language !== this.#spoken) return;
			this.listed = listed;
			this.refusal = undefined;
			for (const one of listed.topics) {
				const topic = this.#topics.get(one.listed.name);
				topic?.tell(one, listed);
				void topic?.ask();
			}
		} catch (error) {
			if (!(error instanceof Refused)) throw error;
			this.refusal = error.refusal;
			// It may be reached the next time the Bench is opened.
			this.#spoken = undefined;
		}
	}

	/** A topic by name, with what was typed into it before. */
	topic(name: string | undefined): Topic | undefined {
		if (name === undefined) return undefined;
		const known = this.#topics.get(name);
		const listed = this.listed?.topics.find((one) => one.listed.name === name);
		if (known || !listed) return known;
		const topic = new Topic(this.#desk, listed, this.listed as BenchTopics);
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
