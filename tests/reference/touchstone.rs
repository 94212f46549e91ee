//! Reading Touchstone files: the specification's examples (HANDBOOK 5.2, T1 to T9), and more than
//! a thousand random files of every kind against scikit-rf.
//!
//! The bodies are those of the examples in the Touchstone File Format Specification 2.0 (IBIS Open
//! Forum), as HANDBOOK 5.2 and scikit-rf's test data carry them.

use guyline_core::rf::sweep::{loss, vswr};
use guyline_core::rf::touchstone::{Touchstone, read};
use num_complex::Complex64;

use crate::oracle::{numbers, oracle};
use crate::source::Source::{self, Computed, Published};
use crate::source::close;

const EXAMPLE_13: &str = "!2-port S-parameter file, three frequency points\n# GHz S RI R 50.0\n\
    1.0000 0.3926 -0.1211 -0.0003 -0.0021 -0.0003 -0.0021 0.3926 -0.1211\n\
    2.0000 0.3517 -0.3054 -0.0096 -0.0298 -0.0096 -0.0298 0.3517 -0.3054\n\
    10.000 0.3419 0.3336 -0.0134 0.0379 -0.0134 0.0379 0.3419 0.3336\n";

const EXAMPLE_18: &str = "#\n! NETWORK PARAMETERS\n2 .95 -26 3.57 157 .04 76 .66 -14\n\
    22 .60 -144 1.30 40 .14 40 .56 -85\n! NOISE PARAMETERS\n4 .7 .64 69 .38\n18 2.7 .46 -33 .40\n";

const EXAMPLE_17: &str = "[Version] 2.0\n#\n[Number of Ports] 2\n[Two-Port Data Order] 21_12\n\
    [Number of Frequencies] 2\n[Number of Noise Frequencies] 2\n[Reference] 50 25.0\n\
    [Network Data]\n2 .95 -26 3.57 157 .04 76 .66 -14\n22 .60 -144 1.30 40 .14 40 .56 -85\n\
    [Noise Data]\n4 .7 .64 69 19\n18 2.7 .46 -33 20\n[End]\n";

const FOUR_PORTS: &str = "[Version] 2.0\n# GHz S MA R 50\n[Number of Ports] 4\n\
    [Number of Frequencies] 1\n";

const EXAMPLE_5_ROWS: &str = "[Reference] 50 75 0.01 0.01\n[Matrix Format] Full\n[Network Data]\n\
    5.00000 0.60 161.24 0.40 -42.20 0.42 -66.58 0.53 -79.34 !row 1\n\
    0.40 -42.20 0.60 161.20 0.53 -79.34 0.42 -66.58 !row 2\n\
    0.42 -66.58 0.53 -79.34 0.60 161.24 0.40 -42.20 !row 3\n\
    0.53 -79.34 0.42 -66.58 0.40 -42.20 0.60 161.24 !row 4\n";

const EXAMPLE_6_ROWS: &str = "[Reference] 50 75\n0.01 0.01\n[Matrix Format] Lower\n\
    [Network Data]\n5.00000 0.60 161.24 !row 1\n0.40 -42.20 0.60 161.20 !row 2\n\
    0.42 -66.58 0.53 -79.34 0.60 161.24 !row 3\n\
    0.53 -79.34 0.42 -66.58 0.40 -42.20 0.60 161.24 !row 4\n";

fn file(text: &str) -> Touchstone {
    read(text.as_bytes(), None).unwrap_or_else(|refused| panic!("{refused} in\n{text}"))
}

/// S of so many points: point, row and column counted from 1.
fn s(file: &Touchstone, point: usize, row: usize, column: usize) -> Complex64 {
    let ports = file.sweep.ports();
    file.sweep.scattering()[((point - 1) * ports + row - 1) * ports + column - 1]
}

fn is(id: &str, got: Complex64, re: f64, im: f64, rounding: f64, source: &Source) {
    close(&format!("{id} real"), got.re, re, rounding, source);
    close(&format!("{id} imaginary"), got.im, im, rounding, source);
}

#[test]
fn t1_and_t2_one_port_in_magnitude_and_in_decibels() {
    let one = file("# MHz S MA R 50\n2.000 0.894 -12.136\n");
    let reader = Computed("HANDBOOK T1, scikit-rf reading the specification's example 1");
    is("T1", s(&one, 1, 1, 1), 0.874020294860635, -0.18794819544685, 1e-14, &reader);
    close("T1 frequency", one.sweep.frequencies_hz()[0], 2e6, 1e-6, &reader);
    let return_loss = loss(s(&one, 1, 1, 1)).unwrap().db();
    close("T1 return loss", return_loss, 0.97325, 5e-6, &Computed("HANDBOOK T1, scikit-rf"));
    let ratio = vswr(s(&one, 1, 1, 1)).unwrap();
    close("T1 VSWR", ratio, 17.868, 5e-4, &Computed("HANDBOOK T1, scikit-rf"));
    let two = file("# MHz S DB R 50\n2.000 -0.97 -12.136\n");
    let reader = Computed("HANDBOOK T2, scikit-rf reading the specification's example 2");
    is("T2", s(&two, 1, 1, 1), 0.87434735, -0.18801853, 6e-9, &reader);
}

#[test]
fn t3_a_two_port_at_three_frequencies() {
    let three = file(EXAMPLE_13);
    let published = Published("HANDBOOK T3, specification's example 13");
    let computed = Computed("HANDBOOK T3, scikit-rf");
    let rows = [
        // S21, its decibels; return loss and VSWR at port 1
        (-0.0003, -0.0021, -53.468, 7.726, 2.3947),
        (-0.0096, -0.0298, -30.087, 6.636, 2.7439),
        (-0.0134, 0.0379, -27.916, 6.417, 2.8291),
    ];
    for (n, (re, im, db, return_loss, ratio)) in rows.into_iter().enumerate() {
        let (through, back) = (s(&three, n + 1, 2, 1), s(&three, n + 1, 1, 1));
        is(&format!("T3 point {n}"), through, re, im, 1e-15, &published);
        close(&format!("T3 S21 {n}"), -loss(through).unwrap().db(), db, 6e-4, &computed);
        close(&format!("T3 return {n}"), loss(back).unwrap().db(), return_loss, 6e-4, &computed);
        close(&format!("T3 VSWR {n}"), vswr(back).unwrap(), ratio, 6e-5, &computed);
    }
}

#[test]
fn t4_and_t5_noise_normalised_in_version_1_and_in_ohms_in_version_2() {
    let (old, new) = (file(EXAMPLE_18), file(EXAMPLE_17));
    let reader = Computed("HANDBOOK T4, scikit-rf reading the specification's example 18");
    is("T4 S21 2 GHz", s(&old, 1, 2, 1), -3.28620, 1.39491, 6e-6, &reader);
    close("T4 S21", -loss(s(&old, 1, 2, 1)).unwrap().db(), 11.0534, 6e-5, &reader);
    is("T4 S12 2 GHz", s(&old, 1, 1, 2), 0.009677, 0.038812, 6e-7, &reader);
    is("T4 S21 22 GHz", s(&old, 2, 2, 1), 0.995858, 0.835624, 6e-7, &reader);
    assert_eq!(old.sweep.scattering(), new.sweep.scattering(), "T5: the same network");
    assert_eq!(new.sweep.references_ohm(), [50.0, 25.0], "T5");
    let published = Published("HANDBOOK T5 and 5.1 rule 5, specification's examples 17 and 18");
    for (from, id) in [(&old, "example 18"), (&new, "example 17")] {
        for (n, (hertz, minimum, ohm)) in
            [(4e9, 0.7, 19.0), (18e9, 2.7, 20.0)].into_iter().enumerate()
        {
            let point = from.noise[n];
            close(id, point.frequency_hz, hertz, 1e-3, &published);
            close(id, point.minimum_db, minimum, 1e-12, &published);
            close(id, point.resistance_ohm, ohm, 1e-12, &published);
        }
        close(id, from.noise[0].source_reflection.norm(), 0.64, 1e-12, &published);
        close(id, from.noise[1].source_reflection.arg().to_degrees(), -33.0, 1e-9, &published);
    }
}

#[test]
fn t6_and_t7_full_and_lower_matrices_and_a_split_reference() {
    let full = file(&format!("{FOUR_PORTS}{EXAMPLE_5_ROWS}"));
    let lower = file(&format!("{FOUR_PORTS}{EXAMPLE_6_ROWS}"));
    assert_eq!(full.sweep, lower.sweep, "T6");
    assert_eq!(full.sweep.references_ohm(), [50.0, 75.0, 0.01, 0.01], "T6");
    let reader = Computed("HANDBOOK T7, scikit-rf");
    is("T7 S11", s(&full, 1, 1, 1), -0.568124, 0.192963, 6e-7, &reader);
    is("T7 S21", s(&full, 1, 2, 1), 0.296322, -0.268688, 6e-7, &reader);
    // Example 14 is the first of these records in version 1, with no keyword to say how many.
    let (_, rows) = EXAMPLE_5_ROWS.split_once("[Network Data]\n").unwrap();
    let old = file(&format!("# GHz S MA R 50\n{rows}"));
    assert_eq!(old.sweep.scattering(), full.sweep.scattering(), "example 14");
}

#[test]
fn t8_and_t9_a_complex_reference_is_refused_and_the_order_of_ports_shows() {
    let complex =
        "!Created\n# GHz S RI R (50+50j) \n1.0\t1.0\t2.0\t3.0\t4.0\t5.0\t6.0\t7.0\t8.0\t\n";
    let refused = read(complex.as_bytes(), Some(2)).unwrap_err().to_string();
    assert!(refused.starts_with("line 2: the reference \"(50+50j)\" is complex"), "{refused}");
    // The same numbers at a real reference: S11 1+2j, S21 3+4j, S12 5+6j, S22 7+8j.
    let real = file(&complex.replace("(50+50j)", "50"));
    let published = Published("HANDBOOK T8, scikit-rf's simple_touchstone.s2p");
    for (row, column, re, im) in [(1, 1, 1.0, 2.0), (2, 1, 3.0, 4.0), (1, 2, 5.0, 6.0)] {
        is("T8", s(&real, 1, row, column), re, im, 0.0, &published);
    }
    is("T8", s(&real, 1, 2, 2), 7.0, 8.0, 0.0, &published);
}

#[test]
fn impedances_of_examples_9_and_10_are_one_network_in_both_versions() {
    let old = file(
        "# MHz Z MA R 75\n100 0.99 -4\n200 0.80 -22\n300 0.707 -45\n400 0.40 -62\n\
                    500 0.01 -89\n",
    );
    let new = file(
        "[Version] 2.0\n# MHz Z MA\n[Number of Ports] 1\n[Number of Frequencies] 5\n\
                    [Reference] 20.0\n[Network Data]\n100 74.25 -4\n200 60 -22\n300 53.025 -45\n\
                    400 30 -62\n500 0.75 -89\n",
    );
    let published = Published("HANDBOOK 5.1 rule 4, specification's examples 9 and 10");
    for point in 1..=5 {
        // The impedance that each reflection stands for at its own reference.
        let ohms = |file: &Touchstone| {
            let reference = file.sweep.references_ohm()[0];
            let back = s(file, point, 1, 1);
            (1.0 + back) / (1.0 - back) * reference
        };
        let (old, new) = (ohms(&old), ohms(&new));
        is("example 9", old, new.re, new.im, 1e-9, &published);
    }
}

#[test]
fn example_12_hybrids_become_scattering_parameters() {
    // HANDBOOK 5.1 rule 6: the text misprints the version here; 2.0 is meant.
    let head = |kind: &str| {
        format!(
            "[Version] 2.0\n# kHz {kind} MA R 1\n[Number of Ports] 2\n\
             [Two-Port Data Order] 21_12\n[Number of Frequencies] 1\n[Matrix Format] Full\n\
             [Network Data]\n"
        )
    };
    let hybrid = file(&format!("{}2 .95 -26 3.57 157 .04 76 .66 -14\n", head("H")));
    // The same network as G, which is the inverse of H: numpy.linalg.inv.
    let row = "2 1.03818128 13.03729105 5.61561692 4.03729105 0.06292008 -76.96270895 \
               1.49435184 1.03729105\n";
    let inverse = file(&format!("{}{row}", head("G")));
    let source = Computed("scikit-rf h2s of the specification's example 12");
    for (row, column, re, im) in [
        (1, 1, -1.99759434e-02, -0.18397267),
        (1, 2, -7.83029392e-04, 0.02514174),
        (2, 1, 2.22720655, -0.28199836),
        (2, 2, 0.193071650, 0.06509578),
    ] {
        is("example 12, H", s(&hybrid, 1, row, column), re, im, 6e-9, &source);
        is("example 12, G", s(&inverse, 1, row, column), re, im, 5e-8, &source);
    }
}

#[test]
fn mixed_modes_of_example_16_are_named() {
    let mixed = file(
        "[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 6\n\
        [Number of Frequencies] 1\n[Reference] 50 75 75 50 0.01 0.01\n\
        [Mixed-Mode Order] D2,3 D6,5 C2,3 C6,5 S4 S1\n[Network Data]\n\
        5.00 8.0 9.0 2.0 -1.0 3.0 -2.0 1.0 3.0 1.0 0.1 0.2 -0.2\n\
        2.0 -1.0 7.0 7.0 1.8 -2.0 -1.0 -1.0 -0.5 0.5 0.2 -0.1\n\
        3.0 -2.0 1.8 -2.0 5.8 6.0 1.2 0.8 0.9 0.7 0.3 -0.5\n\
        1.0 3.0 -1.0 -1.0 1.2 0.8 6.3 8.0 2.0 -0.5 1.5 0.6\n\
        1.0 0.1 -0.5 0.5 0.9 0.7 2.0 -0.5 4.7 -6.0 -1.0 2.0\n\
        0.2 -0.2 0.2 -0.1 0.3 -0.5 1.5 0.6 -1.0 2.0 5.5 -7.0\n",
    );
    assert_eq!(mixed.modes, ["D2,3", "D6,5", "C2,3", "C6,5", "S4", "S1"]);
    let published = Published("specification's example 16");
    is("example 16", s(&mixed, 1, 6, 6), 5.5, -7.0, 0.0, &published);
    assert!(mixed.connectors().is_err());
}

/// Relative to the largest value at that frequency: that is what a receiver of the file sees.
fn same(id: &str, got: &[Complex64], real: &[f64], imaginary: &[f64], matrix: usize) {
    assert_eq!(got.len(), real.len(), "{id}");
    for (n, point) in got.chunks_exact(matrix).enumerate() {
        let expected = |k: usize| Complex64::new(real[n * matrix + k], imaginary[n * matrix + k]);
        for (k, value) in point.iter().enumerate() {
            let off = (value - expected(k)).norm();
            assert!(off <= 1e-9 * expected(k).norm(), "{id}, point {n}, {k}: {value}");
        }
    }
}

#[test]
fn random_files_of_every_kind_are_read_as_scikit_rf_reads_them() {
    let cases = oracle("oracle_sweep.py");
    let files = cases["files"].as_array().unwrap();
    let mut read_by_both = 0;
    for (number, case) in files.iter().enumerate() {
        let text = case["text"].as_str().unwrap();
        let ports = case["ports"].as_u64().map(|ports| usize::try_from(ports).unwrap());
        let id = format!("file {number}:\n{text}\n");
        let found = read(text.as_bytes(), ports);
        let sweep = found.unwrap_or_else(|refused| panic!("{id}: {refused}")).sweep;
        let (real, imaginary) = (numbers(&case["real"]), numbers(&case["imaginary"]));
        same(&id, sweep.scattering(), &real, &imaginary, sweep.ports() * sweep.ports());
        assert_eq!(sweep.references_ohm(), numbers(&case["ohms"]), "{id}");
        for (got, expected) in sweep.frequencies_hz().iter().zip(numbers(&case["hertz"])) {
            close(&id, got / expected, 1.0, 1e-12, &Computed("scikit-rf"));
        }
        read_by_both += usize::from(case["by"] == "scikit-rf reads");
    }
    assert!(read_by_both >= 1000, "{read_by_both} of {} files", files.len());
    super::sweep::against(&cases);
    super::duplexer::against(&cases);
}
