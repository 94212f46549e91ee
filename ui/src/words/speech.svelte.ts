/**
 * Which language the screens speak. English stands in the files of this folder and is always there;
 * another language is a catalogue of its own that is fetched when it is asked for.
 *
 * `spoken` gives a screen words that follow the language: they are read when they are shown, never
 * when a file is loaded. The desk is asked in the same language (`bridge/language.ts`).
 */
import type { Words } from "./catalogue";

export type LanguageName = "en" | "fr";
export const languages: LanguageName[] = ["en", "fr"];

const KEPT = "guyline-language";

class Speech {
	name = $state<LanguageName>("en");
	/** Set where the chosen language could not be fetched: the one before is spoken on. */
	failed = $state(false);
	/** The words of the language; none where it is English. */
	catalogue = $state.raw<Words>();
	/** Whose numbers and dates: the person's own kind of the language, as in fr-CA. */
	readonly locale = $derived(wanted().find((tag) => languageOf(tag) === this.name) ?? this.name);

	/** The language the person chose on this device; else the first one known that they prefer. */
	begin(): Promise<void> {
		const kept = languages.find((name) => name === localStorage.getItem(KEPT));
		const known = wanted().map(languageOf);
		return this.#speak(kept ?? known.find((name) => name !== undefined) ?? "en");
	}

	async choose(name: LanguageName): Promise<void> {
		await this.#speak(name);
		if (this.name === name) localStorage.setItem(KEPT, name);
	}

	async #speak(name: LanguageName) {
		try {
			this.catalogue = name === "fr" ? (await import("./fr")).french : undefined;
			this.name = name;
			this.failed = false;
		} catch (error) {
			console.error("the language could not be fetched", error);
			this.failed = true;
		}
		document.documentElement.lang = this.name;
	}
}

/** What the system says the person reads, best first. */
const wanted = (): readonly string[] => globalThis.navigator?.languages ?? [];
const languageOf = (tag: string) =>
	languages.find((name) => name === tag.toLowerCase().split("-")[0]);

export const speech = new Speech();

/** These English words, or the same words of the language that is spoken while they are read. */
export function spoken<Room extends keyof Words>(room: Room, english: Words[Room]): Words[Room] {
	return new Proxy(english, {
		get: (own, word) => Reflect.get(speech.catalogue?.[room] ?? own, word) as unknown,
	});
}
