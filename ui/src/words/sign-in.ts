/** The words for browsers at a hub: signing in, and whom the hub lets in. In English. */
import { spoken } from "./speech.svelte";

const english = {
	title: "Sign in",
	why: "This hub shows its screens to browsers that somebody at the shop let in.",
	code: "Code from the hub",
	signIn: "Sign in",
	how: "Whoever keeps the hub makes a code under Devices, or with guyline browser grant. It works once, within ten minutes, and for this browser only.",
	as: (person: string, browser: string) => `${person} by browser: ${browser}.`,
	browserReads: "This browser is let in to read only: nothing can be entered here.",
	deviceReads: "This device is let in to read only: nothing can be entered here.",
	readsOnly: "Let in to read only: nothing can be entered here.",
	signOut: "Sign out",

	browsers: "Browsers at this hub",
	notServed:
		"Browsers cannot reach this device: start it with guyline serve --screens 0.0.0.0:4772.",
	servedAt: "Browsers sign in at",
	fingerprint: "They are shown the certificate SHA-256",
	none: "No browser is let in.",
	name: "Where the browser stands",
	person: "Whose it is",
	role: "What it is for",
	roles: {
		office: "Office: papers, plan and visits",
		crew: "Crew: visits",
		"read-only": "Reading only",
	},
	deviceRoles: {
		crew: "Crew: goes to the sites",
		office: "Office: keeps the shop",
		"read-only": "Reading only",
	},
	days: "For so many days",
	grant: "Let a browser in",
	granted: "Open this in the browser, or type the code. It works once, within ten minutes.",
	linkQr: "QR code of the link above, for the camera of a phone or tablet.",
	until: (day: string) => `until ${day}`,
	lastUsed: (at: string) => `last used ${at}`,
	notYet: "not signed in yet",
	ended: "ended",
	revoke: (name: string) => `End ${name}`,
};

/** What a language has to say here. */
export type SignInWords = typeof english;
export const signInWords: SignInWords = spoken("signInWords", english);
