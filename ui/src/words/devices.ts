/** The words of the Devices screen, in English. */
import type { KeepsAll } from "../bridge/types/KeepsAll";
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
	keeping: {
		title: "What this device keeps",
		refused: {
			office: "Everything: this is a device of the office, where all of the shop's work must be.",
			hub: "Everything: this is the shop's hub, where all of the shop's work must be.",
		} satisfies Record<KeepsAll, string>,
		everything: "Everything",
		everythingWhy: "All papers and all visits of the shop.",
		wanted: "Only visits to the sites I am sent to or opened",
		wantedWhy:
			"All papers, and the visits to the sites listed here. A site comes onto the list when it is opened on this device, when a visit to it is worked on here, or when the papers send whoever holds the device there.",
		sites: (count: number) => `Visits of ${counted(count, "site", "sites")} are kept here.`,
		sentTo: "sent there",
		none: "No site yet.",
		another: "Keep the visits to another site",
		choose: "Choose a site\u2026",
		later: "What is lacking comes with the next merge. Nothing that is here goes. The other devices must run this version of Guyline or a later one.",
	},
	aside: (count: number) => `${counted(count, "change was", "changes were")} malformed and stand aside.`,
};

/** What a language has to say here. */
export type DevicesWords = typeof english;
export const devicesWords: DevicesWords = spoken("devicesWords", english);
