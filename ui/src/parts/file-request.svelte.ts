/**
 * A file that is asked for: made by the node, kept where the person says, or refused. One is under
 * way at a time; only what became of the latest is told.
 */
import { keepFile } from "../bridge/files";
import type { Kept } from "../bridge/kept";
import { Refused } from "../bridge/refused";
import type { Refusal } from "../bridge/types/Refusal";
import type { ReportFile } from "../bridge/types/ReportFile";

export class FileRequest {
	busy = $state(false);
	/** What became of it; none where it was refused, or nothing was asked for yet. */
	kept = $state.raw<Kept>();
	refusal = $state.raw<Refusal>();
	#keep: (file: ReportFile) => Promise<Kept>;

	/** `keep` stands in for the platform's own way in tests. */
	constructor(keep = keepFile) {
		this.#keep = keep;
	}

	async ask(make: () => Promise<ReportFile>): Promise<void> {
		this.busy = true;
		try {
			this.kept = await this.#keep(await make());
			this.refusal = undefined;
		} catch (error) {
			if (!(error instanceof Refused)) throw error;
			this.kept = undefined;
			this.refusal = error.refusal;
		} finally {
			this.busy = false;
		}
	}
}
