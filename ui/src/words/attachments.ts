/** The words for a visit's attachments: photographs, sweeps, recordings, certificates. In English. */
import type { FrequencyUnit } from "../bridge/types/FrequencyUnit";
import type { TouchstoneVersion } from "../bridge/types/TouchstoneVersion";
import type { ValueFormat } from "../bridge/types/ValueFormat";
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
	onItsWay: (size: string) => `${size} are on their way. Stay on this screen until they are there.`,
	tooLarge: "the file is too large to come from a browser",
	tooLargeHelp: "make it smaller, or attach it on a device of the shop",
	unreadable: (why: string) => `the file cannot be read: ${why}`,
	unreadableHelp: "choose it again",
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
	anew: "The sweep in another form",
	anewWhy: "A new Touchstone file with the same network. What was attached stays as it came.",
	version: "Version",
	versions: { "2.0": "2.0 (.ts)", "1.1": "1.1 (.s1p, .s2p \u2026)" } satisfies Record<TouchstoneVersion, string>,
	unit: "Frequencies in",
	units: { hz: "Hz", khz: "kHz", mhz: "MHz", ghz: "GHz" } satisfies Record<FrequencyUnit, string>,
	format: "Values as",
	formats: {
		ri: "Real and imaginary part",
		ma: "Magnitude and degrees",
		db: "Decibels and degrees",
	} satisfies Record<ValueFormat, string>,
	writeAnew: "Write it anew",
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
