//! The commands of the Site screen: a site with what its transmitters mix to and its visits.

use guyline_core::bench::{
    BenchAnswer, BenchQuestion, IntermodQuestion, IntermodReceiver, IntermodTransmitter, ask,
};
use guyline_core::record::{DocumentId, DocumentKind, Site, validate};
use guyline_core::units::Watts;

use super::keeping::visits_kept;
use super::listing::line;
use super::papers::{STEPS_SHOWN, disputed, lines, shown};
use super::papers_pages::{AskSite, SiteIntermod, SitePage};
use super::refusal::{Code, Refusal};
use super::session::not_here;
use super::today::{is_here, names, of_kind, shop, standing};
use crate::Node;

/// Products up to this order are looked at: common practice, no source.
const ORDER_MAX: u32 = 5;
/// So many hits a receiver are listed; all are counted.
const HITS_MAX: u32 = 12;
/// The highest audio frequency of a voice channel: common practice, no source.
const AUDIO_MAX_HZ: u64 = 3_000;
/// Peak deviation on a 12.5 kHz channel: common practice, no source.
const PEAK_DEVIATION_HZ: u64 = 2_500;

pub(super) fn show(node: &Node, asked: AskSite) -> Result<SitePage, Refusal> {
    let id: DocumentId = asked.site.parse().map_err(|error: guyline_core::record::NotAnId| {
        Refusal::new(Code::NotHere, error.to_string(), "open the site from the Papers screen")
            .at("site")
    })?;
    if !is_here(node, id, DocumentKind::Site)? {
        return Err(not_here("site", &asked.site));
    }
    node.site_is_opened(id)?;
    let site = node.with_document(id, |document| document.site().cloned())??;
    let (conflicts, steps) = node
        .with_document(id, |document| (document.conflicts(), document.paper_steps(STEPS_SHOWN)))?;
    let people = shop(node)?.as_ref().map(names).unwrap_or_default();
    let mut visits = Vec::new();
    for session in of_kind(node, DocumentKind::Session)? {
        let session = session?;
        let here =
            node.with_document(session, |document| document.session().is_ok_and(|s| s.site == id))?;
        if here {
            visits.push(line(node, session, &people));
        }
    }
    visits.sort_by(|a, b| b.id.cmp(&a.id));
    let paper = serde_json::to_value(&site).expect("papers hold text keys and plain values");
    Ok(SitePage {
        id: id.to_string(),
        standing: standing(node, &people)?,
        people,
        disputed: disputed(&conflicts, &paper),
        conflicts,
        problems: validate::site(&site).into_iter().map(shown).collect(),
        steps: lines(steps, &paper),
        intermod: intermod(&site),
        visits,
        visits_kept: visits_kept(node, id)?,
        site,
    })
}

/// What the site's transmitters mix to on its receivers.
fn intermod(site: &Site) -> SiteIntermod {
    let own = site.repeaters.values().filter(|repeater| repeater.retired.is_none());
    let own: Vec<_> = own.collect();
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
    let receiver = |r: &&guyline_core::record::Repeater| IntermodReceiver {
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
