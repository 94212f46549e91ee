/**
 * Pictures a screen shows: their bytes from the node, kept as addresses of this page's own while the
 * screen is up. Nothing but JPEG and PNG is ever shown in place, whatever the record calls it.
 */
import { Refused, type Desk } from "../bridge/desk";
import type { ReportFile } from "../bridge/types/ReportFile";

const SHOWN = ["image/jpeg", "image/png"];

/** A file's bytes. */
export const bytesOf = ({ base64 }: ReportFile) =>
	Uint8Array.from(atob(base64), (character) => character.charCodeAt(0));

/** A size as people write it, and its unit. */
export function sizeOf(bytes: number): [number, "B" | "kB" | "MB"] {
	if (bytes < 1000) return [bytes, "B"];
	if (bytes < 999_500) return [Math.round(bytes / 1000), "kB"];
	return [Math.round(bytes / 100_000) / 10, "MB"];
}

export class Pictures {
	#desk: Desk;
	#session: string;
	#made = new Map<string, Promise<string | undefined>>();

	constructor(desk: Desk, session: string) {
		this.#desk = desk;
		this.#session = session;
	}

	/** An address to show an attachment at; none where it cannot be shown. */
	address(attachment: string, hash: string, small: boolean): Promise<string | undefined> {
		const key = `${hash} ${small}`;
		const known = this.#made.get(key);
		if (known) return known;
		const made = this.#make(attachment, small);
		this.#made.set(key, made);
		// What failed once may be here the next time it is looked at.
		void made.then((address) => address ?? this.#made.delete(key));
		return made;
	}

	async #make(attachment: string, small: boolean): Promise<string | undefined> {
		try {
			const file = await this.#desk.call("attachment", {
				session: this.#session,
				attachment,
				small,
			});
			if (!SHOWN.includes(file.media_type)) return undefined;
			return URL.createObjectURL(new Blob([bytesOf(file)], { type: file.media_type }));
		} catch (error) {
			if (!(error instanceof Refused)) throw error;
			return undefined;
		}
	}

	/** Gives all addresses back. */
	close() {
		for (const made of this.#made.values()) {
			void made.then((address) => address !== undefined && URL.revokeObjectURL(address));
		}
		this.#made.clear();
	}
}
