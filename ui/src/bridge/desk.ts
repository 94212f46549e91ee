/**
 * The one door to the node: every screen asks its desk; the desk answers with a page or refuses.
 * Which driver stands behind it, the window's or a browser's, no screen can tell.
 */
import { createContext } from "svelte";
import { HttpDesk } from "./http";
import { isWindow, TauriDesk } from "./tauri";
import type { Commands } from "./types/Commands";

export { NoAnswer, Refused } from "./refused";

/** What a command asks, and what it gives. */
export type Asks<C extends keyof Commands> = Commands[C]["asks"];
export type Gives<C extends keyof Commands> = Commands[C]["gives"];

export interface Desk {
	/** Carries out a command. Throws `Refused` when it was not carried out, and nothing else. */
	call<C extends keyof Commands>(command: C, body: Asks<C>): Promise<Gives<C>>;
}

/** The desk of this window, or of the hub that served this page. */
export function connect(): Desk {
	return isWindow() ? new TauriDesk() : new HttpDesk();
}

export const [getDesk, setDesk] = createContext<Desk>();
