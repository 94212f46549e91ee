// Generated from the desk's table of commands. Do not edit.
import type { Acknowledge } from "./Acknowledge";
import type { Admit } from "./Admit";
import type { AgreeToLevel } from "./AgreeToLevel";
import type { AskAttachment } from "./AskAttachment";
import type { AskDay } from "./AskDay";
import type { AskDayFile } from "./AskDayFile";
import type { AskInstrument } from "./AskInstrument";
import type { AskMoment } from "./AskMoment";
import type { AskReport } from "./AskReport";
import type { AskSession } from "./AskSession";
import type { AskSite } from "./AskSite";
import type { AskSiteReport } from "./AskSiteReport";
import type { AskTakeOut } from "./AskTakeOut";
import type { Attach } from "./Attach";
import type { BackgroundPage } from "./BackgroundPage";
import type { BenchAnswer } from "./BenchAnswer";
import type { BenchQuestion } from "./BenchQuestion";
import type { BenchTopics } from "./BenchTopics";
import type { BrowsersPage } from "./BrowsersPage";
import type { BundleReport } from "./BundleReport";
import type { ChainState } from "./ChainState";
import type { ChooseClaim } from "./ChooseClaim";
import type { ConnectChain } from "./ConnectChain";
import type { DataFile } from "./DataFile";
import type { DevicesPage } from "./DevicesPage";
import type { EnterCalibration } from "./EnterCalibration";
import type { EnterReading } from "./EnterReading";
import type { ExchangeReport } from "./ExchangeReport";
import type { ExchangeWith } from "./ExchangeWith";
import type { FleetPage } from "./FleetPage";
import type { GiveReason } from "./GiveReason";
import type { GrantBrowser } from "./GrantBrowser";
import type { HoldDevice } from "./HoldDevice";
import type { ImportRows } from "./ImportRows";
import type { ImportSeen } from "./ImportSeen";
import type { InstrumentMet } from "./InstrumentMet";
import type { InstrumentsPage } from "./InstrumentsPage";
import type { JudgedEntry } from "./JudgedEntry";
import type { KeepOnly } from "./KeepOnly";
import type { LevelProposed } from "./LevelProposed";
import type { LevelSet } from "./LevelSet";
import type { LiveReading } from "./LiveReading";
import type { LookAtAttachment } from "./LookAtAttachment";
import type { MembersPage } from "./MembersPage";
import type { NameDevice } from "./NameDevice";
import type { Nothing } from "./Nothing";
import type { PapersPage } from "./PapersPage";
import type { PauseBackground } from "./PauseBackground";
import type { PlaceInstrument } from "./PlaceInstrument";
import type { PlanTaken } from "./PlanTaken";
import type { PlanText } from "./PlanText";
import type { PlanVisit } from "./PlanVisit";
import type { Position } from "./Position";
import type { ProposeLevel } from "./ProposeLevel";
import type { PutEntry } from "./PutEntry";
import type { Recorded } from "./Recorded";
import type { ReportFile } from "./ReportFile";
import type { RetireEntry } from "./RetireEntry";
import type { Revoke } from "./Revoke";
import type { RevokeBrowser } from "./RevokeBrowser";
import type { Right } from "./Right";
import type { SessionHistory } from "./SessionHistory";
import type { SessionPage } from "./SessionPage";
import type { SessionVerification } from "./SessionVerification";
import type { SetField } from "./SetField";
import type { Share } from "./Share";
import type { ShopBoard } from "./ShopBoard";
import type { ShortCode } from "./ShortCode";
import type { SitePage } from "./SitePage";
import type { StartShop } from "./StartShop";
import type { StartSite } from "./StartSite";
import type { Started } from "./Started";
import type { TakeBundle } from "./TakeBundle";
import type { TakeHeld } from "./TakeHeld";
import type { Today } from "./Today";
import type { TryInstrument } from "./TryInstrument";
import type { UndoChange } from "./UndoChange";
import type { UseInvitation } from "./UseInvitation";
import type { WithdrawReading } from "./WithdrawReading";
import type { Write } from "./Write";
import type { WriteCaption } from "./WriteCaption";
import type { WriteSweep } from "./WriteSweep";

/** What each command asks and gives. */
export interface Commands {
  "today": { asks: Nothing; gives: Today };
  "position": { asks: Nothing; gives: Position };
  "start-shop": { asks: StartShop; gives: Today };
  "start-demo": { asks: Nothing; gives: Today };
  "start-site": { asks: StartSite; gives: Started };
  "plan-visit": { asks: PlanVisit; gives: Started };
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
  "attach": { asks: Attach; gives: SessionPage };
  "caption": { asks: WriteCaption; gives: SessionPage };
  "retire-attachment": { asks: AskAttachment; gives: SessionPage };
  "put-attachment-back": { asks: AskAttachment; gives: SessionPage };
  "attachment": { asks: LookAtAttachment; gives: ReportFile };
  "write-sweep": { asks: WriteSweep; gives: ReportFile };
  "report": { asks: AskReport; gives: ReportFile };
  "site-report": { asks: AskSiteReport; gives: ReportFile };
  "board": { asks: AskDay; gives: ShopBoard };
  "fleet": { asks: Nothing; gives: FleetPage };
  "day-file": { asks: AskDayFile; gives: ReportFile };
  "take-out": { asks: AskTakeOut; gives: DataFile };
  "devices": { asks: Nothing; gives: DevicesPage };
  "take-held": { asks: TakeHeld; gives: DevicesPage };
  "keep-only": { asks: KeepOnly; gives: DevicesPage };
  "keep-site": { asks: AskSite; gives: DevicesPage };
  "name-device": { asks: NameDevice; gives: DevicesPage };
  "background": { asks: Nothing; gives: BackgroundPage };
  "pause-background": { asks: PauseBackground; gives: BackgroundPage };
  "browsers": { asks: Nothing; gives: BrowsersPage };
  "grant-browser": { asks: GrantBrowser; gives: BrowsersPage };
  "revoke-browser": { asks: RevokeBrowser; gives: BrowsersPage };
  "bundle-out": { asks: Nothing; gives: ReportFile };
  "bundle-in": { asks: TakeBundle; gives: BundleReport };
  "verify": { asks: AskSession; gives: SessionVerification };
  "history": { asks: AskSession; gives: SessionHistory };
  "session-after": { asks: AskMoment; gives: SessionPage };
  "papers": { asks: Nothing; gives: PapersPage };
  "site": { asks: AskSite; gives: SitePage };
  "set-field": { asks: SetField; gives: Recorded };
  "put-entry": { asks: PutEntry; gives: Recorded };
  "retire-entry": { asks: RetireEntry; gives: Recorded };
  "record-calibration": { asks: EnterCalibration; gives: Recorded };
  "choose-claim": { asks: ChooseClaim; gives: Recorded };
  "undo-change": { asks: UndoChange; gives: Recorded };
  "plan-text": { asks: Nothing; gives: PlanText };
  "take-plan": { asks: PlanText; gives: PlanTaken };
  "instruments": { asks: Nothing; gives: InstrumentsPage };
  "place-instrument": { asks: PlaceInstrument; gives: InstrumentsPage };
  "try-instrument": { asks: TryInstrument; gives: InstrumentMet };
  "ask-instrument": { asks: AskInstrument; gives: LiveReading };
  "propose-level": { asks: ProposeLevel; gives: LevelProposed };
  "agree-to-level": { asks: AgreeToLevel; gives: LevelSet };
  "import-rows": { asks: ImportRows; gives: ImportSeen };
  "bench-topics": { asks: Nothing; gives: BenchTopics };
  "bench": { asks: BenchQuestion; gives: BenchAnswer };
  "fetch-attachments": { asks: AskSession; gives: SessionPage };
  "exchange": { asks: ExchangeWith; gives: ExchangeReport };
  "members": { asks: Nothing; gives: MembersPage };
  "found-roster": { asks: Nothing; gives: MembersPage };
  "share": { asks: Share; gives: MembersPage };
  "invite": { asks: Nothing; gives: MembersPage };
  "admit": { asks: Admit; gives: MembersPage };
  "revoke": { asks: Revoke; gives: MembersPage };
  "short-code": { asks: UseInvitation; gives: ShortCode };
  "join": { asks: UseInvitation; gives: MembersPage };
}

/** What each command takes. */
export const RIGHTS: Record<keyof Commands, Right> = {
  "today": "read",
  "position": "read",
  "start-shop": "device",
  "start-demo": "device",
  "start-site": "papers",
  "plan-visit": "record",
  "hold-device": "device",
  "session": "read",
  "join-crew": "record",
  "preview-chain": "read",
  "connect-chain": "record",
  "judge-entry": "read",
  "record-reading": "record",
  "withdraw-reading": "record",
  "acknowledge": "record",
  "add-note": "record",
  "record-adjustment": "record",
  "summarise": "record",
  "record-restoration": "record",
  "leave-site": "record",
  "undo": "record",
  "sign-off": "record",
  "amend": "record",
  "attach": "record",
  "caption": "record",
  "retire-attachment": "record",
  "put-attachment-back": "record",
  "attachment": "read",
  "write-sweep": "read",
  "report": "read",
  "site-report": "read",
  "board": "read",
  "fleet": "read",
  "day-file": "read",
  "take-out": "read",
  "devices": "read",
  "take-held": "device",
  "keep-only": "device",
  "keep-site": "device",
  "name-device": "device",
  "background": "device",
  "pause-background": "device",
  "browsers": "device",
  "grant-browser": "device",
  "revoke-browser": "device",
  "bundle-out": "device",
  "bundle-in": "device",
  "verify": "read",
  "history": "read",
  "session-after": "read",
  "papers": "read",
  "site": "read",
  "set-field": "papers",
  "put-entry": "papers",
  "retire-entry": "papers",
  "record-calibration": "papers",
  "choose-claim": "papers",
  "undo-change": "papers",
  "plan-text": "read",
  "take-plan": "papers",
  "instruments": "instrument",
  "place-instrument": "instrument",
  "try-instrument": "instrument",
  "ask-instrument": "instrument",
  "propose-level": "instrument",
  "agree-to-level": "instrument",
  "import-rows": "papers",
  "bench-topics": "read",
  "bench": "read",
  "fetch-attachments": "device",
  "exchange": "device",
  "members": "device",
  "found-roster": "device",
  "share": "device",
  "invite": "device",
  "admit": "device",
  "revoke": "device",
  "short-code": "device",
  "join": "device",
};

/** The longest file that one body to `attach` carries, in bytes. */
export const ATTACHED_FILE_BYTES_MAX = 27262976;
