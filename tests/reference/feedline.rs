//! Feedlines: HANDBOOK 5.4, and the shipped list of cables against the tables it was taken from.

use guyline_core::rf::feedline::{
    CableLaw, cable, reflection_at_input, reflection_at_load, total_loss,
};
use guyline_core::rf::mismatch::Reflection;
use guyline_core::units::{Hertz, Loss, Metres};

use crate::source::Source::{Computed, Published};
use crate::source::close;

fn loss(db: f64) -> Loss {
    Loss::new(db).unwrap()
}

fn mhz(frequency_mhz: f64) -> Hertz {
    Hertz::carrier(frequency_mhz * 1e6).unwrap()
}

fn vswr(value: f64) -> Reflection {
    Reflection::from_vswr(value).unwrap()
}

#[test]
fn losses_in_a_row_add() {
    let pads = Loss::sum(&[loss(1.5), loss(1.5)]).unwrap();
    close("5.4, two pads", pads.db(), 3.0, 1e-9, &Computed("scikit-rf, HANDBOOK 5.4"));
    // α = 0.01 Np/m is 0.0868589 dB/m by 20/ln 10, the factor HANDBOOK 5.4 prints.
    let law = [(mhz(100.0), loss(8.685_889_638)), (mhz(400.0), loss(17.371_779_276))];
    let line = CableLaw::fitted("line", &law).unwrap();
    let five = line.loss(mhz(100.0), Metres::line(5.0).unwrap()).unwrap();
    let source = Computed("scikit-rf, HANDBOOK 5.4: 0.434294 dB");
    close("5.4, 5 m at 0.01 Np/m, in mdB", 1e3 * five.db(), 434.294, 0.001, &source);
}

#[test]
fn the_loss_a_mismatched_load_makes() {
    for (matched, at_load, total) in
        [(1.0, 2.0, 1.1959), (3.0, 3.0, 3.9677), (1.0, 3.0, 1.5039), (2.0, 1.5, 2.1076)]
    {
        let got = total_loss(loss(matched), vswr(at_load)).unwrap().db();
        let id = format!("5.4, {matched} dB, VSWR {at_load}");
        close(&id, got, total, 0.00006, &Computed("HANDBOOK 5.4"));
    }
}

#[test]
fn a_loss_hides_the_load() {
    for (matched, at_load, at_input) in [(1.0, 2.0, 1.7203), (3.0, 3.0, 1.6688)] {
        let id = format!("5.4, {matched} dB, VSWR {at_load}");
        let seen = reflection_at_input(loss(matched), vswr(at_load));
        close(&id, seen.vswr().unwrap(), at_input, 0.00006, &Computed("HANDBOOK 5.4"));
        let back = reflection_at_load(loss(matched), vswr(at_input)).unwrap();
        close(&id, back.vswr().unwrap(), at_load, 0.0006, &Computed("HANDBOOK 5.4"));
    }
    let open = Reflection::from_magnitude(1.0).unwrap();
    let seen = reflection_at_input(loss(3.0), open).vswr().unwrap();
    close("5.4, 3 dB and an open", seen, 3.0095, 0.00006, &Computed("HANDBOOK 5.4"));
    let lossier = reflection_at_input(loss(2.0), vswr(2.0));
    assert!(
        lossier < reflection_at_input(loss(1.0), vswr(2.0)),
        "higher loss lowers the SWR seen at the input: FCC Element 3 2023-27, G9A11"
    );
}

#[test]
fn the_law_through_two_points() {
    let points = [(mhz(150.0), loss(2.8)), (mhz(450.0), loss(5.2))];
    let law = CableLaw::fitted("cable", &points).unwrap();
    let source = Computed("HANDBOOK 5.4");
    close("5.4, k1", law.k1, 0.206_064, 6e-7, &source);
    close("5.4, k2", law.k2, 0.001_841_60, 6e-9, &source);
    let at_900 = law.loss(mhz(900.0), Metres::line(100.0).unwrap()).unwrap().db();
    close("5.4, 900 MHz", at_900, 7.8394, 0.00006, &source);
}

#[test]
fn listed_cables_lose_what_their_tables_say() {
    // The printed dB per 100 ft, which the list holds per 100 m: the same tables, read again.
    let guide = Published("a repeater systems training guide, cable losses per 100 ft");
    let group = Published("an emergency-radio group's table of cable losses, per 100 ft");
    let hundred_feet = Metres::line(30.48).unwrap();
    for (id, at, per_100_ft, source) in [
        ("solid-5mm", 150.0, 6.10, &guide),
        ("solid-5mm", 450.0, 11.75, &guide),
        ("solid-10mm", 150.0, 2.70, &guide),
        ("solid-10mm", 450.0, 4.97, &guide),
        ("ptfe-4mm", 150.0, 4.60, &guide),
        ("ptfe-10mm", 450.0, 4.75, &guide),
        ("foam-13mm", 150.0, 0.84, &guide),
        ("foam-13mm", 450.0, 1.57, &guide),
        ("foam-22mm", 150.0, 0.44, &guide),
        ("foam-22mm", 450.0, 0.79, &guide),
        ("foam-41mm", 150.0, 0.28, &guide),
        ("foil-6mm", 150.0, 3.0, &group),
        ("foil-10mm", 450.0, 2.7, &group),
    ] {
        let got = cable(id).unwrap().law.loss(mhz(at), hundred_feet).unwrap().db();
        close(&format!("{id}, {at} MHz"), got, per_100_ft, 0.05 * per_100_ft, source);
    }
}
