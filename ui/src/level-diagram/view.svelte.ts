/** Which path of a chain is shown, and whether drawn or as a table. */
import type { ChainState } from "../bridge/types/ChainState";
import type { LevelDiagram } from "../bridge/types/LevelDiagram";

export class DiagramView {
	asTable = $state(false);
	/** The title chosen by hand; it holds as long as the chain has a path of that title. */
	#chosen = $state<string>();
	#chain: () => ChainState;
	#powerFirst: () => boolean;

	/** `powerFirst`: whether the transmitter's power is what is looked for, not a generator's signal. */
	constructor(chain: () => ChainState, powerFirst: () => boolean) {
		this.#chain = chain;
		this.#powerFirst = powerFirst;
	}

	get diagrams(): LevelDiagram[] {
		return this.#chain().diagrams;
	}

	readonly shown = $derived.by(() => {
		const diagrams = this.diagrams;
		const chosen = diagrams.find((diagram) => diagram.title === this.#chosen);
		if (chosen) return chosen;
		return diagrams.find((diagram) => diagram.keyed === this.#powerFirst()) ?? diagrams.at(0);
	});

	choose(diagram: LevelDiagram) {
		this.#chosen = diagram.title;
	}
}
