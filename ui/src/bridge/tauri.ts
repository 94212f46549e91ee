/** The desk inside the app's window: one bridge command carries all of the desk's. */
import { invoke } from "@tauri-apps/api/core";
import type { Asks, Desk, Gives } from "./desk";
import { screenLanguage } from "./language";
import { asRefused } from "./refused";
import type { Commands } from "./types/Commands";
import type { ReportFile } from "./types/ReportFile";

/** Whether this page is shown by the app's window and not by a browser. */
export const isWindow = () => "__TAURI_INTERNALS__" in window;

/** Keeps a file where the person says in the platform's dialog. Gives where; none where they did not. */
export async function keepByDialog(title: string, { name, base64 }: ReportFile) {
	return await inWindow<{ at: string | null }>("keep-file", { title, name, base64 });
}

/** Has the platform give notice. Gives whether it did: not to who looks, nor twice in a minute. */
export async function giveNotice(text: string) {
	return await inWindow<{ given: boolean }>("give-notice", { text });
}

/** What the window does by itself comes by the same one command as the desk's. */
async function inWindow<G>(command: string, body: unknown): Promise<G> {
	try {
		return await invoke<G>("desk", { command, body, language: screenLanguage() });
	} catch (error) {
		throw asRefused(error);
	}
}

/** Opens the window's own node, which is encrypted. Throws `Refused` where the passphrase is another. */
export async function unlock(passphrase: string): Promise<void> {
	await inWindow("unlock", { passphrase });
}

/** Why a keyring that was to open this device did not. */
export type KeyringFault = "absent" | "locked" | "lost" | "unfit" | "failed";
export const keyringFault = () => inWindow<{ fault: KeyringFault | null }>("keyring-fault", {});
/** Has the platform's keyring open this device at the start, or no longer. Gives why it may still have an item. */
export const useKeyring = (on: boolean, passphrase: string) =>
	inWindow<{ left: KeyringFault | null }>("keyring", { on, passphrase });

/** Whether this device has a passphrase, and after how many seconds without touch it is asked for again. */
export interface Locking {
	encrypted: boolean;
	after_s: number | null;
	/** Whether the platform's keyring opens it at the start. */
	keyring: boolean;
}
export const locking = () => inWindow<Locking>("locking", {});
export const lockAfter = (after_s: number | null) => inWindow<unknown>("lock-after", { after_s });

/** So often at most the window is told that somebody is there. */
const TOLD_MS = 1_000;

/** Tells the window that somebody is there, as long as somebody is. Returns how to stop. */
export function tellOfTouches(): () => void {
	const signs = ["pointerdown", "pointermove", "keydown", "wheel"] as const;
	let told_ms = 0;
	const tell = () => {
		if (Date.now() - told_ms < TOLD_MS) return;
		told_ms = Date.now();
		void inWindow("touched", {});
	};
	for (const sign of signs) addEventListener(sign, tell, { capture: true, passive: true });
	return () => {
		for (const sign of signs) removeEventListener(sign, tell, { capture: true });
	};
}

export class TauriDesk implements Desk {
	async call<C extends keyof Commands>(command: C, body: Asks<C>): Promise<Gives<C>> {
		return await inWindow<Gives<C>>(command, body);
	}
}
