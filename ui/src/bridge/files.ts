/** A file the node made, handed to the person: kept where this browser or window keeps its files. */
import type { ReportFile } from "./types/ReportFile";

export function keepFile({ name, media_type, base64 }: ReportFile) {
	const bytes = Uint8Array.from(atob(base64), (character) => character.charCodeAt(0));
	const address = URL.createObjectURL(new Blob([bytes], { type: media_type }));
	const link = document.createElement("a");
	link.href = address;
	link.download = name;
	link.click();
	// The browser has taken it up by then; kept longer it would only hold memory.
	setTimeout(() => URL.revokeObjectURL(address), 60_000);
}
