//! `guyline fleet`: what each check does over the years at every repeater of the shop, the worst of
//! each class first.

use std::process::ExitCode;

use guyline_core::checks::fleet::{Apart, ApartBy, FleetClass, FleetMember};
use guyline_core::report::spread_shown;
use guyline_core::units::shown;

use super::{DataArgs, json, open_existing, paper};
use crate::desk::{FleetPage, fleet_page};

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct FleetArgs {
    #[command(flatten)]
    data: DataArgs,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: &FleetArgs) -> ExitCode {
    let node = match open_existing(&args.data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    match fleet_page(&node) {
        Ok(told) => {
            let text = if args.json { json(&told) } else { page(&told) };
            println!("{}", text.trim_end());
            ExitCode::SUCCESS
        }
        Err(refusal) => {
            eprintln!("could not look over the fleet: {refusal}");
            ExitCode::FAILURE
        }
    }
}

fn page(told: &FleetPage) -> String {
    let mut out = String::new();
    if told.classes.is_empty() {
        paper::wrapped(&mut out, 0, "No visit has a reading that can be judged.");
    }
    for class in &told.classes {
        one(&mut out, class);
    }
    for visit in &told.unread {
        paper::wrapped(&mut out, 0, &format!("○ {} cannot be read: {}", visit.session, visit.why));
    }
    out
}

fn one(out: &mut String, class: &FleetClass) {
    let middle = class
        .middle_per_year
        .map(|middle| format!(", middle drift {} a year", spread_shown(middle, &class.unit)));
    let middle = middle.unwrap_or_default();
    paper::wrapped(out, 0, &format!("{} ({}){middle}", class.title, class.band));
    for (place, member) in (1..).zip(&class.members) {
        paper::wrapped(out, 2, &format!("{place}. {}", line(member, &class.unit)));
        member.apart.iter().for_each(|apart| paper::wrapped(out, 5, &stands_apart(apart)));
    }
}

fn line(it: &FleetMember, unit: &str) -> String {
    let mut text = format!("{}, {}: {}", it.site_name, it.repeater, it.newest.text);
    if let Some(room) = it.room {
        text.push_str(&format!(", room {}", spread_shown(room, unit)));
    }
    match &it.trend {
        Some(trend) => {
            text.push_str(&format!(", {} a year", spread_shown(trend.per_year, unit)));
        }
        None if it.visits == 1 => text.push_str(", one visit: no trend yet"),
        None => text.push_str(&format!(", {} visits: no trend yet", it.visits)),
    }
    if let Some(years) = it.years_left {
        text.push_str(&format!(", meets its limit in {} years as it goes", shown(years, 1)));
    }
    text
}

fn stands_apart(it: &Apart) -> String {
    let by = match it.by {
        ApartBy::Room => "the room it has left",
        ApartBy::Drift => "its drift",
    };
    let readings = it.readings.iter().map(|read| format!("{} {}", read.day, read.text));
    let readings: Vec<String> = readings.collect();
    format!("△ apart from its like by {by} ({}): {}", shown(it.score, 1), readings.join("; "))
}
