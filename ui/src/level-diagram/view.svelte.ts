/** Which path of a chain is shown, and whether drawn or as a table. */
import type { ChainState } from "../bridge/types/ChainState";
import type { LevelDiagram } from "../bridge/types/LevelDiagram";
import { stopsAt } from "./geometry";

export class DiagramView {
	asTable = $state(false);
	/** The title chosen by hand; it holds as long as the chain has a path of that title. */
	#chosen = $state<string>();
	#chain: () => ChainState;
	#powerFirst: () => boolean;

	/** `powerFirst`: whether the transmitter's power is looked for, not a generator's signal. */
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
		const { stops } = this.#chain();
		const bites = (diagram: LevelDiagram) =>
			diagram.nodes.some((_, index) => stopsAt(diagram, index, stops).length > 0);
		const powerFirst = this.#powerFirst();
		return (
			(powerFirst ? diagrams.find(bites) : undefined) ??
			diagrams.find((diagram) => diagram.keyed === powerFirst) ??
			diagrams.at(0)
		);
	});

	choose(diagram: LevelDiagram) {
		this.#chosen = diagram.title;
	}
}
