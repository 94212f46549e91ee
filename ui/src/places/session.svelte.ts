/**
 * The Session screen's state: the page the node gives, which part of it is open, and what is being
 * typed. A newer page replaces the old one and never what is being typed.
 */
import { Refused, type Desk } from "../bridge/desk";
import type { ChainState } from "../bridge/types/ChainState";
import type { CheckState } from "../bridge/types/CheckState";
import type { Commands } from "../bridge/types/Commands";
import type { Refusal } from "../bridge/types/Refusal";
import type { SessionPage } from "../bridge/types/SessionPage";
import { ChainDraft } from "../chain/draft.svelte";
import type { Mark } from "../level-diagram/geometry";
import { ReadingEntry } from "../reading/entry.svelte";
import { nextCheck } from "../reading/rows";
import { dbm, phaseWord, say } from "../words/session";
import { speech } from "../words/speech.svelte";

export type View =
	| { kind: "check"; id: string }
	| { kind: "connect"; draft: ChainDraft; check: string }
	| { kind: "findings" }
	| { kind: "remarks" }
	| { kind: "attachments" }
	| { kind: "close" }
	| { kind: "history" };

/** The commands that change a session and answer with its page; not the one that shows an old one. */
type Changing = Exclude<
	{ [C in keyof Commands]: Commands[C]["gives"] extends SessionPage ? C : never }[keyof Commands],
	"session-after"
>;

export class SessionState {
	page = $state.raw<SessionPage>();
	/** What was just done and is worth saying once. */
	said = $state<string>();
	refusal = $state.raw<Refusal>();
	/** What was opened by hand; none: the list on a narrow screen, the next check on a wide one. */
	view = $state.raw<View>();
	/** Set while the node does not answer. */
	lost = $state(false);

	#desk: Desk;
	#session: string;
	#entries = new Map<string, ReadingEntry>();
	#asking = false;
	/** The language the page was last asked for in. */
	#spoken = speech.name;

	constructor(desk: Desk, session: string) {
		this.#desk = desk;
		this.#session = session;
		void this.change("session", { session });
	}

	readonly next = $derived(this.page && nextCheck(this.page.appraisal.checks)?.check.id);
	/** What is shown beside the list. */
	readonly shown = $derived.by((): View | undefined => {
		if (this.view) return this.view;
		const id = this.next ?? this.page?.appraisal.checks[0]?.check.id;
		return id === undefined ? undefined : { kind: "check", id };
	});
	/** Set where nothing may be entered, whoever looks. */
	readonly readsOnly = $derived(this.page?.standing.may.includes("record") === false);
	/** Who enters; nobody where nothing may be. */
	readonly holder = $derived.by(() => {
		const standing = this.page?.standing;
		if (!standing?.person || this.readsOnly) return undefined;
		return { id: standing.person, name: standing.person_name ?? standing.person };
	});
	readonly onSite = $derived(
		this.holder !== undefined && this.page?.crew[this.holder.id] !== undefined,
	);

	check(id: string): CheckState | undefined {
		return this.page?.appraisal.checks.find((state) => state.check.id === id);
	}
	chain(id: string | undefined): ChainState | undefined {
		return this.page?.appraisal.chains.find((state) => state.id === id);
	}
	name(person: string) {
		return this.page?.people[person] ?? person;
	}

	/** The entry of a check: one each, so that going to another check loses nothing. */
	entry(id: string): ReadingEntry | undefined {
		const known = this.#entries.get(id);
		const state = this.check(id);
		if (known || state === undefined) return known;
		// A check of the plan stays in it while the session is open; the first state is the fallback.
		const entry = new ReadingEntry(
			this.#desk,
			this.#session,
			() => this.check(id) ?? state,
			(page) => this.take(page),
		);
		this.#entries.set(id, entry);
		return entry;
	}

	/** The readings of a check, and what is being typed, as marks on its diagram. */
	marks(state: CheckState, entry: ReadingEntry): { keyed: boolean; list: Mark[] } {
		const { reads } = state.check;
		if (reads !== "level" && reads !== "power") return { keyed: false, list: [] };
		const list: Mark[] = [];
		const add = (
			id: string,
			said: CheckState["readings"][number]["verdict"],
			label: string,
			standing: boolean,
		) => {
			if (said.at_plane === null) return;
			list.push({
				id,
				level_dbm: said.at_plane,
				expanded_db: said.at_plane_expanded,
				standing,
				label: `${dbm(said.at_plane)}, ${label}`,
			});
		};
		for (const { id, reading, verdict, standing } of state.readings) {
			add(id, verdict, `${this.name(reading.stamp.by)}, ${phaseWord[reading.phase]}`, standing);
		}
		if (entry.drawn) add("typed", entry.drawn.verdict, say.asTyped, true);
		return { keyed: reads === "power", list };
	}

	open(view: View | undefined) {
		this.view = view;
	}
	openCheck(id: string) {
		this.view = { kind: "check", id };
	}
	/** Starts a chain for a check, at the plane where the check is taken. */
	connect(check: string) {
		const { page } = this;
		const plane = this.check(check)?.check.plane;
		if (page === undefined || plane === undefined) return;
		const draft = new ChainDraft(
			this.#desk,
			() => this.page ?? page,
			plane,
			(page) => this.take(page),
		);
		this.view = { kind: "connect", draft, check };
	}

	/** Asks for a change and shows the page that answers it. True when it was made. */
	async change<C extends Changing>(command: C, body: Commands[C]["asks"]): Promise<boolean> {
		const spoken = speech.name;
		try {
			this.take((await this.#desk.call(command, body)) as SessionPage);
			this.#spoken = spoken;
			return true;
		} catch (error) {
			if (!(error instanceof Refused)) throw error;
			this.refusal = error.refusal;
			return false;
		}
	}

	/** Takes back what this person last entered here, and says what it was. */
	async undo() {
		const what = this.page?.undoable?.words;
		if (what && (await this.change("undo", { session: this.#session }))) this.said = what;
	}

	/** A page older than the one shown came late and is dropped. */
	take(page: SessionPage) {
		if (this.page && page.standing.position < this.page.standing.position) return;
		this.page = page;
		this.refusal = undefined;
		this.lost = false;
	}

	/** Looks whether anything has come in, or another language was chosen; then loads anew. */
	async look() {
		if (this.#asking) return;
		this.#asking = true;
		try {
			const { position } = await this.#desk.call("position", {});
			this.lost = false;
			const otherwise = speech.name !== this.#spoken;
			if (otherwise || this.page === undefined || position > this.page.standing.position) {
				await this.change("session", { session: this.#session });
			}
		} catch (error) {
			if (!(error instanceof Refused)) throw error;
			this.lost = true;
		} finally {
			this.#asking = false;
		}
	}

	/** Looks twice a second until the returned function is called. */
	watch(): () => void {
		const timer = setInterval(() => void this.look(), 500);
		return () => clearInterval(timer);
	}
}
