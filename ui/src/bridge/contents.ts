/**
 * The content of attachments as files. In the window it comes by the one command there is; in a
 * browser the node gives it piece by piece, so that a long recording stands nowhere as one answer.
 */
import { keepFile } from "./files";
import type { Desk } from "./desk";
import type { Kept } from "./kept";
import { browserFetch } from "./post";
import { asRefused } from "./refused";
import { isWindow } from "./tauri";

/** An attachment of a visit, and the hash its content is kept under. */
export interface Content {
	session: string;
	attachment: string;
	hash: string;
}

const asked = ({ session, attachment }: Content) => ({ session, attachment, small: false });
const addressOf = ({ hash }: Content) => `/attachment/${hash}`;

/** Asks the node for content. Throws `Refused` where it is not given. */
async function given(content: Content, signal?: AbortSignal): Promise<Response> {
	try {
		const answer = await browserFetch(addressOf(content), signal ? { signal } : {});
		if (answer.ok) return answer;
		throw asRefused(await answer.json());
	} catch (error) {
		throw asRefused(error);
	}
}

/** The whole content, to be shown. Throws `Refused`, and nothing else. */
export async function wholeContent(desk: Desk, content: Content): Promise<Blob> {
	if (isWindow()) {
		const { base64, media_type } = await desk.call("attachment", asked(content));
		const bytes = Uint8Array.from(atob(base64), (character) => character.charCodeAt(0));
		return new Blob([bytes], { type: media_type });
	}
	const answer = await given(content);
	try {
		return await answer.blob();
	} catch (error) {
		throw asRefused(error);
	}
}

/** Hands content to the person as a file. Throws `Refused` where it is not given. */
export async function keepContent(desk: Desk, content: Content): Promise<Kept> {
	if (isWindow()) return keepFile(await desk.call("attachment", asked(content)));
	// Whether it is given is asked first: a download says to nobody why it failed.
	const enough = new AbortController();
	await given(content, enough.signal);
	enough.abort();
	const link = document.createElement("a");
	link.href = addressOf(content);
	// The node names the file.
	link.download = "";
	link.click();
	return { name: content.hash, at: undefined };
}
