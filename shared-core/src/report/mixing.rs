//! What a site's transmitters mix to on its receivers, and how far their fields reach: asked of the
//! bench with what the site's papers give.
//!
//! Neither answer clears anything: where the papers are silent there is no number, and every number
//! of an exposure goes with its caution.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use crate::bench::{
    BenchAnswer, BenchQuestion, ExposureAnswer, ExposureQuestion, ExposureTransmitter,
    IntermodAnswer, IntermodQuestion, IntermodReceiver, IntermodTransmitter, ask,
};
use crate::checks::element_loss;
use crate::record::{Repeater, Site};
use crate::rf::erp::DIPOLE_DBI;
use crate::rf::exposure::{ExposureStandard, TransmitterMode, WaveReflection};
use crate::units::Watts;

/// Products up to this order are looked at: common practice, no source.
const ORDER_MAX: u32 = 5;
/// So many hits a receiver are listed; all are counted.
const HITS_MAX: u32 = 12;
/// The highest audio frequency of a voice channel: common practice, no source.
const AUDIO_MAX_HZ: u64 = 3_000;
/// Peak deviation on a 12.5 kHz channel: common practice, no source.
const PEAK_DEVIATION_HZ: u64 = 2_500;
/// The distance at which shares are worked out, in metres. The distances asked for here do not
/// depend on it.
const ANY_DISTANCE_M: f64 = 10.0;

/// Products of a site's transmitters on its receivers.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct SiteIntermod {
    /// What was asked.
    pub question: IntermodQuestion,
    /// The answer; none where it cannot be worked out.
    pub answer: Option<IntermodAnswer>,
    /// Why not, where it cannot.
    pub refused: Option<String>,
}

/// What the site's transmitters mix to on its receivers.
pub fn site_intermod(site: &Site) -> SiteIntermod {
    let own: Vec<&Repeater> = own(site).collect();
    let mut transmitters: Vec<IntermodTransmitter> = Vec::new();
    let repeaters = own.iter().map(|r| (&r.name, r.transmit_hz, Some(r.ratings.power_w)));
    let others = site.co_sited.values().filter(|other| other.retired.is_none());
    let others = others.map(|other| (&other.name, other.frequency_hz, other.power_w));
    for (name, frequency_hz, power_w) in repeaters.chain(others) {
        // Two on one carrier mix to what one does.
        if transmitters.iter().any(|known| known.frequency_hz == frequency_hz) {
            continue;
        }
        let level = power_w.and_then(|power_w| Watts::new(power_w).ok());
        // No intercept is known, so no level of a product is worked out of these.
        let level_dbm = level.map_or(0.0, |watts| watts.level().dbm());
        transmitters.push(IntermodTransmitter { name: name.clone(), frequency_hz, level_dbm });
    }
    let receiver = |r: &&Repeater| IntermodReceiver {
        name: r.name.clone(),
        frequency_hz: r.receive_hz,
        bandwidth_hz: r.channel_width_hz,
    };
    let question = IntermodQuestion {
        receivers: own.iter().map(receiver).collect(),
        transmitters,
        order_max: ORDER_MAX,
        peak_deviation_hz: PEAK_DEVIATION_HZ,
        audio_max_hz: AUDIO_MAX_HZ,
        intercepts: Vec::new(),
        hits_max: HITS_MAX,
    };
    match ask(&BenchQuestion::Intermod(question.clone())) {
        Ok(BenchAnswer::Intermod(answer)) => {
            SiteIntermod { question, answer: Some(answer), refused: None }
        }
        Ok(_) => unreachable!("a question is answered by its own topic"),
        Err(refused) => SiteIntermod { question, answer: None, refused: Some(refused.to_string()) },
    }
}

fn own(site: &Site) -> impl Iterator<Item = &Repeater> {
    site.repeaters.values().filter(|repeater| repeater.retired.is_none())
}

/// How far the fields of the site's own repeaters reach, by region of their limits; none where no
/// antenna is on its papers, or the answer is refused.
pub(super) fn site_exposure(site: &Site) -> Option<ExposureAnswer> {
    let transmitters: Vec<ExposureTransmitter> = own(site).filter_map(transmitter).collect();
    let region = own(site).next().map(|repeater| repeater.region.as_str())?;
    if transmitters.is_empty() {
        return None;
    }
    let standard = match region {
        "us" => ExposureStandard::Fcc,
        "ca" => ExposureStandard::SafetyCode6,
        _ => ExposureStandard::Icnirp2020,
    };
    let extent = Default::default();
    let question = ExposureQuestion { standard, extent, tier: None, transmitters };
    match ask(&BenchQuestion::Exposure(question)) {
        Ok(BenchAnswer::Exposure(answer)) => Some(answer),
        _ => None,
    }
}

/// A repeater at its worst: keyed all the time, with the ground's reflection.
fn transmitter(repeater: &Repeater) -> Option<ExposureTransmitter> {
    let antenna = repeater.antenna.as_ref()?;
    let feedline = antenna.feedline.as_ref();
    let feedline_db =
        feedline.map_or(Some(0.0), |run| element_loss(run, repeater.transmit_hz).ok())?;
    Some(ExposureTransmitter {
        name: repeater.name.clone(),
        frequency_hz: repeater.transmit_hz,
        power_w: repeater.ratings.power_w,
        mode: TransmitterMode::FmVoice,
        keyed_share: 1.0,
        loss_db: repeater.ratings.duplexer_transmit_loss_db + feedline_db + antenna.other_loss_db,
        gain_dbi: antenna.gain_dbd + DIPOLE_DBI,
        reflection: WaveReflection::Ground,
        distance_m: ANY_DISTANCE_M,
    })
}
