//! Desense and interference over noise: HANDBOOK Z1, Z2 and 6.2.

use guyline_core::rf::desense::{desense, extra_isolation, interference_over_noise};
use guyline_core::units::{Db, Dbm};

use crate::source::Source::Computed;
use crate::source::close;

const HANDBOOK_Z: [(f64, f64); 11] = [
    // rise dB, I/N dB
    (0.414, -10.0),
    (0.973, -6.0),
    (1.764, -3.0),
    (3.010, 0.0),
    (4.764, 3.0),
    (6.973, 6.0),
    (10.414, 10.0),
    (0.5, -9.136),
    (1.0, -5.868),
    (2.0, -2.329),
    (6.0, 4.744),
];

#[test]
fn interference_over_noise_both_ways() {
    for (rise, over_noise) in HANDBOOK_Z {
        let got = interference_over_noise(Db::new(rise).unwrap()).unwrap();
        let id = format!("{rise} dB");
        close(&id, got.db(), over_noise, 0.006, &Computed("HANDBOOK Z1, Z2"));
    }
}

#[test]
fn isolation_wanted_between_any_two_rows() {
    for (found, found_over) in HANDBOOK_Z {
        for (wanted, wanted_over) in HANDBOOK_Z.iter().filter(|(wanted, _)| *wanted < found) {
            let got = extra_isolation(Db::new(found).unwrap(), Db::new(*wanted).unwrap()).unwrap();
            let id = format!("{found} to {wanted} dB");
            close(&id, got.db(), found_over - wanted_over, 0.012, &Computed("HANDBOOK Z1, Z2"));
        }
    }
}

#[test]
fn the_three_levels_of_the_coupler_test() {
    // HANDBOOK 6.2, test data: load -30, antenna -27, keyed -24: site 3 dB, transmitter 3 dB.
    let [load, antenna, keyed] = [-30.0, -27.0, -24.0].map(|dbm| Dbm::new(dbm).unwrap());
    close("site", (antenna - load).db(), 3.0, 1e-9, &Computed("HANDBOOK 6.2"));
    close("transmitter", desense(keyed, antenna).db(), 3.0, 1e-9, &Computed("HANDBOOK 6.2"));
}
