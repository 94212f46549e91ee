/** The desk inside the app's window: one bridge command carries all of the desk's. */
import { invoke } from "@tauri-apps/api/core";
import type { Asks, Desk, Gives } from "./desk";
import { asRefused } from "./refused";
import type { Commands } from "./types/Commands";

/** Opens the window's own node, which is encrypted. Throws `Refused` where the passphrase is another. */
export async function unlock(passphrase: string): Promise<void> {
	try {
		await invoke("desk", { command: "unlock", body: { passphrase } });
	} catch (error) {
		throw asRefused(error);
	}
}

export class TauriDesk implements Desk {
	async call<C extends keyof Commands>(command: C, body: Asks<C>): Promise<Gives<C>> {
		try {
			return await invoke<Gives<C>>("desk", { command, body });
		} catch (error) {
			throw asRefused(error);
		}
	}
}
