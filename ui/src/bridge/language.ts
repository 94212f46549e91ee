/** The language the desk is asked to answer in: the one the screens are in. */
import { speech, type LanguageName } from "../words/speech.svelte";
import type { Language } from "./types/Language";

const names: Record<LanguageName, Language> = { en: "english", fr: "french" };

export const screenLanguage = (): Language => names[speech.name];
