/** Files the node made, handed to the person, and files the person chose, handed to the node. */
import { files } from "../words/files";
import type { Kept } from "./kept";
import { isWindow, keepByDialog } from "./tauri";
import { ATTACHED_FILE_BYTES_MAX } from "./types/Commands";
import type { ReportFile } from "./types/ReportFile";

/** Keeps a file: in the window where the person says, in a browser where that keeps its files. */
export async function keepFile(file: ReportFile): Promise<Kept> {
	const { name } = file;
	if (isWindow()) {
		const { at } = await keepByDialog(files.keep(name), file);
		return { name, at };
	}
	receive(file);
	return { name, at: undefined };
}

function receive({ name, media_type, base64 }: ReportFile) {
	const bytes = Uint8Array.from(atob(base64), (character) => character.charCodeAt(0));
	const address = URL.createObjectURL(new Blob([bytes], { type: media_type }));
	const link = document.createElement("a");
	link.href = address;
	link.download = name;
	link.click();
	// The browser has taken it up by then; kept longer it would only hold memory.
	setTimeout(() => URL.revokeObjectURL(address), 60_000);
}

/** An address of this page's own to show a PNG or a JPEG at; whoever asks for it gives it back. */
export function addressOf(base64: string): string {
	const bytes = Uint8Array.from(atob(base64), (character) => character.charCodeAt(0));
	// A PNG's first byte is 137 (ISO/IEC 15948); nothing else is ever shown in place.
	const type = bytes[0] === 137 ? "image/png" : "image/jpeg";
	return URL.createObjectURL(new Blob([bytes], { type }));
}

/** A chosen file's bytes, as the node takes them. */
export async function readFile(file: File): Promise<string> {
	return base64(new Uint8Array(await file.arrayBuffer()));
}

/** Whether a chosen file may go to the node: a browser sends it in one body, which is bounded. */
export const fitsOnItsWay = (file: File) => isWindow() || file.size <= ATTACHED_FILE_BYTES_MAX;

/** Bytes in the letters in which JSON carries them. */
export function base64(bytes: Uint8Array): string {
	// A call with all bytes at once would be too many arguments for a large file.
	let text = "";
	for (let at = 0; at < bytes.length; at += 0x8000) {
		text += String.fromCharCode(...bytes.subarray(at, at + 0x8000));
	}
	return btoa(text);
}
