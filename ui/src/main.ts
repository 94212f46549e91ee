/** Starts the screens: theme and language before the first paint, then the shell on its desk. */
import { mount } from "svelte";
import App from "./App.svelte";
import { connect } from "./bridge/desk";
import { Theme } from "./shell/theme.svelte";
import { speech } from "./words/speech.svelte";
import "./styles/tokens.css";
import "./styles/themes.css";
import "./styles/base.css";
import "./styles/print.css";

const target = document.getElementById("app");
if (target === null) throw new Error("index.html has no #app to stand on");
const theme = new Theme();
await speech.begin();
mount(App, { target, props: { desk: connect(), theme } });
