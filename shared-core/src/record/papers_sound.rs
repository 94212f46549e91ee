//! What the values of a shop and a site must be. [`super::validate`] walks and words it.

use super::ids::{DocumentId, is_check_id};
use super::logo::Logo;
use super::plan::{Check, LimitRule};
use super::shop::{
    AccuracyOf, AccuracyRange, CableRun, Calibrated, Calibration, Instrument, LossPoint, Part,
    PartKind, Shop,
};
use super::site::{Baseline, CoSited, DuplexerSweep, Equipment, LicenceTerms, Repeater, Site};
use super::validate::{NAME_MAX, PROFILE_MAX, Problem, SWEEP_POINTS_MAX, TEXT_MAX, Walk};
use crate::limits::LimitTable;
use crate::rf::feedline;
use crate::scpi::Profile;
use crate::units::{Db, Dbm, Hertz, Watts};

/// So many sites somebody may be sent to.
const PERSON_SITES_MAX: usize = 500;

/// Everything wrong with a shop.
pub fn shop(shop: &Shop) -> Vec<Problem> {
    Walk::over(|w| {
        w.text("name", &shop.name, NAME_MAX);
        w.optional_text("address", shop.address.as_ref(), TEXT_MAX);
        w.optional_text("phone", shop.phone.as_ref(), NAME_MAX);
        w.optional_text("letterhead", shop.letterhead.as_ref(), TEXT_MAX);
        w.maybe(shop.logo.as_ref(), |w, text| w.refused("logo", Logo::read(text)));
        w.optional_text("report_wording", shop.report_wording.as_ref(), TEXT_MAX);
        w.between("guard_factor", shop.guard_factor, 0.0, 5.0);
        w.between("calibration_widening", shop.calibration_widening, 1.0, 20.0);
        for (id, person) in &shop.people {
            w.entry("people", id, |w| {
                w.text("name", &person.name, NAME_MAX);
                w.optional_text("role", person.role.as_ref(), NAME_MAX);
                w.optional_date("until", person.until.as_ref());
                w.maybe(person.sites.as_ref(), |w, sites| sent_to(w, sites));
                w.optional_date("retired", person.retired.as_ref());
            });
        }
        for (id, found) in &shop.instruments {
            w.entry("instruments", id, |w| instrument(w, found));
        }
        for (id, found) in &shop.parts {
            w.entry("parts", id, |w| part(w, found));
        }
        for (id, found) in &shop.calibrations {
            w.entry("calibrations", id, |w| calibration(w, shop, found));
        }
        limit_rows(w, shop);
        plan(w, shop);
    })
}

fn sent_to(w: &mut Walk, sites: &[String]) {
    w.within("sites", |w| {
        if sites.len() > PERSON_SITES_MAX {
            w.problem(format!("has {} sites, and {PERSON_SITES_MAX} are taken", sites.len()));
        }
        for site in sites {
            if let Err(error) = site.parse::<DocumentId>() {
                w.problem(error.to_string());
            }
        }
    });
}

fn limit_rows(w: &mut Walk, shop: &Shop) {
    for (region, rows) in &shop.limit_rows {
        w.entry("limit_rows", region, |w| match LimitTable::shipped(region) {
            Err(error) => w.problem(error.to_string()),
            Ok(table) => {
                if let Err(error) = table.with_shop_rows(rows) {
                    w.problem(error.to_string());
                }
            }
        });
    }
}

fn instrument(w: &mut Walk, instrument: &Instrument) {
    w.text("name", &instrument.name, NAME_MAX);
    w.date("calibration_due", &instrument.calibration_due);
    w.optional_text("serial_number", instrument.serial_number.as_ref(), NAME_MAX);
    w.maybe(instrument.profile.as_ref(), |w, text| {
        if text.len() <= PROFILE_MAX {
            w.refused("profile", Profile::parse(text));
        } else {
            w.within("profile", |w| w.problem(format!("is longer than {PROFILE_MAX} bytes")));
        }
    });
    w.optional_date("retired", instrument.retired.as_ref());
    let accuracy = &instrument.accuracy;
    w.within("accuracy", |w| {
        w.between("level_db", accuracy.level_db, 0.0, 20.0);
        w.between("power_percent", accuracy.power_percent, 0.0, 50.0);
        w.between("frequency_ppm", accuracy.frequency_ppm, 0.0, 1000.0);
        w.between("deviation_percent", accuracy.deviation_percent, 0.0, 50.0);
        for (index, range) in accuracy.ranges.iter().enumerate() {
            w.within(&format!("ranges[{index}]"), |w| accuracy_range(w, range));
        }
    });
    for (id, port) in &instrument.ports {
        w.entry("ports", id, |w| {
            w.text("name", &port.name, NAME_MAX);
            if let Some(power_w) = port.power_max_w {
                w.refused("power_max_w", Watts::new(power_w));
            }
            return_loss(w, "return_loss_db", port.return_loss_db);
        });
    }
}

fn accuracy_range(w: &mut Walk, range: &AccuracyRange) {
    let widest = match range.of {
        AccuracyOf::Level => 20.0,
        AccuracyOf::Power | AccuracyOf::Deviation => 50.0,
        AccuracyOf::Frequency => 1000.0,
    };
    w.between("half_width", range.half_width, 0.0, widest);
    for (field, end) in [("from", range.from), ("to", range.to)] {
        if let Some(end) = end {
            w.between(field, end, -1e9, 1e9);
        }
    }
    let turned = |low: Option<f64>, high: Option<f64>| low.zip(high).is_some_and(|(l, h)| l > h);
    if turned(range.from, range.to) {
        w.within("to", |w| w.across("lies below from".to_owned()));
    }
    if turned(range.from_hz.map(|hz| hz as f64), range.to_hz.map(|hz| hz as f64)) {
        w.within("to_hz", |w| w.across("lies below from_hz".to_owned()));
    }
}

fn cable_run(w: &mut Walk, run: &CableRun) {
    w.refused("listed", feedline::cable(&run.listed));
    w.between("length_m", run.length_m, 0.01, 2_000.0);
    w.between("length_tolerance_m", run.length_tolerance_m, 0.0, 2_000.0);
    if run.length_tolerance_m > run.length_m {
        let what = "is more than the length: that is no length".to_owned();
        w.within("length_tolerance_m", |w| w.across(what));
    }
}

fn part(w: &mut Walk, part: &Part) {
    w.text("name", &part.name, NAME_MAX);
    w.between("tolerance_db", part.tolerance_db, 0.0, 20.0);
    w.refused("power_max_w", Watts::new(part.power_max_w));
    return_loss(w, "return_loss_db", part.return_loss_db);
    if let Some(short) = &part.short_time {
        w.within("short_time", |w| {
            // Less than for long would be no rating at all.
            w.between("power_w", short.power_w, 0.0, 1e6);
            if short.power_w < part.power_max_w {
                let (given, least) = (short.power_w, part.power_max_w);
                let what = format!("{given} W is less than the {least} W it takes for long");
                w.within("power_w", |w| w.across(what));
            }
            w.between("seconds", short.seconds, 0.1, 86_400.0);
        });
    }
    if let Some(due) = &part.calibration_due {
        w.date("calibration_due", due);
    }
    w.optional_text("serial_number", part.serial_number.as_ref(), NAME_MAX);
    w.optional_date("retired", part.retired.as_ref());
    let listed = part.kind == PartKind::Cable && part.cable.is_some();
    loss_points(w, "loss", &part.loss, !part.kind.ends_a_line() && !listed);
    if let Some(run) = &part.cable {
        w.within("cable", |w| match part.kind {
            PartKind::Cable => cable_run(w, run),
            _ => w.across("has no place here: only a cable is known by its length".to_owned()),
        });
    }
    match &part.isolator {
        Some(isolator) if part.kind == PartKind::Isolator => w.within("isolator", |w| {
            loss_points(w, "isolation", &isolator.isolation, true);
            w.refused("reverse_power_max_w", Watts::new(isolator.reverse_power_max_w));
        }),
        Some(_) => w.within("isolator", |w| {
            w.across("has no place here: only an isolator has two directions".to_owned());
        }),
        None if part.kind == PartKind::Isolator => {
            w.within("isolator", |w| w.across("is wanted: arrow and isolation".to_owned()));
        }
        None => {}
    }
    loss_points(w, "coupling", &part.coupling, part.kind == PartKind::Coupler);
}

fn calibration(w: &mut Walk, shop: &Shop, calibration: &Calibration) {
    match calibration.of {
        Calibrated::Instrument => {
            w.refers("item", "instrument", &calibration.item, &shop.instruments)
        }
        Calibrated::Part => w.refers("item", "part", &calibration.item, &shop.parts),
    }
    w.date("on", &calibration.on);
    w.text("by", &calibration.by, NAME_MAX);
    w.optional_text("certificate", calibration.certificate.as_ref(), NAME_MAX);
    w.date("next_due", &calibration.next_due);
    w.optional_date("before", calibration.before.as_ref());
    w.optional_date("retired", calibration.retired.as_ref());
    // Days written alike compare as they follow each other.
    if calibration.next_due < calibration.on {
        w.within("next_due", |w| w.across(format!("lies before {}", calibration.on)));
    }
}

/// The plan's numbers and texts; what holds a plan together is asked of `checks::plan`.
fn plan(w: &mut Walk, shop: &Shop) {
    for id in shop.checks_off.keys() {
        check_entry(w, "checks_off", id, |_| {});
    }
    for (id, rule) in &shop.check_limits {
        check_entry(w, "check_limits", id, |w| w.maybe(rule.as_ref(), limit));
    }
    for (id, check) in &shop.added_checks {
        check_entry(w, "added_checks", id, |w| w.maybe(check.as_ref(), |w, c| added(w, id, c)));
    }
    for (id, caution) in &shop.added_cautions {
        w.entry("added_cautions", id, |w| {
            w.maybe(caution.as_ref(), |w, caution| {
                w.text("title", &caution.title, NAME_MAX);
                w.text("text", &caution.text, TEXT_MAX);
            });
        });
    }
}

fn check_entry(w: &mut Walk, map: &'static str, id: &str, walk: impl FnOnce(&mut Walk)) {
    w.within(map, |w| {
        w.within(id, |w| {
            if !is_check_id(id) {
                w.problem("is no check: letters, digits, hyphens and dots are".to_owned());
            }
            walk(w);
        });
    });
}

fn limit(w: &mut Walk, rule: &LimitRule) {
    w.text("source", &rule.source, TEXT_MAX);
    w.maybe(rule.value.as_ref(), |w, value| w.between("value", *value, -1e9, 1e9));
    w.between("allow", rule.allow, 0.0, 1e9);
    w.between("allow_below", rule.allow_below, 0.0, 1e9);
    w.between("allow_above", rule.allow_above, 0.0, 1e9);
}

fn added(w: &mut Walk, id: &str, check: &Check) {
    if check.id != id {
        w.within("id", |w| w.problem(format!("is not {id:?}, under which it stands")));
    }
    w.text("title", &check.title, NAME_MAX);
    w.text("criterion", &check.criterion, NAME_MAX);
    w.text("instruction", &check.instruction, TEXT_MAX);
    w.between("repeat", check.repeat, 1e-6, 1e6);
    w.within("limit", |w| limit(w, &check.limit));
}

fn return_loss(w: &mut Walk, field: &'static str, given: Option<f64>) {
    if let Some(db) = given {
        w.between(field, db, 0.0, 100.0);
    }
}

fn loss_points(w: &mut Walk, field: &'static str, points: &[LossPoint], wanted: bool) {
    w.within(field, |w| {
        if points.is_empty() == wanted {
            let what = if wanted { "at least one point is wanted" } else { "has no place here" };
            w.across(what.to_owned());
        }
        if !points.is_sorted_by(|a, b| a.at_hz < b.at_hz) {
            w.problem("the points must rise in frequency".to_owned());
        }
        for (index, point) in points.iter().enumerate() {
            w.within(&index.to_string(), |w| {
                w.refused("at_hz", Hertz::carrier(point.at_hz as f64));
                // A passive part does not amplify.
                w.between("loss_db", point.loss_db, 0.0, *Db::RANGE.end());
            });
        }
    });
}

/// Everything wrong with a site.
pub fn site(site: &Site) -> Vec<Problem> {
    Walk::over(|w| {
        w.text("name", &site.name, NAME_MAX);
        w.text("access", &site.access, TEXT_MAX);
        for (index, hazard) in site.hazards.iter().enumerate() {
            w.within(&format!("hazards[{index}]"), |w| w.text("text", hazard, TEXT_MAX));
        }
        for (id, hazard) in &site.hazard_entries {
            w.entry("hazard_entries", id, |w| {
                w.text("text", &hazard.text, TEXT_MAX);
                w.optional_date("retired", hazard.retired.as_ref());
            });
        }
        for (id, found) in &site.repeaters {
            w.entry("repeaters", id, |w| repeater(w, found));
        }
        for (id, found) in &site.equipment {
            w.entry("equipment", id, |w| equipment(w, site, found));
        }
        for (id, found) in &site.co_sited {
            w.entry("co_sited", id, |w| co_sited(w, found));
        }
        for (id, found) in &site.baselines {
            w.entry("baselines", id, |w| baseline(w, site, found));
        }
        if let Some(position) = &site.position {
            w.within("position", |w| {
                w.between("latitude_degrees", position.latitude_degrees, -90.0, 90.0);
                w.between("longitude_degrees", position.longitude_degrees, -180.0, 180.0);
            });
        }
    })
}

fn repeater(w: &mut Walk, repeater: &Repeater) {
    w.text("name", &repeater.name, NAME_MAX);
    w.refused("receive_hz", Hertz::carrier(repeater.receive_hz as f64));
    w.refused("transmit_hz", Hertz::carrier(repeater.transmit_hz as f64));
    w.between("channel_width_hz", repeater.channel_width_hz as f64, 1_000.0, 1_000_000.0);
    w.text("region", &repeater.region, NAME_MAX);
    w.optional_text("call_sign", repeater.call_sign.as_ref(), NAME_MAX);
    w.optional_text("emission", repeater.emission.as_ref(), NAME_MAX);
    w.optional_date("licence_expires", repeater.licence_expires.as_ref());
    w.optional_date("retired", repeater.retired.as_ref());
    let ratings = &repeater.ratings;
    w.within("ratings", |w| {
        w.refused("opening_level_dbm", Dbm::new(ratings.opening_level_dbm));
        w.refused("power_w", Watts::new(ratings.power_w));
        w.between("duplexer_transmit_loss_db", ratings.duplexer_transmit_loss_db, 0.0, 30.0);
        w.between("duplexer_receive_loss_db", ratings.duplexer_receive_loss_db, 0.0, 30.0);
        w.between("duplexer_tolerance_db", ratings.duplexer_tolerance_db, 0.0, 10.0);
        w.refused("duplexer_power_max_w", Watts::new(ratings.duplexer_power_max_w));
        for (field, given) in [
            ("receiver_port_return_loss_db", ratings.receiver_port_return_loss_db),
            ("transmitter_port_return_loss_db", ratings.transmitter_port_return_loss_db),
            ("antenna_port_return_loss_db", ratings.antenna_port_return_loss_db),
        ] {
            return_loss(w, field, given);
        }
    });
    if let Some(terms) = &repeater.licence {
        w.within("licence", |w| licence(w, terms));
    }
    if let Some(sweep) = &repeater.duplexer_sweep {
        w.within("duplexer_sweep", |w| duplexer_sweep(w, sweep, repeater));
    }
    if let Some(antenna) = &repeater.antenna {
        w.within("antenna", |w| {
            w.between("gain_dbd", antenna.gain_dbd, -30.0, 30.0);
            w.between("other_loss_db", antenna.other_loss_db, 0.0, 60.0);
            w.between("tolerance_db", antenna.tolerance_db, 0.0, 20.0);
            if let Some(run) = &antenna.feedline {
                w.within("feedline", |w| cable_run(w, run));
            }
        });
    }
}

fn licence(w: &mut Walk, terms: &LicenceTerms) {
    w.refused("transmit_hz", Hertz::carrier(terms.transmit_hz as f64));
    for (field, power) in [("output_w", terms.output_w), ("erp_w", terms.erp_w)] {
        if let Some(watts) = power {
            w.refused(field, Watts::new(watts));
        }
    }
    w.text("source", &terms.source, TEXT_MAX);
}

fn duplexer_sweep(w: &mut Walk, sweep: &DuplexerSweep, repeater: &Repeater) {
    for (field, points, at_hz) in [
        ("transmit_path", &sweep.transmit_path, repeater.transmit_hz),
        ("receive_path", &sweep.receive_path, repeater.receive_hz),
    ] {
        loss_points(w, field, points, true);
        let ends = points.first().zip(points.last());
        if ends.is_some_and(|(low, high)| at_hz < low.at_hz || at_hz > high.at_hz) {
            let what = format!("does not reach the path's own frequency, {at_hz} Hz");
            w.within(field, |w| w.across(what));
        }
        if points.len() > SWEEP_POINTS_MAX {
            let most = format!("{} points; {SWEEP_POINTS_MAX} is the most", points.len());
            w.within(field, |w| w.problem(most));
        }
    }
    w.between("tolerance_db", sweep.tolerance_db, 0.0, 10.0);
    w.date("swept_on", &sweep.swept_on);
    w.text("source", &sweep.source, TEXT_MAX);
}

fn equipment(w: &mut Walk, site: &Site, equipment: &Equipment) {
    w.text("name", &equipment.name, NAME_MAX);
    w.optional_text("serial_number", equipment.serial_number.as_ref(), NAME_MAX);
    w.optional_text("rating", equipment.rating.as_ref(), NAME_MAX);
    if let Some(repeater) = &equipment.repeater {
        w.refers("repeater", "repeater", repeater, &site.repeaters);
    }
    w.optional_date("retired", equipment.retired.as_ref());
}

fn co_sited(w: &mut Walk, other: &CoSited) {
    w.text("name", &other.name, NAME_MAX);
    w.refused("frequency_hz", Hertz::carrier(other.frequency_hz as f64));
    w.maybe(other.power_w.as_ref(), |w, power_w| w.refused("power_w", Watts::new(*power_w)));
    w.optional_text("antenna", other.antenna.as_ref(), NAME_MAX);
    w.optional_date("retired", other.retired.as_ref());
}

fn baseline(w: &mut Walk, site: &Site, baseline: &Baseline) {
    w.refers("repeater", "repeater", &baseline.repeater, &site.repeaters);
    w.text("check", &baseline.check, NAME_MAX);
    w.between("value", baseline.value, -1e9, 1e9);
    w.date("since", &baseline.since);
    w.optional_date("retired", baseline.retired.as_ref());
}
