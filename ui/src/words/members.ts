/** The words for the shop's devices: who belongs, letting in, coming in. In English. */
import { spoken } from "./speech.svelte";

const english = {
	title: "The shop's devices",
	none: "This device is on no shop's roster yet. Until it is, it merges by stick and on this machine only.",
	fault: "Nobody is admitted here until this device comes in anew.",
	own: "(this device)",
	off: (reason: string) => `taken off: ${reason}`,
	takeOff: (name: string) => `Take ${name} off`,
	reason: "Why: lost, stolen, sold?",
	doTakeOff: "Take it off for good",
	takeOffWhy:
		"Every device that hears of it refuses it from then on. What it holds already cannot be called back. A device that is found again comes in anew.",
	share: "Share on this network",
	shareNoMore: "Share no more",
	sharedAt: "The shop's devices reach this one at",
	invite: "Let a device in",
	inviteHow:
		"Carry this line to the other device, or let its camera read the code. It works once, for ten minutes.",
	inviteQr: "QR code of the invitation. It holds the line above, sign for sign.",
	inviteLink: "The same as a link",
	inviteLinkWhy:
		"On a device that has Guyline installed it opens the form to come in with, filled in. Nobody comes in by opening it.",
	waiting: "Nobody is at the door yet.",
	atDoor: (name: string) => `${name} is at the door. It must show the same code:`,
	admit: "It shows this code: let it in",
	join: "Invitation from another device",
	brought: "A link brought this invitation. Come in with it only if you know who it is from.",
	memberAlready:
		"A link brought an invitation. This device belongs to a shop already: another shop goes in another folder.",
	doJoin: "Come in with it",
	compare: "The other device must show this code. Whoever holds it lets this one in.",
	first: "This is the shop's first device",
	firstWhy:
		"It gets the shop's root key and lets the others in. Keep it at the office, and keep a copy of the file shop-root.key where only you can get at it.",
	found: "Make the shop's root key here",
};

/** What a language has to say here. */
export type MembersWords = typeof english;
export const membersWords: MembersWords = spoken("membersWords", english);
