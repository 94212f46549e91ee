/**
 * Starts the screens: asks for what the first one shows, then puts the shell up on its desk, with
 * theme and language before the first paint.
 */
import { mount } from "svelte";
import App from "./App.svelte";
import { connect } from "./bridge/desk";
import { firstPage } from "./places/first-page";
import { Theme } from "./shell/theme.svelte";
import { readyDates } from "./words/numbers";
import { speech } from "./words/speech.svelte";
import "./styles/tokens.css";
import "./styles/themes.css";
import "./styles/base.css";
import "./styles/print.css";

const target = document.getElementById("app");
if (target === null) throw new Error("index.html has no #app to stand on");

// Not awaited at the top: what is fetched later is built on this file, and would wait for it.
async function start(target: HTMLElement) {
	const desk = connect();
	const theme = new Theme();
	await speech.begin();
	const first = firstPage(desk);
	readyDates();
	mount(App, { target, props: { desk, first: await first, theme } });
}
void start(target);
