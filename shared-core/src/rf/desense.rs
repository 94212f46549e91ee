//! Desensitisation: how much worse a receiver opens while its own transmitter is keyed.
//!
//! In: two levels at the same plane and criterion. Out: dB. Does not know sessions or limits.
//!
//!   D   = L_keyed − L_unkeyed              dB; a little below 0 is repeatability, not a gain
//!   I/N = 10·log10(10^(D/10) − 1)          dB; none for D ≤ 0, where no interference was seen
//!   D   = 10·log10(1 + 10^(I/N / 10))      dB
//!
//! Formula: from memory, unverified (HANDBOOK Z1). Check values: HANDBOOK Z1, Z2.

use crate::units::{Db, Dbm};

/// How much more level the receiver wants while the transmitter is keyed.
pub fn desense(keyed: Dbm, unkeyed: Dbm) -> Db {
    keyed - unkeyed
}

/// The interference over the receiver's noise that makes this desense; none at or below 0 dB.
pub fn interference_over_noise(desense: Db) -> Option<Db> {
    let rise = 10f64.powf(desense.db() / 10.0) - 1.0;
    (rise > 0.0).then(|| 10.0 * rise.log10()).and_then(|db| Db::new(db).ok())
}

/// The desense that an interference makes: the other way round, and always above 0 dB.
pub fn noise_rise(over_noise: Db) -> Db {
    let rise = 10.0 * 10f64.powf(over_noise.db() / 10.0).ln_1p() / std::f64::consts::LN_10;
    // ln(1 + x) of a ratio within its range stays within it.
    Db::new(rise).unwrap_or(over_noise)
}

/// How much further the transmitter must be kept from the receiver to bring `found` down to
/// `wanted`. None where it is there already, or where `wanted` is no desense at all.
pub fn extra_isolation(found: Db, wanted: Db) -> Option<Db> {
    let extra = interference_over_noise(found)? - interference_over_noise(wanted)?;
    (extra.db() > 0.0).then_some(extra)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn db(value: f64) -> Db {
        Db::new(value).unwrap()
    }

    #[test]
    fn interference_that_makes_a_desense() {
        // HANDBOOK Z2 (calculated there): rise to I/N; and Z1 read backwards.
        for (rise, over_noise) in [
            (0.5, -9.136),
            (1.0, -5.868),
            (2.0, -2.329),
            (3.0, -0.021),
            (6.0, 4.744),
            (0.414, -10.0),
            (3.010, 0.0),
            (10.414, 10.0),
        ] {
            let got = interference_over_noise(db(rise)).unwrap().db();
            assert!((got - over_noise).abs() < 0.006, "{rise} dB: {got}, published {over_noise}");
            let back = noise_rise(db(over_noise)).db();
            assert!((back - rise).abs() < 0.001, "{over_noise} dB: {back}, published {rise}");
        }
    }

    #[test]
    fn no_rise_is_no_interference() {
        assert!(interference_over_noise(db(0.0)).is_none());
        assert!(interference_over_noise(db(-0.4)).is_none());
    }

    #[test]
    fn isolation_wanted_is_the_difference_of_the_two_causes() {
        // HANDBOOK Z2: 6 dB is I/N 4.744, 1 dB is I/N -5.868: 10.612 dB apart.
        let extra = extra_isolation(db(6.0), db(1.0)).unwrap();
        assert!((extra.db() - 10.612).abs() < 0.002);
        assert!(extra_isolation(db(0.5), db(1.0)).is_none());
    }

    #[test]
    fn desense_is_the_difference_of_levels() {
        // HANDBOOK 6.2, test data: B -27, C -24: the transmitter costs 3 dB.
        let d = desense(Dbm::new(-24.0).unwrap(), Dbm::new(-27.0).unwrap());
        assert!((d.db() - 3.0).abs() < 1e-12);
    }
}
