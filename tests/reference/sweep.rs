//! What a sweep says at a frequency: HANDBOOK 5.3, and numpy and scikit-rf on random sweeps.

use guyline_core::rf::sweep::{Sweep, loss, vswr};
use guyline_core::units::Hertz;
use num_complex::Complex64;
use serde_json::Value;

use crate::oracle::numbers;
use crate::source::Source::{Computed, Published};
use crate::source::close;

#[test]
fn return_loss_and_reflection_of_every_standing_wave_ratio() {
    let rows: [(f64, f64, f64); 14] = [
        // VSWR, |Γ|, return loss dB
        (1.05, 0.0244, 32.26),
        (1.10, 0.0476, 26.44),
        (1.20, 0.0909, 20.83),
        (1.25, 0.1111, 19.08),
        (1.30, 0.1304, 17.69),
        (1.40, 0.1667, 15.56),
        (1.50, 0.2000, 13.98),
        (1.80, 0.2857, 10.88),
        (2.00, 0.3333, 9.54),
        (2.50, 0.4286, 7.36),
        (3.00, 0.5000, 6.02),
        (4.00, 0.6000, 4.44),
        (5.00, 0.6667, 3.52),
        (10.0, 0.8182, 1.74),
    ];
    for (ratio, gamma, return_loss_db) in rows {
        let source = Computed("HANDBOOK 5.3");
        // Through the return loss, so that the published reflection's rounding does not matter.
        let reflection = Complex64::from_polar(10f64.powf(-return_loss_db / 20.0), 0.7);
        close("5.3 |Γ|", reflection.norm(), gamma, 1e-4 + 6e-4 * gamma, &source);
        close("5.3 VSWR", vswr(reflection).unwrap() / ratio, 1.0, 5e-3, &source);
        close("5.3 return loss", loss(reflection).unwrap().db(), return_loss_db, 1e-9, &source);
    }
    // FCC Element 3 pool, G9A09 to G9A11: 200, 10 and 50 Ω on 50 Ω.
    for (ohm, ratio) in [(200.0, 4.0), (10.0, 5.0), (50.0, 1.0)] {
        let reflection = Complex64::new((ohm - 50.0) / (ohm + 50.0), 0.0);
        let source = Published("FCC Element 3 pool, G9A09 to G9A11");
        close("5.3 load", vswr(reflection).unwrap(), ratio, 1e-12, &source);
    }
}

/// Interpolation against numpy, loss and VSWR against scikit-rf.
pub(crate) fn against(cases: &Value) {
    let mut points = 0;
    for case in cases["interpolations"].as_array().unwrap() {
        let value = |real: &str, imaginary: &str| -> Vec<Complex64> {
            let parts = numbers(&case[real]).into_iter().zip(numbers(&case[imaginary]));
            parts.map(|(re, im)| Complex64::new(re, im)).collect()
        };
        let swept = value("real", "imaginary");
        let sweep = Sweep::new(numbers(&case["hertz"]), swept, vec![50.0]).unwrap();
        let expected = value("got_real", "got_imaginary");
        for (hertz, expected) in numbers(&case["wanted"]).into_iter().zip(expected) {
            let got = sweep.at(Hertz::carrier(hertz).unwrap(), 1, 1).unwrap();
            let off = (got - expected).norm() / expected.norm();
            close("interpolation", off, 0.0, 1e-9, &Computed("numpy.interp on dB and phase"));
            points += 1;
        }
    }
    assert!(points >= 1000, "{points} points were interpolated");
    for case in cases["ratios"].as_array().unwrap() {
        let number = |name: &str| case[name].as_f64().unwrap();
        let reflection = Complex64::new(number("real"), number("imaginary"));
        let got = loss(reflection).unwrap().db();
        close("return loss", got, -number("db"), 1e-9, &Computed("scikit-rf s_db"));
        let ratio = vswr(reflection).unwrap() / number("vswr");
        close("VSWR", ratio, 1.0, 1e-9, &Computed("scikit-rf s_vswr"));
    }
}
