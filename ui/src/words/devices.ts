/** The words of the Devices screen, in English. */
import { countedIn } from "./plural";
import { spoken } from "./speech.svelte";

const counted = countedIn("en");

const english = {
	devices: "Devices",
	loading: "Asking the node\u2026",
	own: "This device",
	name: "What people call it",
	rename: "Keep the name",
	key: "Known by the key",
	keyWhy: "It signs sign-offs, reports and bundles. Read it aloud to somebody who wants to be sure.",
	merge: "Merge over the network",
	stick: "By stick",
	stickWhy:
		"When there is no network: one file holds everything this device has. Taking it twice, or an old one late, does no harm.",
	out: "Write a bundle",
	carry: "Carry it to the other device.",
	in: "Take a bundle",
	inDone: (device: string, taken: number, papers: number) =>
		taken === 0
			? `Nothing in the bundle of ${device} was new here.`
			: `${counted(taken, "change", "changes")} of ${device} came in, in ${counted(papers, "paper", "papers")}.`,
	sealedBy: (key: string) => `Sealed with the key ${key}.`,
	aside: (count: number) => `${counted(count, "change was", "changes were")} malformed and stand aside.`,
};

/** What a language has to say here. */
export type DevicesWords = typeof english;
export const devicesWords: DevicesWords = spoken("devicesWords", english);
