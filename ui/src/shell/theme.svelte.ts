/** Which theme is on: the person's choice, kept on this device; else what the system prefers. */
export type ThemeName = "sun" | "dusk";
export const themes: ThemeName[] = ["sun", "dusk"];

const KEPT = "guyline-theme";

export class Theme {
	name = $state<ThemeName>("sun");
	#paper = matchMedia("print");

	constructor() {
		const kept = localStorage.getItem(KEPT);
		const system = matchMedia("(prefers-color-scheme: dark)").matches ? "dusk" : "sun";
		this.#put(kept === "sun" || kept === "dusk" ? kept : system);
		this.#paper.addEventListener("change", () => this.#show());
	}

	/** The one it would change to. */
	get other(): ThemeName {
		return this.name === "sun" ? "dusk" : "sun";
	}

	change() {
		this.choose(this.other);
	}

	choose(name: ThemeName) {
		this.#put(name);
		localStorage.setItem(KEPT, name);
	}

	#put(name: ThemeName) {
		this.name = name;
		this.#show();
	}

	/** Paper is white: the sun theme prints, whichever is on. */
	#show() {
		document.documentElement.dataset["theme"] = this.#paper.matches ? "sun" : this.name;
	}
}
