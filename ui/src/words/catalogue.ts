/**
 * The whole catalogue: what a language has to say to be complete. The English words are the measure;
 * a word that another language lacks, or has too many of, is a type error there.
 */
import type { BackgroundWords } from "./background";
import type { BenchWords, groupWord } from "./bench";
import type { BoardWords } from "./board";
import type { ClosingWords } from "./closing";
import type { DevicesWords } from "./devices";
import type { ShellWords } from "./en";
import type { FieldHelp, FieldWords } from "./fields";
import type { FilesWords } from "./files";
import type { HeldWords } from "./held";
import type { InstrumentsWords } from "./instruments";
import type { MembersWords } from "./members";
import type * as papers from "./papers";
import type { refusals } from "./refusals";
import type * as session from "./session";
import type { SettingsWords } from "./settings";
import type { StartWords } from "./start";

export interface Words {
	backgroundWords: BackgroundWords;
	benchWords: BenchWords;
	groupWord: typeof groupWord;
	boardWords: BoardWords;
	closing: ClosingWords;
	devicesWords: DevicesWords;
	words: ShellWords;
	fieldWords: FieldWords;
	fieldHelp: FieldHelp;
	files: FilesWords;
	heldWords: HeldWords;
	instrumentsWords: InstrumentsWords;
	membersWords: MembersWords;
	papersWords: papers.PapersWords;
	partKinds: typeof papers.partKinds;
	portKinds: typeof papers.portKinds;
	results: typeof papers.results;
	stages: typeof papers.stages;
	limitKinds: typeof papers.limitKinds;
	limitOfs: typeof papers.limitOfs;
	lists: typeof papers.lists;
	rules: typeof papers.rules;
	policies: typeof papers.policies;
	arrows: typeof papers.arrows;
	stations: typeof papers.stations;
	standards: typeof papers.standards;
	yesNo: typeof papers.yesNo;
	refusals: typeof refusals;
	say: session.SessionWords;
	outcomeWord: typeof session.outcomeWord;
	stageWord: typeof session.stageWord;
	planeWord: typeof session.planeWord;
	phaseWord: typeof session.phaseWord;
	unitWord: typeof session.unitWord;
	portWord: typeof session.portWord;
	partWord: typeof session.partWord;
	weightWord: typeof session.weightWord;
	settings: SettingsWords;
	start: StartWords;
}
