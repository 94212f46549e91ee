//! What this program writes as Touchstone, scikit-rf reads as the same network.
//!
//! Method: seeded networks of one to eight ports are written in every version, unit and format into
//! a folder; `oracle_touchstone.py` reads each with scikit-rf.

use guyline_core::rf::sweep::Sweep;
use guyline_core::rf::touchstone::FrequencyUnit::{GHz, Hz, KHz, MHz};
use guyline_core::rf::touchstone::ValueFormat::{DecibelDegrees, MagnitudeDegrees, RealImaginary};
use guyline_core::rf::touchstone::{Touchstone, TouchstoneVersion, Writing, write};
use num_complex::Complex64;

use crate::oracle::{numbers, oracle_of};
use crate::source::Source::Computed;
use crate::source::close;

/// A share between 0 and 1, another each time.
fn share(seed: &mut u64) -> f64 {
    *seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    (*seed >> 11) as f64 / (1_u64 << 53) as f64
}

fn network(seed: &mut u64, ports: usize, ohms: Vec<f64>) -> Touchstone {
    let points = 1 + (share(seed) * 4.0) as usize;
    let mut hertz = 0.0;
    let rising = (0..points).map(|_| {
        hertz += (1.0 + share(seed) * 3e8).round();
        hertz
    });
    let rising: Vec<f64> = rising.collect();
    let values = (0..points * ports * ports).map(|_| {
        let size = 10f64.powf(share(seed) * -4.0);
        Complex64::from_polar(size, (share(seed) * 359.0 - 179.0).to_radians())
    });
    let sweep = Sweep::new(rising, values.collect(), ohms).unwrap();
    Touchstone { sweep, noise: Vec::new(), modes: Vec::new() }
}

#[test]
fn scikit_rf_reads_every_file_that_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let (mut seed, mut written) = (1_558_u64, Vec::new());
    for ports in 1..=8 {
        for unit in [Hz, KHz, MHz, GHz] {
            for format in [RealImaginary, MagnitudeDegrees, DecibelDegrees] {
                for version in [TouchstoneVersion::V1, TouchstoneVersion::V2] {
                    let number = written.len();
                    let (ohms, name) = match version {
                        TouchstoneVersion::V1 => {
                            (vec![75.0; ports], format!("{number:04}.s{ports}p"))
                        }
                        TouchstoneVersion::V2 => {
                            let ohms = (0..ports).map(|at| 25.0 * (1 + at) as f64);
                            (ohms.collect(), format!("{number:04}.ts"))
                        }
                    };
                    let file = network(&mut seed, ports, ohms);
                    let text = write(&file, Writing { version, unit, format }).unwrap();
                    std::fs::write(folder.path().join(&name), text).unwrap();
                    written.push((name, file.sweep));
                }
            }
        }
    }
    let read = oracle_of("oracle_touchstone.py", &[folder.path()]);
    let read = read.as_array().unwrap();
    assert_eq!((read.len(), written.len()), (192, 192));
    for (case, (name, sweep)) in read.iter().zip(&written) {
        assert_eq!(case["name"], name.as_str());
        let by = Computed("scikit-rf reading the file");
        let pairs = |field: &str, ours: &[f64], share: f64| {
            let theirs = numbers(&case[field]);
            assert_eq!(theirs.len(), ours.len(), "{name}: {field}");
            for (theirs, ours) in theirs.iter().zip(ours) {
                close(&format!("{name} {field}"), *theirs, *ours, share * ours.abs(), &by);
            }
        };
        pairs("hertz", sweep.frequencies_hz(), 1e-12);
        pairs("ohms", sweep.references_ohm(), 1e-12);
        let theirs = numbers(&case["real"]).into_iter().zip(numbers(&case["imaginary"]));
        let theirs: Vec<Complex64> = theirs.map(|(re, im)| Complex64::new(re, im)).collect();
        assert_eq!(theirs.len(), sweep.scattering().len(), "{name}");
        for (got, expected) in theirs.iter().zip(sweep.scattering()) {
            let off = (got - expected).norm() / expected.norm();
            close(&format!("{name} S"), off, 0.0, 1e-12, &by);
        }
    }
}
