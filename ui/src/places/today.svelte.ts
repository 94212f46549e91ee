/**
 * The Today screen's state, and what the shell always shows of it: where the work stands. Asks for
 * the position each second and for the page when it has grown.
 */
import { Refused, type Desk } from "../bridge/desk";
import type { ExchangeReport } from "../bridge/types/ExchangeReport";
import type { Refusal } from "../bridge/types/Refusal";
import type { Today } from "../bridge/types/Today";

const POLL_MS = 1000;

export class TodayState {
	page = $state.raw<Today>();
	refusal = $state.raw<Refusal>();
	/** Set while the node does not answer. */
	lost = $state(false);
	address = $state("");
	/** Seconds since the merge under way began; none when none is. */
	merging = $state<number>();
	report = $state.raw<ExchangeReport>();
	mergeRefusal = $state.raw<Refusal>();

	#desk: Desk;

	constructor(desk: Desk) {
		this.#desk = desk;
		void this.load();
	}

	async load() {
		try {
			this.page = await this.#desk.call("today", {});
			this.refusal = undefined;
			this.lost = false;
		} catch (error) {
			this.refusal = refusalOf(error);
		}
	}

	async hold(person: string) {
		try {
			this.page = await this.#desk.call("hold-device", { person });
		} catch (error) {
			this.refusal = refusalOf(error);
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

	/** Looks each second whether something has come. Returns how to stop. */
	watch(): () => void {
		const clock = setInterval(() => void this.#look(), POLL_MS);
		return () => clearInterval(clock);
	}

	async #look() {
		try {
			const { position } = await this.#desk.call("position", {});
			if (this.lost || position !== this.page?.standing.position) await this.load();
		} catch {
			// Said on the screen until the node answers again; nothing else can be done about it here.
			this.lost = true;
		}
	}
}

function refusalOf(error: unknown): Refusal {
	if (error instanceof Refused) return error.refusal;
	throw error;
}
