// Generated from the desk's table of commands. Do not edit.
import type { Acknowledge } from "./Acknowledge";
import type { AskMoment } from "./AskMoment";
import type { AskReport } from "./AskReport";
import type { AskSession } from "./AskSession";
import type { BenchAnswer } from "./BenchAnswer";
import type { BenchQuestion } from "./BenchQuestion";
import type { BenchTopics } from "./BenchTopics";
import type { ChainState } from "./ChainState";
import type { ConnectChain } from "./ConnectChain";
import type { EnterReading } from "./EnterReading";
import type { ExchangeReport } from "./ExchangeReport";
import type { ExchangeWith } from "./ExchangeWith";
import type { GiveReason } from "./GiveReason";
import type { HoldDevice } from "./HoldDevice";
import type { JudgedEntry } from "./JudgedEntry";
import type { Nothing } from "./Nothing";
import type { Position } from "./Position";
import type { ReportFile } from "./ReportFile";
import type { SessionHistory } from "./SessionHistory";
import type { SessionPage } from "./SessionPage";
import type { SessionVerification } from "./SessionVerification";
import type { Today } from "./Today";
import type { WithdrawReading } from "./WithdrawReading";
import type { Write } from "./Write";

/** What each command asks and gives. */
export interface Commands {
  "today": { asks: Nothing; gives: Today };
  "position": { asks: Nothing; gives: Position };
  "hold-device": { asks: HoldDevice; gives: Today };
  "session": { asks: AskSession; gives: SessionPage };
  "join-crew": { asks: AskSession; gives: SessionPage };
  "preview-chain": { asks: ConnectChain; gives: ChainState };
  "connect-chain": { asks: ConnectChain; gives: SessionPage };
  "judge-entry": { asks: EnterReading; gives: JudgedEntry };
  "record-reading": { asks: EnterReading; gives: SessionPage };
  "withdraw-reading": { asks: WithdrawReading; gives: SessionPage };
  "acknowledge": { asks: Acknowledge; gives: SessionPage };
  "add-note": { asks: Write; gives: SessionPage };
  "record-adjustment": { asks: Write; gives: SessionPage };
  "summarise": { asks: Write; gives: SessionPage };
  "record-restoration": { asks: Write; gives: SessionPage };
  "leave-site": { asks: AskSession; gives: SessionPage };
  "undo": { asks: AskSession; gives: SessionPage };
  "sign-off": { asks: AskSession; gives: SessionPage };
  "amend": { asks: GiveReason; gives: SessionPage };
  "report": { asks: AskReport; gives: ReportFile };
  "verify": { asks: AskSession; gives: SessionVerification };
  "history": { asks: AskSession; gives: SessionHistory };
  "session-after": { asks: AskMoment; gives: SessionPage };
  "bench-topics": { asks: Nothing; gives: BenchTopics };
  "bench": { asks: BenchQuestion; gives: BenchAnswer };
  "exchange": { asks: ExchangeWith; gives: ExchangeReport };
}
