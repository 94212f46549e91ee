//! A path through the air, as a check of sense: loss of free space, radio horizon, link margin.
//!
//!   L  = 20·log10(4π·d·f/c)             dB; 32.45 + 20·log10(f/MHz) + 20·log10(d/km)
//!   d  = √(2·k·R·h1) + √(2·k·R·h2)      m; R = 6371 km, k = 4/3 for radio, 1 for light
//!   margin = received − (least detectable + wanted over it)      dB
//!
//! Free space is the least a path can lose: hills, trees and buildings add to it. Refused nearer
//! than a wavelength, where it is no far field. Formulas: HANDBOOK P1 (ITU-R P.525, from memory,
//! unverified), P2 (its 4.12·√h is this one rounded); check values P1-P5, E4, E5.

use std::f64::consts::PI;

use crate::units::{Db, Dbm, Hertz, Loss, Metres, OutOfRange, in_range};

/// The speed of light in metres per second; exact by the definition of the metre.
pub const LIGHT_M_PER_S: f64 = 299_792_458.0;
/// The earth's mean radius in metres.
pub const EARTH_RADIUS_M: f64 = 6_371_000.0;
/// How much larger the earth seems to radio waves, which the air bends, in a standard atmosphere.
pub const STANDARD_BENDING: f64 = 4.0 / 3.0;

/// The loss of free space between isotropic antennas.
pub fn free_space_loss(at: Hertz, distance: Metres) -> Result<Loss, OutOfRange> {
    let wavelength = LIGHT_M_PER_S / at.hertz();
    let allowed = wavelength..=*Metres::PATH_RANGE.end();
    let metres = in_range("path length", distance.metres(), allowed, "m")?;
    Loss::named("free space loss", 20.0 * (4.0 * PI * metres / wavelength).log10())
}

/// How far two antennas may stand apart and still see each other over smooth ground, in metres.
/// `bending` is the factor k: [`STANDARD_BENDING`] for radio, 1 for light.
pub fn horizon_m(one: Metres, other: Metres, bending: f64) -> Result<f64, OutOfRange> {
    let bending = in_range("effective earth radius factor", bending, 0.3..=10.0, "")?;
    let seen = |height: Metres| (2.0 * bending * EARTH_RADIUS_M * height.metres()).sqrt();
    Ok(seen(one) + seen(other))
}

/// How far a received level is over what is wanted: the least that is detected, and `wanted_over`
/// it.
pub fn link_margin(received: Dbm, detectable: Dbm, wanted_over: Db) -> Db {
    received - detectable - wanted_over
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_path_shorter_than_a_wave_is_refused() {
        let at = Hertz::carrier(150e6).unwrap();
        let refused = free_space_loss(at, Metres::path(1.5).unwrap()).unwrap_err().to_string();
        assert!(refused.starts_with("path length of 1.5 m is outside 1.99861"), "{refused}");
        // At one wavelength it is 20·log10(4π).
        let near = free_space_loss(at, Metres::path(1.998_616_4).unwrap()).unwrap();
        assert!((near.db() - 21.984).abs() < 0.001);
    }

    #[test]
    fn an_absurd_atmosphere_is_refused() {
        let height = Metres::height(30.0).unwrap();
        for bending in [0.0, -1.0, f64::NAN, 11.0] {
            let refused = horizon_m(height, height, bending).unwrap_err();
            assert_eq!(refused.quantity, "effective earth radius factor");
        }
    }

    proptest! {
        #[test]
        fn ten_times_as_far_or_as_high_in_frequency_is_twenty_decibels(
            f in 3e7..1e9f64, d in 100.0..1e5f64,
        ) {
            let loss = |f: f64, d: f64| {
                free_space_loss(Hertz::carrier(f).unwrap(), Metres::path(d).unwrap()).unwrap().db()
            };
            prop_assert!((loss(f, d * 10.0) - loss(f, d) - 20.0).abs() < 1e-9);
            prop_assert!((loss(f * 10.0, d) - loss(f, d) - 20.0).abs() < 1e-9);
        }

        #[test]
        fn the_horizon_is_the_same_from_either_end(a in 0.0..3000.0f64, b in 0.0..3000.0f64) {
            let (a, b) = (Metres::height(a).unwrap(), Metres::height(b).unwrap());
            let one = horizon_m(a, b, STANDARD_BENDING).unwrap();
            prop_assert!((one - horizon_m(b, a, STANDARD_BENDING).unwrap()).abs() < 1e-6);
            let light = horizon_m(a, b, 1.0).unwrap();
            prop_assert!(one >= light);
        }
    }
}
