/**
 * What whoever looks may do: each command takes a right, and the node says which ones are held. A
 * screen leaves out what would be refused; the refusing is the node's.
 */
import { createContext } from "svelte";
import { RIGHTS, type Commands } from "./types/Commands";
import type { Right } from "./types/Right";

export type May = (command: keyof Commands) => boolean;

/** Whether a command may be given by who holds these rights. Until they are known, all may. */
export const mayWith =
	(held: () => Right[] | undefined): May =>
	(command) =>
		held()?.includes(RIGHTS[command]) ?? true;

export const [getMay, setMay] = createContext<May>();
