//! The commands of the Shop board: a day of all crews, on the screen and as a file.
//!
//! Everything is read and judged anew from the record as it is here. Nothing is sent to anybody.

use chrono::NaiveDate;
use guyline_core::record::DocumentKind;
use guyline_core::report::{DeviceLine, Language, Paperwork, ShopDay, Visit, shop_day};

use super::asker::Asker;
use super::judged::Judged;
use super::pages::{ReportFile, ShopBoard, UnreadVisit};
use super::papers::shop_here;
use super::refusal::{Code, Refusal};
use super::report::{MadeFile, Wanted};
use super::requests::{AskDay, AskDayFile};
use super::session::papers;
use super::today::{names, of_kind, standing};
use crate::Node;
use crate::render::render;

pub(super) fn show(node: &Asker, asked: AskDay) -> Result<ShopBoard, Refusal> {
    let day = day_asked(node, asked.day.as_deref())?;
    let (day, unread) = board(node, day, node.language)?;
    let people = names(&shop_here(node)?.1);
    Ok(ShopBoard { standing: standing(node, &people)?, day, unread })
}

pub(super) fn file(node: &Node, asked: AskDayFile) -> Result<ReportFile, Refusal> {
    let AskDayFile { day, form, language, paper } = asked;
    let made = day_file(node, day.as_deref(), Wanted { form, language, paper })?;
    Ok(ReportFile::of(made.name, form.media_type(), &made.bytes))
}

/// A day as a file. Without a day: today, by this device's clock.
pub fn day_file(node: &Node, day: Option<&str>, wanted: Wanted) -> Result<MadeFile, Refusal> {
    let (day, _) = board(node, day_asked(node, day)?, wanted.language)?;
    let look = (wanted.language, wanted.paper);
    let bytes = render(Paperwork::Day(&day), wanted.form, look, node.typesetter())?;
    Ok(MadeFile { name: format!("day-{}.{}", day.day, wanted.form.extension()), bytes })
}

fn day_asked(node: &Node, day: Option<&str>) -> Result<NaiveDate, Refusal> {
    let Some(day) = day else { return Ok(node.now().day()) };
    day.parse().map_err(|_| {
        let shown: String = day.chars().take(40).collect();
        let help = "write a day as in 2026-05-14";
        Refusal::new(Code::WrongBody, format!("{shown:?} is no day"), help).at("day")
    })
}

/// The day, and the visits that could not be read for it.
fn board(
    node: &Node,
    day: NaiveDate,
    language: Language,
) -> Result<(ShopDay, Vec<UnreadVisit>), Refusal> {
    let (_, shop) = shop_here(node)?;
    let (mut visits, mut unread) = (Vec::new(), Vec::new());
    for id in of_kind(node, DocumentKind::Session)? {
        let id = id?;
        let visit = papers(node, id).and_then(|sheet| {
            let judged = Judged::in_language(&sheet, language)?;
            let report = judged.report(&sheet);
            let appraisal = judged.appraisal;
            Ok(Visit { session: id.to_string(), sheet, appraisal, report })
        });
        match visit {
            Ok(visit) => visits.push(visit),
            Err(refusal) => {
                unread.push(UnreadVisit { session: id.to_string(), why: refusal.what });
            }
        }
    }
    let device = |peer: crate::store::Peer| DeviceLine {
        name: peer.name,
        last: peer.last_exchange_at.day().to_string(),
    };
    let devices: Vec<DeviceLine> = node.peers()?.into_iter().map(device).collect();
    Ok((shop_day(&shop, &visits, &devices, day, language), unread))
}
