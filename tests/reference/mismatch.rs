//! Mismatch of one port and between two: HANDBOOK 5.3, E6 and 4.2.

use guyline_core::rf::mismatch::{Reflection, mismatch_error};
use guyline_core::units::{Loss, Watts};

use crate::source::Source::{self, Computed, Published};
use crate::source::close;

fn loss(db: f64) -> Loss {
    Loss::new(db).unwrap()
}

fn port(magnitude: f64) -> Reflection {
    Reflection::from_magnitude(magnitude).unwrap()
}

/// Holds every measure of one port against a row of the table, within the row's printed digits.
fn row(id: &str, port: Reflection, [vswr, magnitude, rl, percent, ml]: [f64; 5], source: &Source) {
    close(&format!("{id}, VSWR"), port.vswr().unwrap(), vswr, 0.0006 * vswr * vswr, source);
    close(&format!("{id}, |\u{393}|"), port.magnitude(), magnitude, 0.00006, source);
    close(&format!("{id}, return loss"), port.return_loss().unwrap().db(), rl, 0.006, source);
    close(&format!("{id}, reflected"), 100.0 * port.reflected_share(), percent, 0.006, source);
    close(&format!("{id}, mismatch"), port.mismatch_loss().unwrap().db(), ml, 0.0006, source);
}

#[test]
fn every_measure_of_a_port_from_its_vswr() {
    let table: [[f64; 5]; 14] = [
        [1.05, 0.0244, 32.26, 0.06, 0.003],
        [1.10, 0.0476, 26.44, 0.23, 0.010],
        [1.20, 0.0909, 20.83, 0.83, 0.036],
        [1.25, 0.1111, 19.08, 1.23, 0.054],
        [1.30, 0.1304, 17.69, 1.70, 0.075],
        [1.40, 0.1667, 15.56, 2.78, 0.122],
        [1.50, 0.2000, 13.98, 4.00, 0.177],
        [1.80, 0.2857, 10.88, 8.16, 0.370],
        [2.00, 0.3333, 9.54, 11.11, 0.512],
        [2.50, 0.4286, 7.36, 18.37, 0.881],
        [3.00, 0.5000, 6.02, 25.00, 1.249],
        [4.00, 0.6000, 4.44, 36.00, 1.938],
        [5.00, 0.6667, 3.52, 44.44, 2.553],
        [10.0, 0.8182, 1.74, 66.94, 4.807],
    ];
    for expected in table {
        let id = format!("5.3, VSWR {}", expected[0]);
        let port = Reflection::from_vswr(expected[0]).unwrap();
        row(&id, port, expected, &Computed("HANDBOOK 5.3"));
    }
}

#[test]
fn the_table_read_from_its_other_columns() {
    // The same rows entered by another column; the tolerance is what that column's digits leave.
    for (vswr, rl, percent, ml) in
        [(1.5, 13.98, 4.00, 0.177), (2.0, 9.54, 11.11, 0.512), (3.0, 6.02, 25.00, 1.249)]
    {
        for (column, port) in [
            ("return loss", Reflection::from_return_loss(loss(rl))),
            ("reflected", Reflection::from_reflected_percent(percent).unwrap()),
            ("mismatch loss", Reflection::from_mismatch_loss(loss(ml))),
        ] {
            let id = format!("5.3, VSWR {vswr} from {column}");
            close(&id, port.vswr().unwrap(), vswr, 0.003, &Computed("HANDBOOK 5.3"));
        }
    }
    let table = [
        (14.0, 1.499),
        (15.0, 1.433),
        (18.0, 1.288),
        (20.0, 1.222),
        (23.0, 1.152),
        (26.0, 1.106),
        (30.0, 1.065),
    ];
    for (rl, vswr) in table {
        let got = Reflection::from_return_loss(loss(rl)).vswr().unwrap();
        close(&format!("5.3, {rl} dB"), got, vswr, 0.0006, &Computed("HANDBOOK 5.3"));
    }
    let field = [(14.0, 1.5), (10.0, 2.0)];
    for (rl, vswr) in field {
        let got = Reflection::from_return_loss(loss(rl)).vswr().unwrap();
        let source = Published("a field table, HANDBOOK 5.3 (about)");
        close(&format!("5.3, about {rl} dB"), got, vswr, 0.08, &source);
    }
}

#[test]
fn published_resistances_on_fifty_ohms() {
    // |Γ| = |R - 50|/(R + 50), by hand.
    for (id, ohms, vswr) in [("G9A09", 200.0f64, 4.0), ("G9A10", 10.0, 5.0), ("G9A11", 50.0, 1.0)] {
        let got = port((ohms - 50.0).abs() / (ohms + 50.0)).vswr().unwrap();
        close(id, got, vswr, 1e-9, &Published("FCC Element 3, G9A09-G9A11"));
    }
}

#[test]
fn forward_and_reflected_power() {
    let from = Reflection::from_powers(Watts::new(100.0).unwrap(), 25.0).unwrap();
    let absorbed = 100.0 * (1.0 - from.reflected_share());
    close("E6, absorbed", absorbed, 75.0, 1e-9, &Published("FCC Element 4, E4B06"));
    let source = Computed("HANDBOOK E6");
    close("E6, |\u{393}|", from.magnitude(), 0.5, 1e-12, &source);
    close("E6, VSWR", from.vswr().unwrap(), 3.0, 1e-9, &source);
    close("E6, return loss", from.return_loss().unwrap().db(), 6.02, 0.005, &source);
    // The mismatch loss of what is absorbed, HANDBOOK U4: 75 of 100 W.
    let ml = from.mismatch_loss().unwrap().db();
    close("E6, mismatch loss", ml, 1.249, 0.0006, &Computed("HANDBOOK 5.3"));
}

#[test]
fn limits_and_uncertainty_between_two_ports() {
    for (source, load, most, least, standard) in [
        (0.1, 0.1, 0.0864, -0.0873, 0.0615),
        (0.2, 0.2, 0.3407, -0.3546, 0.2460),
        (0.333, 0.2, 0.5600, -0.5986, 0.4095),
        (1.0 / 3.0, 1.0 / 3.0, 0.9151, -1.0231, 0.6832),
    ] {
        let id = format!("4.2, {source:.3} and {load:.3}");
        let error = mismatch_error(port(source), port(load), Loss::ZERO);
        close(&id, error.most.db(), most, 0.00006, &Computed("HANDBOOK 4.2"));
        close(&id, error.least.unwrap().db(), least, 0.00006, &Computed("HANDBOOK 4.2"));
        close(&id, error.standard_db, standard, 0.00006, &Computed("HANDBOOK 4.2"));
    }
}

#[test]
fn the_published_chain_of_a_radio_test() {
    // A radio-test uncertainty guide: unit 0.7, splitter 0.099, attenuator 0.333, analyser 0.091;
    // path |S| 0.912, 0.794, 0.724. Which pair and path belong to a term is read off its number.
    let terms = [
        (0.7, 0.099, 1.0, 0.426),
        (0.099, 0.333, 1.0, 0.203),
        (0.333, 0.091, 1.0, 0.186),
        (0.7, 0.333, 0.912, 1.192),
        (0.099, 0.333, 0.794, 0.128),
        (0.7, 0.091, 0.724, 0.205),
    ];
    let source = Published("a radio-test uncertainty guide quoting TR 100 028, HANDBOOK 4.2");
    let mut sum = 0.0;
    for (one, other, path, expected) in terms {
        let between = loss(-20.0 * f64::log10(path));
        let got = mismatch_error(port(one), port(other), between).standard_db;
        close(&format!("4.2, {one} and {other} through {path}"), got, expected, 0.0006, &source);
        sum += got * got;
    }
    close("4.2, all", sum.sqrt(), 1.318, 0.0006, &source);
}
