/** A chain while it is put together. The node says, at each change, what it would do. */
import { Refused, type Desk } from "../bridge/desk";
import type { ChainState } from "../bridge/types/ChainState";
import type { ConnectChain } from "../bridge/types/ConnectChain";
import type { Part } from "../bridge/types/Part";
import type { Plane } from "../bridge/types/Plane";
import type { Refusal } from "../bridge/types/Refusal";
import type { SessionPage } from "../bridge/types/SessionPage";
import { planeWord } from "../words/session";

/** The two rows of parts: instrument to plane, and from a coupler on. */
export type Row = "between" | "line";

export class ChainDraft {
	plane = $state<Plane>("antenna-port");
	instrument = $state("");
	port = $state("");
	between = $state<string[]>([]);
	line = $state<string[]>([]);
	#named = $state<string>();
	preview = $state.raw<ChainState>();
	refusal = $state.raw<Refusal>();
	connecting = $state(false);

	#turn = 0;
	#desk: Desk;
	#page: () => SessionPage;
	#take: (page: SessionPage) => void;

	/** Starts from what the check wants and the chain that was connected last, if there is one. */
	constructor(
		desk: Desk,
		page: () => SessionPage,
		plane: Plane,
		take: (page: SessionPage) => void,
	) {
		this.#desk = desk;
		this.#page = page;
		this.#take = take;
		this.plane = plane;
		const last = page().appraisal.chains.at(-1)?.chain;
		const instruments = Object.entries(page().instruments);
		const inUse = instruments.filter(([, one]) => !one?.retired).map(([id]) => id);
		this.instrument = last?.instrument ?? inUse[0] ?? "";
		this.port = last?.port ?? this.ports[0]?.[0] ?? "";
		void this.look();
	}

	get ports() {
		return Object.entries(this.#page().instruments[this.instrument]?.ports ?? {});
	}
	get parts() {
		return this.#page().parts;
	}
	/** A coupler stands last, on the plane; then its through line goes on to somewhere. */
	get hasCoupler() {
		const last = this.between.at(-1);
		return last !== undefined && this.parts[last]?.kind === "coupler";
	}
	get name() {
		return this.#named ?? this.suggested;
	}
	set name(name: string) {
		this.#named = name;
		void this.look();
	}
	get suggested() {
		const through = [...this.between].reverse().map((id) => this.parts[id]?.name ?? id);
		return [planeWord[this.plane], ...through].join(", ").slice(0, 80);
	}
	get ready() {
		const refused = this.preview === undefined || this.preview.refused !== null;
		return !refused && this.refusal === undefined && !this.connecting && this.name.trim() !== "";
	}

	/** What may be added to a row: a load or the antenna ends a line, a coupler stands on the plane. */
	offered(row: Row): [string, Part][] {
		const wrong = row === "between" ? ["load", "antenna"] : ["coupler"];
		return Object.entries(this.parts).filter(
			([, part]) => !part.retired && !wrong.includes(part.kind),
		);
	}

	setPlane(plane: Plane) {
		this.plane = plane;
		void this.look();
	}
	setInstrument(instrument: string) {
		this.instrument = instrument;
		this.port = this.ports[0]?.[0] ?? "";
		void this.look();
	}
	setPort(port: string) {
		this.port = port;
		void this.look();
	}
	add(row: Row, part: string) {
		this[row] = [...this[row], part];
		void this.look();
	}
	remove(row: Row, index: number) {
		this[row] = this[row].filter((_, at) => at !== index);
		void this.look();
	}
	/** Swaps a part with its neighbour: −1 towards the instrument, 1 away from it. */
	move(row: Row, index: number, step: -1 | 1) {
		const to = index + step;
		if (to < 0 || to >= this[row].length) return;
		const moved = [...this[row]];
		[moved[index], moved[to]] = [moved[to], moved[index]];
		this[row] = moved;
		void this.look();
	}

	/** Asks what this chain would do. A late answer to an older draft is dropped. */
	async look() {
		const turn = ++this.#turn;
		try {
			const preview = await this.#desk.call("preview-chain", this.#body());
			if (turn !== this.#turn) return;
			this.preview = preview;
			this.refusal = undefined;
		} catch (error) {
			if (!(error instanceof Refused)) throw error;
			if (turn !== this.#turn) return;
			this.preview = undefined;
			this.refusal = error.refusal;
		}
	}

	/** Connects it. True when it was. */
	async connect(): Promise<boolean> {
		this.connecting = true;
		try {
			this.#take(await this.#desk.call("connect-chain", this.#body()));
			return true;
		} catch (error) {
			if (!(error instanceof Refused)) throw error;
			this.refusal = error.refusal;
			return false;
		} finally {
			this.connecting = false;
		}
	}

	#body(): ConnectChain {
		return {
			session: this.#page().id,
			name: this.name.trim(),
			plane: this.plane,
			instrument: this.instrument,
			port: this.port,
			between: this.between,
			// What stands behind a coupler is kept in the form when the coupler is taken away for a moment.
			line: this.hasCoupler ? this.line : [],
		};
	}
}
