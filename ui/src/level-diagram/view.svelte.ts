/** Which path of a chain is shown, and whether drawn or as a table. */
import type { ChainState } from "../bridge/types/ChainState";
import type { LevelDiagram } from "../bridge/types/LevelDiagram";

export class DiagramView {
	asTable = $state(false);
	/** The title chosen by hand; it holds as long as the chain has a path of that title. */
	#chosen = $state<string>();
	#chain: () => ChainState;
	#keyed: () => boolean;

	/** `keyed`: whether the open check keys the transmitter; then the power's way is shown first. */
	constructor(chain: () => ChainState, keyed: () => boolean) {
		this.#chain = chain;
		this.#keyed = keyed;
	}

	get diagrams(): LevelDiagram[] {
		return this.#chain().diagrams;
	}

	readonly shown = $derived.by(() => {
		const diagrams = this.diagrams;
		const chosen = diagrams.find((diagram) => diagram.title === this.#chosen);
		if (chosen) return chosen;
		const stopped = this.#chain().stops.length > 0;
		const first = diagrams.find((diagram) => diagram.keyed === (this.#keyed() && stopped));
		return first ?? diagrams.at(0);
	});

	choose(diagram: LevelDiagram) {
		this.#chosen = diagram.title;
	}
}
