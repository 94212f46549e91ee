//! Whatever is written is read again as the same network, in every version, unit and format; what a
//! version cannot hold is refused and never left out.

use proptest::prelude::*;

use super::super::super::sweep::Sweep;
use super::super::{ports_of_name, read};
use super::*;

const UNITS: [FrequencyUnit; 4] =
    [FrequencyUnit::Hz, FrequencyUnit::KHz, FrequencyUnit::MHz, FrequencyUnit::GHz];
const FORMATS: [ValueFormat; 3] =
    [ValueFormat::RealImaginary, ValueFormat::MagnitudeDegrees, ValueFormat::DecibelDegrees];

fn sweep(hertz: Vec<f64>, values: Vec<Complex64>, ohms: Vec<f64>) -> Touchstone {
    let sweep = Sweep::new(hertz, values, ohms).unwrap();
    Touchstone { sweep, noise: Vec::new(), modes: Vec::new() }
}

fn near(got: f64, expected: f64, share: f64) -> bool {
    (got - expected).abs() <= share * expected.abs().max(1e-300)
}

/// Reads what was written of it, and holds the two against each other.
fn comes_back(file: &Touchstone, how: Writing) {
    let text = write(file, how).unwrap();
    let ports = file.sweep.ports();
    let again =
        read(text.as_bytes(), Some(ports)).unwrap_or_else(|error| panic!("{error}\n{text}"));
    assert_eq!(again.modes, file.modes);
    assert_eq!(again.sweep.references_ohm(), file.sweep.references_ohm());
    let (one, two) = (&file.sweep, &again.sweep);
    assert_eq!(one.frequencies_hz().len(), two.frequencies_hz().len());
    for (got, expected) in two.frequencies_hz().iter().zip(one.frequencies_hz()) {
        assert!(near(*got, *expected, 1e-15), "{got} Hz for {expected}\n{text}");
    }
    for (got, expected) in two.scattering().iter().zip(one.scattering()) {
        if how.format == ValueFormat::RealImaginary {
            assert_eq!(got, expected, "{text}");
        }
        assert!((got - expected).norm() <= 1e-13 * expected.norm(), "{got}, {expected}\n{text}");
    }
    assert_eq!(again.noise.len(), file.noise.len());
    for (got, expected) in again.noise.iter().zip(&file.noise) {
        assert!(near(got.frequency_hz, expected.frequency_hz, 1e-15));
        assert!(near(got.minimum_db, expected.minimum_db, 1e-15));
        assert!(near(got.resistance_ohm, expected.resistance_ohm, 1e-14));
        assert!((got.source_reflection - expected.source_reflection).norm() < 1e-13);
    }
}

fn networks() -> impl Strategy<Value = Touchstone> {
    (1_usize..=8, 1_usize..=3).prop_flat_map(|(ports, points)| {
        let count = points * ports * ports;
        let values = prop::collection::vec((-9.0..0.3f64, -180.0..180.0f64), count);
        let ohms = prop::collection::vec(prop::sample::select(vec![50.0, 75.0, 0.5]), ports);
        let steps = prop::collection::vec(0.37..9e8f64, points);
        (values, ohms, steps).prop_map(|(values, ohms, steps)| {
            let mut hertz = 0.0;
            let rising = steps.into_iter().map(|step| {
                hertz += step;
                hertz
            });
            let value = |(size, degrees): (f64, f64)| {
                Complex64::from_polar(10f64.powf(size), degrees.to_radians())
            };
            sweep(rising.collect(), values.into_iter().map(value).collect(), ohms)
        })
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn a_network_comes_back_whole(
        file in networks(),
        unit in prop::sample::select(UNITS.to_vec()),
        format in prop::sample::select(FORMATS.to_vec()),
        noise in prop::option::of((1.0..1e9f64, 0.0..9.0f64, 0.0..0.99f64, -180.0..180.0f64)),
    ) {
        let mut file = file;
        let noise = noise.filter(|_| file.sweep.ports() == 2);
        if let Some((hertz, minimum_db, size, degrees)) = noise {
            // Version 1 tells where noise begins by a frequency that does not rise.
            let first_hz = file.sweep.frequencies_hz()[0];
            file.noise = vec![NoisePoint {
                frequency_hz: first_hz.min(hertz),
                minimum_db,
                source_reflection: Complex64::from_polar(size, degrees.to_radians()),
                resistance_ohm: 17.5,
            }];
        }
        comes_back(&file, Writing { version: TouchstoneVersion::V2, unit, format });
        let how = Writing { version: TouchstoneVersion::V1, unit, format };
        let ohms = file.sweep.references_ohm();
        if ohms.iter().all(|ohm| ohm.to_bits() == ohms[0].to_bits()) {
            comes_back(&file, how);
        } else {
            let refused = write(&file, how).unwrap_err();
            prop_assert!(matches!(refused, NotWritten::References { .. }), "{refused}");
        }
    }
}

#[test]
fn a_two_port_is_written_as_the_standard_has_it() {
    // HANDBOOK 5.1 rule 2: S11 S21 S12 S22.
    let value = |re: f64| Complex64::new(re, -re);
    let file = sweep(vec![155e6], [0.1, 0.2, 0.3, 0.4].map(value).to_vec(), vec![50.0; 2]);
    let how = Writing {
        version: TouchstoneVersion::V1,
        unit: FrequencyUnit::MHz,
        format: ValueFormat::RealImaginary,
    };
    assert_eq!(
        write(&file, how).unwrap(),
        "# MHz S RI R 50\n155 0.1 -0.1 0.3 -0.3 0.2 -0.2 0.4 -0.4\n"
    );
    let two = Writing { version: TouchstoneVersion::V2, ..how };
    assert_eq!(
        write(&file, two).unwrap(),
        "[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 2\n[Two-Port Data Order] 21_12\n\
         [Number of Frequencies] 1\n[Reference] 50 50\n[Network Data]\n\
         155 0.1 -0.1 0.3 -0.3 0.2 -0.2 0.4 -0.4\n[End]\n"
    );
}

#[test]
fn a_files_name_says_its_ports_where_it_is_of_version_1() {
    let said = ["a.s2p", "b.c.S10P", "d.ts", "s2p", "e.sp", "f.s-1p"].map(ports_of_name);
    assert_eq!(said, [Some(2), Some(10), None, None, None, None]);
}

#[test]
fn what_a_form_cannot_hold_is_refused() {
    let one = Complex64::new(0.5, 0.0);
    let mut file = sweep(vec![1e6], vec![one; 4], vec![50.0; 2]);
    file.modes = vec!["D1,2".to_owned(), "C1,2".to_owned()];
    let how = |version, format| Writing { version, unit: FrequencyUnit::Hz, format };
    let refused = write(&file, how(TouchstoneVersion::V1, ValueFormat::RealImaginary)).unwrap_err();
    assert!(refused.to_string().contains("D1,2 C1,2"), "{refused}");
    comes_back(&file, how(TouchstoneVersion::V2, ValueFormat::RealImaginary));

    let nothing = sweep(vec![2e6], vec![Complex64::new(0.0, 0.0)], vec![50.0]);
    let refused = write(&nothing, how(TouchstoneVersion::V2, ValueFormat::DecibelDegrees));
    assert_eq!(refused.unwrap_err(), NotWritten::NoDecibels { frequency_hz: 2e6 });
    comes_back(&nothing, how(TouchstoneVersion::V1, ValueFormat::MagnitudeDegrees));
}
