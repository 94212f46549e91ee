/** The French catalogue, whole: what the English one has and this lacks does not compile. */
import type { Words } from "../catalogue";
import { attachmentWords } from "./attachments";
import { backgroundWords } from "./background";
import { benchWords, groupWord, unitWords } from "./bench";
import { boardWords } from "./board";
import { closing } from "./closing";
import { devicesWords } from "./devices";
import { fieldHelp, fieldWords } from "./fields";
import { files } from "./files";
import { gloves } from "./gloves";
import { heldWords } from "./held";
import { instrumentsWords } from "./instruments";
import { listening } from "./listening";
import { membersWords } from "./members";
import * as papers from "./papers";
import { refusals } from "./refusals";
import * as session from "./session";
import { settings } from "./settings";
import { words } from "./shell";
import { signInWords } from "./sign-in";
import { start } from "./start";
import { takeOut } from "./takeout";
import { unlockWords } from "./unlock";

export const french: Words = {
	...papers,
	...session,
	attachmentWords,
	backgroundWords,
	benchWords,
	boardWords,
	closing,
	devicesWords,
	fieldHelp,
	fieldWords,
	files,
	gloves,
	groupWord,
	heldWords,
	instrumentsWords,
	listening,
	membersWords,
	refusals,
	settings,
	signInWords,
	start,
	takeOut,
	unitWords,
	unlockWords,
	words,
};
