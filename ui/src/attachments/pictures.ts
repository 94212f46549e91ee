/**
 * Pictures a screen shows: their bytes from the node, kept as addresses of this page's own while the
 * screen is up. Nothing but JPEG and PNG is ever shown in place, whatever the record calls it.
 */
import { wholeContent } from "../bridge/contents";
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
	#whole: typeof wholeContent;
	#made = new Map<string, Promise<string | undefined>>();

	/** `whole` stands in for the platform's own way in tests. */
	constructor(desk: Desk, session: string, whole = wholeContent) {
		this.#desk = desk;
		this.#session = session;
		this.#whole = whole;
	}

	/** An address to show an attachment at; none where it cannot be shown. */
	address(attachment: string, hash: string, small: boolean): Promise<string | undefined> {
		const key = `${hash} ${small}`;
		const known = this.#made.get(key);
		if (known) return known;
		const made = this.#make(attachment, hash, small);
		this.#made.set(key, made);
		// What failed once may be here the next time it is looked at.
		void made.then((address) => address ?? this.#made.delete(key));
		return made;
	}

	async #make(attachment: string, hash: string, small: boolean): Promise<string | undefined> {
		const session = this.#session;
		try {
			const picture = small
				? await this.#small(attachment)
				: await this.#whole(this.#desk, { session, attachment, hash });
			if (!SHOWN.includes(picture.type)) return undefined;
			return URL.createObjectURL(picture);
		} catch (error) {
			if (!(error instanceof Refused)) throw error;
			return undefined;
		}
	}

	async #small(attachment: string): Promise<Blob> {
		const asked = { session: this.#session, attachment, small: true };
		const file = await this.#desk.call("attachment", asked);
		return new Blob([bytesOf(file)], { type: file.media_type });
	}

	/** Gives all addresses back. */
	close() {
		for (const made of this.#made.values()) {
			void made.then((address) => address !== undefined && URL.revokeObjectURL(address));
		}
		this.#made.clear();
	}
}
