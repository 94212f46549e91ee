/** The words for a visit's attachments: photographs, sweeps, recordings, certificates. In English. */
import { countedIn } from "./plural";
import { spoken } from "./speech.svelte";

const counted = countedIn("en");

const english = {
	title: "Photos and files",
	none: "Nothing is attached yet.",
	photograph: "Take a photo",
	choose: "Choose a file",
	kinds: "Photographs (JPEG, PNG), PDF, WAV recordings, Touchstone sweeps.",
	caption: "What it shows",
	captionWhy: "May stay empty, and be written or changed later.",
	belongs: "Belongs to",
	wholeVisit: "The whole visit",
	keepPosition: "Keep where and with what the photo was taken",
	keepPositionWhy: "Otherwise position, camera number and owner are left out before it is kept.",
	chosen: (name: string, size: string) => `${name}, ${size}`,
	attach: "Attach it",
	attaching: "Attaching\u2026",
	leave: "Not this one",
	of: (what: string) => `of ${what}`,
	by: (name: string, when: string, device: string) => `${name}, ${when}, ${device}`,
	here: "on this device",
	notHere: "not fetched yet",
	partHere: (part: string, whole: string) => `${part} of ${whole} fetched`,
	fetch: "Fetch now",
	fetching: "Fetching\u2026",
	large: "Show large",
	save: "Save the file",
	caption2: "Two people captioned it apart: write the one that holds.",
	writeCaption: "Change the caption",
	keepCaption: "Keep the caption",
	retire: "Take it off the visit",
	retireWhy: "It stays in view below, and can be put back.",
	putBack: "Put it back on the visit",
	retired: "Taken off the visit",
	noPicture: "This photograph cannot be shown here.",
	shown: (caption: string) => `Photograph: ${caption}`,
	count: (count: number) => counted(count, "file", "files"),
	size: (bytes: string, unit: "B" | "kB" | "MB") => `${bytes} ${unit}`,
};

/** What a language has to say here. */
export type AttachmentWords = typeof english;
export const attachmentWords: AttachmentWords = spoken("attachmentWords", english);
