/** How many of something, by a language's own rule: nought is one thing in French, many in English. */
import type { LanguageName } from "./speech.svelte";

const rules = { en: new Intl.PluralRules("en"), fr: new Intl.PluralRules("fr") };

/** Whether a count takes the form for one. */
export const isOne = (language: LanguageName, count: number) =>
	rules[language].select(count) === "one";

/** The number and the form of the word that goes with it. */
export const countedIn = (language: LanguageName) => (count: number, one: string, many: string) =>
	`${count} ${isOne(language, count) ? one : many}`;
