//! The report of a site: what its repeaters were found and left like, what has to be done, and how
//! their values went over all visits.
//!
//! In: the shop, the site and every visit to it, judged. Out: a [`SiteReport`]: conclusions first,
//! then what to do, then each repeater by its latest visit. Knows no day of today: it speaks as of
//! the newest entry, so that the same record gives the same report. Retired entries are left out.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::attached::{AttachedLine, SitePhotographs, photographs};
use super::day::{VISIT_EVERY_DAYS, Visit};
use super::shapes::{
    Concluded, DoneBy, InstrumentLine, Letterhead, Overall, Said, Signature, StageLines,
};
use super::site_words::{Need, NeedKind};
use crate::checks::findings::Weight;
use crate::checks::{Appraisal, CheckHistory, HistoryOutlook, histories};
use crate::record::{Repeater, Shop, Site};
use crate::uncertainty::Outcome;
use crate::uncertainty::decision::DecisionRule;

/// A site, as its customer is told of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct SiteReport {
    /// The shop's name.
    pub shop: String,
    /// What else stands at the head and the foot of the shop's papers.
    pub letterhead: Letterhead,
    /// The site's name.
    pub site: String,
    /// The day of the newest visit; none where nobody was there.
    pub as_of: Option<String>,
    /// How a reading's uncertainty enters its verdict.
    pub decision_rule: DecisionRule,
    /// What has to be done, gravest first.
    pub needs: Vec<Need>,
    /// How to get there and in.
    pub access: String,
    /// What can hurt people there.
    pub hazards: Vec<String>,
    /// How every caution ends.
    pub deferral: String,
    /// The repeaters in use, by name.
    pub channels: Vec<ChannelReport>,
    /// What the latest visits were read with.
    pub instruments: Vec<InstrumentLine>,
    /// Other people's transmitters there.
    pub co_sited: Vec<CoSitedLine>,
    /// What else of the shop's care stands there.
    pub equipment: Vec<EquipmentLine>,
    /// Every visit with a reading, the newest first.
    pub visits: Vec<VisitedLine>,
    /// Visits that cannot be judged, and why.
    pub unread: Vec<String>,
    /// Those of its pictures that are to be shown, by hash: JPEG, no larger than is printed.
    /// Whoever has them fills this in.
    #[serde(skip)]
    #[ts(skip)]
    pub pictures: BTreeMap<String, Vec<u8>>,
}

impl SiteReport {
    /// The photographs it tells of.
    pub fn photographs(&self) -> impl Iterator<Item = &AttachedLine> {
        let latest = self.channels.iter().filter_map(|channel| channel.latest.as_ref());
        latest.flat_map(|latest| &latest.photographs.shown)
    }
}

/// A repeater of the site.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct ChannelReport {
    /// Its name.
    pub name: String,
    /// What it listens on, in hertz.
    pub receive_hz: u64,
    /// What it transmits on, in hertz.
    pub transmit_hz: u64,
    /// The channel's width, in hertz.
    pub channel_width_hz: u64,
    /// The region whose limits hold.
    pub region: String,
    /// The call sign it is licensed under.
    pub call_sign: Option<String>,
    /// The emission its licence names.
    pub emission: Option<String>,
    /// The last day of its licence.
    pub licence_expires: Option<String>,
    /// Its latest visit with a reading.
    pub latest: Option<LatestVisit>,
    /// How its values went, where two visits or more read them.
    pub history: Vec<CheckHistory>,
}

/// What the latest visit to a repeater says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct LatestVisit {
    /// The session's id.
    pub session: String,
    /// Its last day.
    pub day: String,
    /// The shop's order.
    pub work_order: String,
    /// Who was there, by name.
    pub crew: Vec<String>,
    /// What comes of it all.
    pub overall: Overall,
    /// The visit in a sentence: two where two people wrote it apart.
    pub summary: Vec<DoneBy>,
    /// What does not pass, gravest first.
    pub concluded: Vec<Concluded>,
    /// What was adjusted.
    pub adjusted: Vec<DoneBy>,
    /// What was found, and what to do about it.
    pub found: Vec<Said>,
    /// The readings, stage by stage.
    pub stages: Vec<StageLines>,
    /// Its newest photographs.
    #[serde(default)]
    pub photographs: SitePhotographs,
    /// Who signed, on which device, when.
    pub signatures: Vec<Signature>,
}

/// Somebody else's transmitter.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct CoSitedLine {
    /// What the crew calls it.
    pub name: String,
    /// What it transmits on, in hertz.
    pub frequency_hz: u64,
    /// Its power at its port, in watts, where that is known.
    pub power_w: Option<f64>,
    /// Its antenna, in words.
    pub antenna: Option<String>,
}

/// Something that stands at the site.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct EquipmentLine {
    /// What the crew calls it.
    pub name: String,
    /// The number its maker gave it.
    pub serial_number: Option<String>,
    /// What it is rated for, in words.
    pub rating: Option<String>,
    /// The name of the repeater it belongs to.
    pub repeater: Option<String>,
}

/// A visit in a line.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct VisitedLine {
    /// Its last day.
    pub day: String,
    /// The repeater's name.
    pub repeater: String,
    /// The shop's order.
    pub work_order: String,
    /// The worst outcome; none where nothing was judged.
    pub worst: Option<Outcome>,
    /// Whether somebody signed it off.
    pub signed_off: bool,
}

/// What a site's report says besides what papers and visits do.
#[derive(Clone, Debug, Default)]
pub struct Besides<'a> {
    /// Visits that cannot be judged, and why.
    pub unread: Vec<String>,
    /// Where two people wrote apart in the site's paper, in words.
    pub disputed: Vec<String>,
    /// How every caution ends.
    pub deferral: &'a str,
}

/// What there is to tell of a site, from all its visits.
pub fn site_report(shop: &Shop, site: &Site, visits: &[Visit], besides: Besides<'_>) -> SiteReport {
    let Besides { unread, disputed, deferral } = besides;
    let read = visits.iter().filter(|visit| !visit.sheet.session.readings.is_empty());
    let mut newest_first: Vec<&Visit> = read.collect();
    newest_first.sort_by(|a, b| (day(b), &b.session).cmp(&(day(a), &a.session)));
    let in_use: Vec<(&String, &Repeater)> =
        site.repeaters.iter().filter(|(_, found)| found.retired.is_none()).collect();
    let repeaters = in_use.len();
    let mut channels = Vec::new();
    let mut instruments = BTreeMap::new();
    let choose = |what: String| Need {
        repeater: site.name.clone(),
        kind: NeedKind::Choose,
        what,
        why: String::new(),
    };
    let mut needs: Vec<Need> = disputed.into_iter().map(choose).collect();
    for (id, repeater) in in_use {
        let of_it = newest_first.iter().copied().filter(|v| v.sheet.session.repeater == *id);
        let of_it: Vec<&Visit> = of_it.collect();
        if let Some(latest) = of_it.first() {
            join(&mut instruments, &latest.report.instruments);
        }
        let channel = channel(repeater, &of_it, repeaters);
        needs.extend(needed(&channel, of_it.first().copied()));
        channels.push(channel);
    }
    channels.sort_by(|a, b| a.name.cmp(&b.name));
    needs.sort_by_key(|need: &Need| need.kind);
    SiteReport {
        shop: shop.name.clone(),
        letterhead: Letterhead::of(shop),
        site: site.name.clone(),
        as_of: newest_first.first().map(|visit| day(visit).to_owned()),
        decision_rule: shop.decision_rule,
        needs,
        access: site.access.clone(),
        hazards: site.all_hazards(),
        deferral: deferral.to_owned(),
        channels,
        instruments: instruments.into_values().collect(),
        co_sited: co_sited(site),
        equipment: equipment(site),
        visits: newest_first.iter().map(|visit| visited(visit)).collect(),
        unread,
        pictures: BTreeMap::new(),
    }
}

fn day(visit: &Visit) -> &str {
    &visit.report.last_day
}

fn channel(repeater: &Repeater, newest_first: &[&Visit], repeaters: usize) -> ChannelReport {
    let judged: Vec<(&str, &Appraisal)> =
        newest_first.iter().map(|visit| (visit.session.as_str(), &visit.appraisal)).collect();
    ChannelReport {
        name: repeater.name.clone(),
        receive_hz: repeater.receive_hz,
        transmit_hz: repeater.transmit_hz,
        channel_width_hz: repeater.channel_width_hz,
        region: repeater.region.clone(),
        call_sign: repeater.call_sign.clone(),
        emission: repeater.emission.clone(),
        licence_expires: repeater.licence_expires.clone(),
        latest: newest_first.first().map(|visit| latest(visit, repeaters)),
        history: histories(&judged).into_iter().filter(|it| it.points.len() > 1).collect(),
    }
}

fn latest(visit: &Visit, repeaters: usize) -> LatestVisit {
    let report = &visit.report;
    LatestVisit {
        session: visit.session.clone(),
        day: report.last_day.clone(),
        work_order: report.work_order.clone(),
        crew: report.crew.clone(),
        overall: report.overall.clone(),
        summary: report.summary.clone(),
        concluded: report.concluded.clone(),
        adjusted: report.adjusted.clone(),
        found: report.found.clone(),
        stages: report.stages.clone(),
        photographs: photographs(&report.attached, repeaters),
        signatures: report.signatures.clone(),
    }
}

/// What a repeater needs, by its latest visit and by where its values are going.
fn needed(channel: &ChannelReport, latest: Option<&Visit>) -> Vec<Need> {
    let need = |kind: NeedKind, what: &str, why: &str| Need {
        repeater: channel.name.clone(),
        kind,
        what: what.to_owned(),
        why: why.to_owned(),
    };
    let Some(visit) = latest else { return vec![need(NeedKind::Visit, "", "")] };
    let report = &visit.report;
    let mut all = Vec::new();
    for it in &report.concluded {
        match it.outcome {
            Outcome::Fail => all.push(need(NeedKind::Fails, &it.title, &it.reason)),
            Outcome::ConditionalFail => all.push(need(NeedKind::MayFail, &it.title, &it.reason)),
            Outcome::NotJudged => all.push(need(NeedKind::Unjudged, &it.title, &it.reason)),
            Outcome::Pass | Outcome::ConditionalPass => {}
        }
    }
    // What is only worth knowing asks for nothing.
    let grave = report.found.iter().filter(|it| it.weight != Weight::Note);
    all.extend(grave.map(|it| need(NeedKind::Found, &it.next, &it.what)));
    let lines = report.stages.iter().flat_map(|stage| &stage.lines);
    let unread = lines.filter(|line| line.as_found.is_empty() && line.as_left.is_empty());
    let unread: Vec<&str> = unread.map(|line| line.title.as_str()).collect();
    if !unread.is_empty() {
        all.push(need(NeedKind::NotRead, &unread.join(", "), ""));
    }
    for line in report.instruments.iter().filter(|line| !line.held) {
        all.push(need(NeedKind::Calibration, &line.name, &line.calibration_due));
    }
    for history in &channel.history {
        if let Some(by) = soon(history, day(visit)) {
            all.push(need(NeedKind::Drift, &history.title, &by));
        }
    }
    all
}

/// The day a value comes to its limit, where that is before the next visit is due.
fn soon(history: &CheckHistory, since: &str) -> Option<String> {
    let HistoryOutlook { day: Some(by), .. } = history.trend.as_ref()?.outlook.as_ref()? else {
        return None;
    };
    let days: chrono::TimeDelta =
        by.parse::<chrono::NaiveDate>().ok()? - since.parse::<chrono::NaiveDate>().ok()?;
    (days.num_days() <= VISIT_EVERY_DAYS).then(|| by.clone())
}

/// One line an instrument: it held where it held everywhere.
fn join(all: &mut BTreeMap<String, InstrumentLine>, lines: &[InstrumentLine]) {
    for line in lines {
        match all.get_mut(&line.name) {
            None => drop(all.insert(line.name.clone(), line.clone())),
            Some(known) => {
                known.held &= line.held;
                if line.calibration_due > known.calibration_due {
                    line.calibration_due.clone_into(&mut known.calibration_due);
                }
            }
        }
    }
}

fn co_sited(site: &Site) -> Vec<CoSitedLine> {
    let there = site.co_sited.values().filter(|found| found.retired.is_none());
    let line = |found: &crate::record::site::CoSited| CoSitedLine {
        name: found.name.clone(),
        frequency_hz: found.frequency_hz,
        power_w: found.power_w,
        antenna: found.antenna.clone(),
    };
    there.map(line).collect()
}

fn equipment(site: &Site) -> Vec<EquipmentLine> {
    let there = site.equipment.values().filter(|found| found.retired.is_none());
    let line = |found: &crate::record::site::Equipment| EquipmentLine {
        name: found.name.clone(),
        serial_number: found.serial_number.clone(),
        rating: found.rating.clone(),
        repeater: found.repeater.as_ref().map(|id| {
            let known = site.repeaters.get(id);
            known.map_or(id, |repeater| &repeater.name).clone()
        }),
    };
    there.map(line).collect()
}

fn visited(visit: &Visit) -> VisitedLine {
    VisitedLine {
        day: day(visit).to_owned(),
        repeater: visit.report.repeater.clone(),
        work_order: visit.report.work_order.clone(),
        worst: visit.report.overall.worst,
        signed_off: !visit.report.signatures.is_empty(),
    }
}

#[cfg(test)]
#[path = "site_tests.rs"]
mod tests;
