//! The bench: every calculation of the core as a question and an answer in plain data.
//!
//! In: a [`BenchQuestion`], numbers with their unit in the field's name. Out: a [`BenchAnswer`] of
//! the same topic, or a [`BenchRefused`] that names quantity, value and range. It only turns plain
//! numbers into quantities and back: the formulas stand in `rf`, `uncertainty` and `limits`. It
//! knows no document. A topic is one file here and one line in the table below; the command line,
//! the desk and the schema follow from that line.

mod audio;
mod bandwidth;
mod budget;
mod carrier_null;
mod cavity;
mod conformity;
mod desense;
mod desense_causes;
mod drift;
mod duplexer;
mod emission;
mod exposure;
mod feedline;
mod fit;
mod french;
mod intercept;
mod intermod;
mod iq;
mod isolation;
mod level;
mod licence;
mod limits;
mod load_heat;
mod mask;
mod mismatch;
mod noise;
mod radiated;
mod recorded;
mod refused;
mod refused_files;
mod squelch;
mod sweep;
mod topics;
mod trend;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

pub use audio::{AudioAnswer, AudioQuestion, HeardTone};
pub use bandwidth::{BandwidthAnswer, BandwidthQuestion};
pub use budget::{BudgetAnswer, BudgetCorrelation, BudgetInput, BudgetQuestion, InputKnown};
pub use carrier_null::{CarrierNullAnswer, CarrierNullQuestion};
pub use cavity::{CavityAnswer, CavityQuestion};
pub use conformity::{
    ConformityAnswer, ConformityQuestion, DecisionRiskAnswer, DecisionRiskQuestion,
};
pub use desense::{DesenseAnswer, DesenseQuestion};
pub use desense_causes::{
    DesenseCausesAnswer, DesenseCausesQuestion, DifferenceRead, PathLossRead,
};
pub use drift::{DriftAnswer, DriftLoss, DriftMark, DriftQuestion};
pub use duplexer::{DuplexerAnswer, DuplexerPath, DuplexerQuestion, SweptPoint};
pub use emission::{
    EmissionAnswer, EmissionOfBandwidth, EmissionOfKeying, EmissionOfModulation, EmissionOfShift,
    EmissionQuestion, EmissionSymbol,
};
pub use exposure::{
    ExposureAnswer, ExposureEstimate, ExposureExemption, ExposureQuestion, ExposureShare,
    ExposureTransmitter,
};
pub use feedline::{
    CableLine, CablePoint, CablesAnswer, CablesQuestion, FeedlineAnswer, FeedlineQuestion, LineEnd,
    LineKnown, ListedLine, PointsLine,
};
pub use fit::{
    FitAnswer, FitEstimate, FitObservation, FitPrior, FitQuestion, FitResidual, FitUnknown,
};
pub use french::{Words, french, schema};
pub use intercept::{InterceptAnswer, InterceptQuestion};
pub use intermod::{
    IntermodAnswer, IntermodCount, IntermodHit, IntermodIntercept, IntermodOnReceiver,
    IntermodQuestion, IntermodReceiver, IntermodTerm, IntermodTransmitter,
};
pub use iq::{CarriedTone, IqAnswer, IqQuestion};
pub use isolation::{IsolationAnswer, IsolationMargin, IsolationQuestion, IsolationWanted};
pub use level::{LevelAnswer, LevelQuestion};
pub use licence::{LicenceAnswer, LicenceFound, LicenceQuestion};
pub use limits::{
    DeviationLimitAnswer, DeviationLimitQuestion, FigureLimitAnswer, FigureLimitQuestion,
    ToleranceAnswer, ToleranceQuestion,
};
pub use load_heat::{LoadHeatAnswer, LoadHeatQuestion};
pub use mask::{EmissionMaskAnswer, EmissionMaskAsks, EmissionMaskQuestion};
pub use mismatch::{
    MismatchAnswer, MismatchErrorAnswer, MismatchErrorQuestion, MismatchQuestion, PowersKnown,
    ReflectionKnown,
};
pub use noise::{
    ActiveStage, CascadeAnswer, CascadeQuestion, CascadeStage, NoiseAnswer, NoiseKnown,
    NoiseQuestion, SensitivityAnswer, SensitivityKnown, SensitivityQuestion, SinadAnswer,
    SinadQuestion, SiteNoiseAnswer, SiteNoiseQuestion,
};
pub use radiated::{
    ErpAnswer, ErpQuestion, FreeSpacePath, GainKnown, HorizonAnswer, HorizonQuestion, PathAnswer,
    PathKnown, PathQuestion, VoltageAnswer, VoltageKnown, VoltageQuestion,
};
pub use squelch::{DcsCodeAnswer, DcsCodeQuestion, FoundDcs, FoundTone, ToneAnswer, ToneQuestion};
pub use sweep::{SweepAnswer, SweepAt, SweepQuestion, SweepResponse};
pub use topics::{Group, Topic, topics};
pub use trend::{
    TrendAnswer, TrendBetween, TrendLimit, TrendOutlook, TrendQuestion, TrendShape, TrendVisit,
};

use crate::language::Language;
use crate::limits::{LimitUnknown, MaskUnknown, ShopRowsRefused};
use crate::rf::audio::AudioRefused;
use crate::rf::duplexer::DuplexerRefused;
use crate::rf::emission::EmissionRefused;
use crate::rf::exposure::ExposureRefused;
use crate::rf::feedline::FeedlineRefused;
use crate::rf::intermod::IntermodRefused;
use crate::rf::least_squares::FitRefused;
use crate::rf::sweep::SweepRefused;
use crate::rf::touchstone::TouchstoneRefused;
use crate::rf::trend::TrendRefused;
use crate::uncertainty::budget::CorrelationRefused;
use crate::units::{EntryRefused, OutOfRange};

/// Makes the question, the answer, the list of topics and [`ask_in`] from one table. A topic that
/// answers in words of its own ends in `said`: it is asked with the language.
macro_rules! topics {
    ($($(#[doc = $doc:literal])+
        $name:literal $variant:ident: $asks:ty => $gives:ty $(, $said:ident)?;)*) => {
        /// What the bench can be asked.
        #[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
        #[serde(tag = "topic", content = "with")]
        pub enum BenchQuestion {
            $($(#[doc = $doc])+ #[serde(rename = $name)] $variant($asks),)*
        }

        /// What the bench answers.
        #[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
        #[serde(tag = "topic", content = "found")]
        pub enum BenchAnswer {
            $($(#[doc = $doc])+ #[serde(rename = $name)] $variant($gives),)*
        }

        /// The topics in the order they are listed, each with what it answers.
        pub const TOPICS: &[(&str, &str)] = &[$(($name, concat!($($doc),+)),)*];

        /// Answers a question, in English where it answers in words.
        pub fn ask(question: &BenchQuestion) -> Result<BenchAnswer, BenchRefused> {
            ask_in(question, Language::English)
        }

        /// The same in a language; its numbers are the same in each.
        pub fn ask_in(
            question: &BenchQuestion,
            language: Language,
        ) -> Result<BenchAnswer, BenchRefused> {
            match question {
                $(BenchQuestion::$variant(given) => {
                    let found = topics!(@answer given language $($said)?)?;
                    Ok(BenchAnswer::$variant(found))
                })*
            }
        }
    };
    (@answer $given:ident $language:ident) => { $given.answer() };
    (@answer $given:ident $language:ident said) => { $given.answer_in($language) };
}

topics! {
    /// One level in every unit the trade writes it in.
    "level" Level: LevelQuestion => LevelAnswer;
    /// What an uncertainty budget comes to: lines, degrees of freedom, k and expanded uncertainty.
    "budget" Budget: BudgetQuestion => BudgetAnswer;
    /// What may be said of a value against its limits, and how likely it conforms.
    "conformity" Conformity: ConformityQuestion => ConformityAnswer;
    /// How often a decision rule accepts what is outside and rejects what is inside.
    "decision-risk" DecisionRisk: DecisionRiskQuestion => DecisionRiskAnswer;
    /// What a desense says of the interference behind it, and the isolation that is wanted.
    "desense" Desense: DesenseQuestion => DesenseAnswer;
    /// What the desense tests that were made say of the cause, and the test to make next.
    "desense-causes" DesenseCauses: DesenseCausesQuestion => DesenseCausesAnswer, said;
    /// How far a carrier may be off, by region, band, channel and class.
    "tolerance" Tolerance: ToleranceQuestion => ToleranceAnswer, said;
    /// The most deviation on a channel.
    "deviation-limit" DeviationLimit: DeviationLimitQuestion => DeviationLimitAnswer, said;
    /// A figure of the region's measuring standard, such as audio distortion.
    "figure-limit" FigureLimit: FigureLimitQuestion => FigureLimitAnswer;
    /// The authorised bandwidth of a channel, and whether an emission fits it.
    "bandwidth" Bandwidth: BandwidthQuestion => BandwidthAnswer, said;
    /// An emission designator, read or made, with what its symbols say.
    "emission" Emission: EmissionQuestion => EmissionAnswer, said;
    /// How far below its carrier an emission must be beside its channel, by the masks of its band.
    "emission-mask" EmissionMask: EmissionMaskQuestion => EmissionMaskAnswer, said;
    /// A licence against carrier, output power and ERP as they were read.
    "licence" Licence: LicenceQuestion => LicenceAnswer, said;
    /// What transmitters make at a place against an exposure limit: a caution, never more.
    "exposure" Exposure: ExposureQuestion => ExposureAnswer, said;
    /// What a swept network does at chosen frequencies: loss, return loss, VSWR.
    "sweep" Sweep: SweepQuestion => SweepAnswer;
    /// A duplexer's loss, rejection, return loss and isolation from its sweeps, against its rating.
    "duplexer" Duplexer: DuplexerQuestion => DuplexerAnswer;
    /// The isolation wanted against a transmitter's noise and carrier, and the margin to it.
    "isolation" Isolation: IsolationQuestion => IsolationAnswer;
    /// A cavity's loss, width and Qs, from numbers or from a sweep of it.
    "cavity" Cavity: CavityQuestion => CavityAnswer;
    /// How far a path's tuning and loss moved between two sweeps.
    "drift" Drift: DriftQuestion => DriftAnswer;
    /// The listed cables with their loss at a frequency.
    "cables" Cables: CablesQuestion => CablesAnswer, said;
    /// Stages in a row as one: noise figure, gain, and what each adds.
    "cascade" Cascade: CascadeQuestion => CascadeAnswer;
    /// What an antenna radiates behind its losses, against the licensed ERP.
    "erp" Erp: ErpQuestion => ErpAnswer;
    /// A feedline's loss, and what it makes of its load, seen from either end.
    "feedline" Feedline: FeedlineQuestion => FeedlineAnswer;
    /// How far two antennas may stand apart over smooth ground.
    "horizon" Horizon: HorizonQuestion => HorizonAnswer;
    /// One port's mismatch in every measure.
    "mismatch" Mismatch: MismatchQuestion => MismatchAnswer;
    /// How far a level may be off because two ports that face each other both reflect.
    "mismatch-error" MismatchError: MismatchErrorQuestion => MismatchErrorAnswer;
    /// The noise in a bandwidth, and a noise figure in every measure.
    "noise" Noise: NoiseQuestion => NoiseAnswer;
    /// What arrives over a path, and how far it is over what is wanted.
    "path" Path: PathQuestion => PathAnswer;
    /// A receiver's sensitivity from its noise figure, or the other way.
    "sensitivity" Sensitivity: SensitivityQuestion => SensitivityAnswer;
    /// SINAD, signal over the rest and distortion, each from the other.
    "sinad" Sinad: SinadQuestion => SinadAnswer;
    /// What the noise around a site costs a receiver.
    "site-noise" SiteNoise: SiteNoiseQuestion => SiteNoiseAnswer;
    /// A voltage across any resistance, and the power it makes there.
    "voltage" Voltage: VoltageQuestion => VoltageAnswer;
    /// An intercept point from two equal carriers and their product, and the free range above a
    /// floor.
    "intercept" Intercept: InterceptQuestion => InterceptAnswer;
    /// Which products of a site's transmitters fall on its receivers, by order and level.
    "intermod" Intermod: IntermodQuestion => IntermodAnswer;
    /// What a value does from visit to visit, and when it meets its limit.
    "trend" Trend: TrendQuestion => TrendAnswer;
    /// How clean the audio of a WAV recording is, and which squelch tone or code it carries.
    "audio" Audio: AudioQuestion => AudioAnswer;
    /// The deviation at a null of the carrier, or the tone that makes the null.
    "carrier-null" CarrierNull: CarrierNullQuestion => CarrierNullAnswer;
    /// Frequency error, deviation and SINAD from a SigMF recording of a carrier.
    "iq" Iq: IqQuestion => IqAnswer;
    /// Which squelch tone a frequency is, if any.
    "tone" Tone: ToneQuestion => ToneAnswer;
    /// The word of a digital squelch code, and the codes it may be read as.
    "dcs-code" DcsCode: DcsCodeQuestion => DcsCodeAnswer;
    /// Weighted least squares: unknowns with their uncertainty, residuals, chi-square.
    "fit" Fit: FitQuestion => FitAnswer;
    /// How long a load may be keyed, and the rest it wants.
    "load-heat" LoadHeat: LoadHeatQuestion => LoadHeatAnswer;
}

/// Why a question has no answer.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum BenchRefused {
    /// A number that the quantity cannot have.
    #[error(transparent)]
    Number(#[from] OutOfRange),
    /// Unknowns that the observations do not pin down, or numbers that are none.
    #[error(transparent)]
    Fit(#[from] FitRefused),
    /// A number as typed that is none.
    #[error(transparent)]
    Entry(#[from] EntryRefused),
    /// A limit that is not known.
    #[error(transparent)]
    Limit(#[from] LimitUnknown),
    /// A mask that is not known.
    #[error(transparent)]
    Mask(#[from] MaskUnknown),
    /// A shop's rows that are none.
    #[error(transparent)]
    ShopRows(#[from] ShopRowsRefused),
    /// An emission that has no designator, or a text that is none.
    #[error(transparent)]
    Emission(#[from] EmissionRefused),
    /// An exposure that cannot be estimated.
    #[error(transparent)]
    Exposure(#[from] ExposureRefused),
    /// Fields that do not make a question together.
    #[error("expected {expected}")]
    Given {
        /// What would.
        expected: &'static str,
    },
    /// A Touchstone file that is none.
    #[error(transparent)]
    Touchstone(#[from] TouchstoneRefused),
    /// A sweep that does not hold what was asked.
    #[error(transparent)]
    Sweep(#[from] SweepRefused),
    /// A duplexer or a cavity that makes no sense.
    #[error(transparent)]
    Duplexer(#[from] DuplexerRefused),
    /// A cable or a line that there is not.
    #[error(transparent)]
    Feedline(#[from] FeedlineRefused),
    /// A site that no products are looked for at.
    #[error(transparent)]
    Intermod(#[from] IntermodRefused),
    /// A series that has no trend.
    #[error(transparent)]
    Trend(#[from] TrendRefused),
    /// A recording that says nothing, or a tone or code that is none.
    #[error(transparent)]
    Audio(#[from] AudioRefused),
    /// A file's bytes that are not written as base64.
    #[error("{field} is not base64: {source}")]
    Base64 {
        /// The field they stand in.
        field: &'static str,
        /// What is wrong, and where.
        source: base64::DecodeError,
    },
    /// Two fields of which one is to be found from the other.
    #[error("either {one} or {other} is wanted, and not both")]
    EitherOr {
        /// One field.
        one: &'static str,
        /// The other.
        other: &'static str,
    },
    /// Inputs that cannot go together so.
    #[error(transparent)]
    Correlation(#[from] CorrelationRefused),
    /// One name for two things.
    #[error("the name {name:?} stands twice")]
    Twice {
        /// The name.
        name: String,
    },
    /// A value with nothing to set it against.
    #[error("a limit is wanted on at least one side")]
    NoLimit,
}

/// The bytes of a field, which may be no more than `bytes_max`.
fn bytes_of(field: &'static str, text: &str, bytes_max: usize) -> Result<Vec<u8>, BenchRefused> {
    // Four letters a three bytes: what would come out too large is not decoded at all.
    let bytes = text.len() / 4 * 3;
    if bytes > bytes_max + 3 {
        return Err(AudioRefused::TooLarge { bytes, most: bytes_max }.into());
    }
    STANDARD.decode(text).map_err(|source| BenchRefused::Base64 { field, source })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_topic_is_listed_once_and_says_what_it_answers() {
        let mut names: Vec<&str> = TOPICS.iter().map(|(name, _)| *name).collect();
        for (name, answers) in TOPICS {
            assert!(answers.trim().ends_with('.'), "{name}: {answers:?} is no sentence");
        }
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), TOPICS.len());
    }

    #[test]
    fn a_question_in_another_shape_is_refused_with_its_field() {
        let read = serde_json::from_str::<BenchQuestion>;
        let refused = read(r#"{"topic": "colour", "with": {}}"#).unwrap_err().to_string();
        assert!(refused.contains("colour") && refused.contains("desense"), "{refused}");
        let refused = read(r#"{"topic": "desense", "with": {"kyed_dbm": 1}}"#).unwrap_err();
        assert!(refused.to_string().contains("kyed_dbm"), "{refused}");
    }
}
