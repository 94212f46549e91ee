/** How a command fails: a refusal from the desk, or no answer at all. A screen shows both alike. */
import { words } from "../words/en";
import type { Refusal } from "./types/Refusal";

/** A command that was not carried out: what, where, and the next action. */
export class Refused extends Error {
	readonly refusal: Refusal;
	constructor(refusal: Refusal) {
		super(refusal.what);
		this.name = "Refused";
		this.refusal = refusal;
	}
}

/** The node behind this screen gave no answer that can be read: whether it acted is not known. */
export class NoAnswer extends Refused {
	constructor(cause: unknown) {
		super({ code: "no-answer", what: words.noAnswer.what, at: null, help: words.noAnswer.help });
		this.name = "NoAnswer";
		this.cause = cause;
	}
}

/** Turns what a driver caught or was sent into the refusal it is. */
export function asRefused(value: unknown): Refused {
	if (value instanceof Refused) return value;
	return isRefusal(value) ? new Refused(value) : new NoAnswer(value);
}

function isRefusal(value: unknown): value is Refusal {
	if (typeof value !== "object" || value === null) return false;
	const { code, what, help } = value as Record<string, unknown>;
	return [code, what, help].every((part) => typeof part === "string");
}
