/** The French catalogue, whole: what the English one has and this lacks does not compile. */
import type { Words } from "../catalogue";
import { backgroundWords } from "./background";
import { benchWords, groupWord } from "./bench";
import { boardWords } from "./board";
import { closing } from "./closing";
import { devicesWords } from "./devices";
import { fieldHelp, fieldWords } from "./fields";
import { files } from "./files";
import { heldWords } from "./held";
import { instrumentsWords } from "./instruments";
import { membersWords } from "./members";
import * as papers from "./papers";
import { refusals } from "./refusals";
import * as session from "./session";
import { settings } from "./settings";
import { words } from "./shell";
import { start } from "./start";

export const french: Words = {
	...papers,
	...session,
	backgroundWords,
	benchWords,
	boardWords,
	closing,
	devicesWords,
	fieldHelp,
	fieldWords,
	files,
	groupWord,
	heldWords,
	instrumentsWords,
	membersWords,
	refusals,
	settings,
	start,
	words,
};
