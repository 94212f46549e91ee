/** The words for beginning: a shop, the invented one, a visit. In English. */
import { spoken } from "./speech.svelte";

const english = {
	how: "How do you want to begin?",
	own: "Start a shop",
	ownWhy: "For the first device of a shop. Its papers, sites and visits start here.",
	shopName: "The shop's name",
	yourName: "Your name, as the crew calls you",
	device: "What people call this device",
	deviceHint: "As in: van 2's tablet.",
	begin: "Start it",
	join: "Join a shop",
	joinWhy: "Another device or the hub has the papers already: fetch them with its address.",
	demo: "Look around in an invented shop",
	demoWhy: "Larkspur Radio Works and its site Owl Knob do not exist. Nothing you do there matters.",
	openDemo: "Open the invented shop",
	newSite: "A new site",
	siteName: "The site's name",
	siteAccess: "How to get there and in",
	doSite: "Start the site",
	plan: "Plan a visit",
	where: "Site and repeater",
	order: "Work order, or what it is for",
	doPlan: "Plan it",
	noDestination: "No site has a repeater yet. Add one in Papers first.",
};

/** What a language has to say here. */
export type StartWords = typeof english;
export const start: StartWords = spoken("start", english);
