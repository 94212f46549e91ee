//! The reader's rules, each held by a file that keeps it and one that breaks it. The
//! specification's examples and scikit-rf stand in `tests/reference`.

use num_complex::Complex64;
use proptest::prelude::*;

use super::super::sweep::PORTS_MAX;
use super::*;

fn text(text: &str) -> Result<Touchstone, TouchstoneRefused> {
    read(text.as_bytes(), None)
}

fn values(file: &str) -> Vec<Complex64> {
    text(file).unwrap().sweep.scattering().to_vec()
}

fn refused(file: &str) -> String {
    text(file).unwrap_err().to_string()
}

fn real(values: &[f64]) -> Vec<Complex64> {
    values.iter().map(|value| Complex64::new(*value, 0.0)).collect()
}

/// HANDBOOK T8: a two-port whose four values all differ shows the order of ports.
const ORDER: &str = "# GHz S RI R 50\n1.0 1 2 3 4 5 6 7 8\n";

const VERSION_2: &str = "[Version] 2.0\n# GHz S RI R 50\n[Number of Ports] 2\n\
    [Two-Port Data Order] 21_12\n[Number of Frequencies] 1\n[Network Data]\n\
    1.0 1 2 3 4 5 6 7 8\n[End]\n";

#[test]
fn a_two_port_gives_s21_before_s12() {
    let c = Complex64::new;
    let rows = vec![c(1.0, 2.0), c(5.0, 6.0), c(3.0, 4.0), c(7.0, 8.0)];
    assert_eq!(values(ORDER), rows);
    assert_eq!(values(VERSION_2), rows);
    let other = VERSION_2.replace("21_12", "12_21");
    assert_eq!(values(&other), vec![rows[0], rows[2], rows[1], rows[3]]);
    let unsaid = VERSION_2.replace("[Two-Port Data Order] 21_12\n", "");
    assert_eq!(
        refused(&unsaid),
        "line 5: the data begins here and [Two-Port Data Order] is missing"
    );
}

#[test]
fn three_ports_come_row_by_row_over_several_lines() {
    let rows = "# Hz S RI\n5 1 0 2 0 3 0\n 4 0 5 0 6 0\n7 0 8 0 9 0\n\
                6 1 0 2 0\n 3 0 4 0 5 0 6 0 7 0\n 8 0 9 0\n";
    let nine = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0];
    assert_eq!(values(rows), real(&[nine, nine].concat()));
}

#[test]
fn the_first_option_line_holds_and_a_bare_one_is_the_default() {
    let file = text("# Hz S RI R 75\n# GHz S MA R 50\n100 0.5 0\n").unwrap().sweep;
    assert_eq!((file.references_ohm(), file.frequencies_hz()), (&[75.0][..], &[100.0][..]));
    let bare = text("#\n2 .5 90\n").unwrap().sweep;
    assert!((bare.frequencies_hz()[0] - 2e9).abs() < 1e-3);
    assert!((bare.scattering()[0] - Complex64::new(0.0, 0.5)).norm() < 1e-15);
    assert_eq!(refused("100 0.5 0\n").split(':').next(), Some("line 1"));
    assert!(refused("! x\n100 0.5 0\n").contains("line 2: expected an option line such as"));
}

#[test]
fn comments_marks_and_line_ends_do_no_harm() {
    let plain = text(ORDER).unwrap();
    let mut marked = b"\xef\xbb\xbf! gemessen in M\xfcnchen, 20 \xb0C\r\n".to_vec();
    marked.extend(b"#\tghz s ri r 50 ! options\r\n\r\n1.0 1 2 3 4 5 6 7 8!row\r\n");
    assert_eq!(read(&marked, Some(2)).unwrap(), plain);
    assert_eq!(text(&ORDER.replace('\n', "\r")).unwrap(), plain);
    assert_eq!(text(ORDER.trim_end()).unwrap(), plain);
    let wide = read(b"\xff\xfe#\0", None).unwrap_err();
    assert_eq!(wide, TouchstoneRefused::Utf16);
}

#[test]
fn one_file_in_three_formats() {
    let expected = Complex64::from_polar(0.1, 30f64.to_radians());
    for (format, pair) in [("RI", "0.08660254037844387 0.05"), ("MA", ".1 30"), ("DB", "-20 30")] {
        let got = values(&format!("# MHz S {format} R 50\n1 {pair}\n"))[0];
        assert!((got - expected).norm() < 1e-15, "{format}: {got}");
    }
}

#[test]
fn version_1_normalises_and_version_2_does_not() {
    // HANDBOOK 5.1 rule 4: 0.99 at R 75 in version 1 is 74.25 Ω in version 2.
    let old = text("# MHz Z MA R 75\n100 0.99 -4\n").unwrap().sweep;
    let new = "[Version] 2.0\n# MHz Z MA R 50\n[Number of Ports] 1\n[Number of Frequencies] 1\n\
               [Reference] 75\n[Network Data]\n100 74.25 -4\n";
    let new = text(new).unwrap().sweep;
    assert!((old.scattering()[0] - new.scattering()[0]).norm() < 1e-15);
    assert_eq!(old.references_ohm(), new.references_ohm());
    // Admittances the other way: y·R is in the file, so 1 is a match at any R.
    let matched = values("# MHz Y RI R 75\n100 1 0\n");
    assert!(matched[0].norm() < 1e-15);
}

#[test]
fn halves_of_a_matrix_are_filled_up() {
    let head = "[Version] 2.0\n# GHz S RI\n[Number of Ports] 3\n[Number of Frequencies] 1\n";
    let lower =
        format!("{head}[Matrix Format] Lower\n[Network Data]\n1 1 0\n2 0 3 0\n4 0 5 0 6 0\n");
    let upper =
        format!("{head}[matrix format] upper\n[Network Data]\n1 1 0 2 0 4 0\n3 0 5 0\n6 0\n");
    let whole = real(&[1.0, 2.0, 4.0, 2.0, 3.0, 5.0, 4.0, 5.0, 6.0]);
    assert_eq!(values(&lower), whole);
    assert_eq!(values(&upper), whole);
    assert!(refused(&lower.replace("Lower", "Left")).contains("expected Full, Lower or Upper"));
}

#[test]
fn references_may_wrap_and_must_all_be_there() {
    let head = "[Version] 2.0\n# GHz S RI\n[Number of Ports] 3\n[Number of Frequencies] 1\n";
    let data = "1 1 0 2 0 3 0 4 0 5 0 6 0 7 0 8 0 9 0\n";
    let wrapped = format!("{head}[Reference] 50 ! first\n75\n0.01\n[Network Data]\n{data}");
    assert_eq!(text(&wrapped).unwrap().sweep.references_ohm(), [50.0, 75.0, 0.01]);
    let short = format!("{head}[Reference] 50 75\n[Network Data]\n{data}");
    assert!(refused(&short).contains("[Reference] is missing"));
    let complex = format!("{head}[Reference] 50 75 50+1j\n[Network Data]\n{data}");
    assert!(refused(&complex).contains("line 5: the reference \"50+1j\" is complex"));
    assert!(refused("# GHz S RI R (50+50j)\n1 0 0\n").contains("only a resistance in ohms"));
}

#[test]
fn noise_begins_where_the_frequency_drops_or_the_keyword_says() {
    let old = format!("{ORDER}0.5 2 .5 90 .4\n0.8 3 .25 0 .5\n");
    let noise = text(&old).unwrap().noise;
    assert_eq!(noise.len(), 2);
    assert!((noise[0].frequency_hz - 0.5e9).abs() < 1e-3 && noise[1].minimum_db > 2.9);
    assert!((noise[0].resistance_ohm - 20.0).abs() < 1e-12, "0.4 of 50 Ω");
    assert!((noise[0].source_reflection - Complex64::new(0.0, 0.5)).norm() < 1e-15);
    let new = VERSION_2.replace("[End]", "[Noise Data]\n0.5 2 .5 90 20\n[End]");
    let new = text(&new).unwrap().noise;
    assert!((new[0].resistance_ohm - 20.0).abs() < 1e-12, "ohms as they stand");
    let many = VERSION_2.replace("[End]", "[Noise Data]\n0.5 2 .5 90 20\n[End]");
    let many = many.replace("[Network", "[Number of Noise Frequencies] 2\n[Network");
    assert!(refused(&many).starts_with("[Number of Noise Frequencies] says 2, the file has 1"));
}

#[test]
fn a_lost_or_doubled_number_is_found_where_it_is() {
    let order = TouchstoneRefused::RecordLong { line: 3, begins: 2, expected: 9 };
    assert_eq!(text("#GHz S RI\n1 1 2 3 4 5 6 7\n2 1 2 3 4 5 6 7 8\n").unwrap_err(), {
        // Without the number of ports a record of eight numbers says nothing.
        TouchstoneRefused::PortsUnclear { line: 2, found: 8 }
    });
    let lost = read(b"#GHz S RI\n1 1 2 3 4 5 6 7\n2 1 2 3 4 5 6 7 8\n", Some(2)).unwrap_err();
    assert_eq!(lost, order);
    let doubled = read(b"#GHz S RI\n1 1 2 3 4 5 6 7 8 8\n", Some(2)).unwrap_err();
    assert_eq!(doubled, TouchstoneRefused::RecordLong { line: 2, begins: 2, expected: 9 });
    let end = read(b"#GHz S RI\n1 1 2 3 4 5 6\n", Some(2)).unwrap_err();
    assert_eq!(end, TouchstoneRefused::RecordShort { begins: 2, found: 7, expected: 9 });
    let cut = VERSION_2.replace("Frequencies] 1", "Frequencies] 2");
    assert!(refused(&cut).starts_with("[Number of Frequencies] says 2, the file has 1: is it cut"));
}

#[test]
fn frequencies_rise() {
    let falls = "# GHz S RI\n2 1 0\n1 1 0\n";
    let expected = "line 3: frequency 1000000000 Hz: expected more than 2000000000 Hz";
    assert_eq!(refused(falls), expected);
    assert!(refused("# GHz S RI\n2 1 0\n2 1 0\n").contains("expected more than"));
    assert!(refused("# GHz S RI\n-2 1 0\n").contains("line 2: frequency -2000000000 Hz"));
    // A whole two-port record is no noise, though its frequency drops.
    let two = format!("{ORDER}0.5 1 2 3 4 5 6 7 8\n");
    assert!(refused(&two).contains("line 3: frequency 500000000 Hz"), "{}", refused(&two));
    // Nor is one that is short.
    let short = format!("{ORDER}0.5 1 2 3\n");
    let short = read(short.as_bytes(), Some(2)).unwrap_err().to_string();
    assert!(short.contains("line 3: frequency 500000000 Hz"), "{short}");
}

#[test]
fn what_is_no_number_is_told_with_its_line() {
    for word in ["abc", "NaN", "inf", "1e999", "0,5", "1.2.3", "0x10", "1\u{2212}"] {
        let got = refused(&format!("# GHz S RI\n\n1 {word} 0\n"));
        assert!(got.starts_with("line 3: expected a number, found "), "{word}: {got}");
    }
    // A mark that opens a line opens nothing behind numbers, where the record is whole already.
    for mark in ["#", "[End]"] {
        let got = refused(&format!("# GHz S RI\n1 .5 0\n2 .5 0 {mark} MHz\n"));
        assert!(got.starts_with("line 3: expected a number, found "), "{got}");
    }
    // A number that its format makes one no more.
    assert!(refused("# GHz S DB\n1 99999 0\n").starts_with("line 2: expected a number"));
    let long = refused(&format!("# GHz S RI\n1 {} 0\n", "x".repeat(1000)));
    assert!(long.len() < 100, "{long}");
    assert_eq!(text("").unwrap_err(), TouchstoneRefused::Empty);
    assert_eq!(text("# GHz S RI R 50\n! nothing\n").unwrap_err(), TouchstoneRefused::Empty);
}

#[test]
fn keywords_stand_where_they_belong() {
    let cases = [
        (VERSION_2.replace("[Version] 2.0\n", ""), "[Number of Ports] comes before [Version]"),
        (VERSION_2.replace("2.0", "3.0"), "[Version]: expected 2.0, found \"3.0\""),
        (VERSION_2.replace("[Number of Ports] 2\n", ""), "[Number of Ports] is missing"),
        (VERSION_2.replace("Ports] 2", "Ports] 9"), "9 ports: expected 1 to 8"),
        (VERSION_2.replace("Ports] 2", "Ports] x"), "expected a whole number, found \"x\""),
        (VERSION_2.replace("[Network", "[Netz"), "\"[Netz\" is no keyword of Touchstone 2.0"),
        (VERSION_2.replace("21_12", "21"), "expected 21_12 or 12_21"),
        (format!("{VERSION_2}2.0 1 2 3 4 5 6 7 8\n"), "line 9: this stands behind [End]"),
        (format!("{VERSION_2}[Noise Data]\n"), "[Noise Data] stands behind [End]"),
        (VERSION_2.replace("[End]", "[Reference] 50 50"), "comes behind the beginning of the data"),
        (VERSION_2.replace("[Network", "[Number of Ports] 2\n[Network"), "a second time"),
        (format!("{ORDER}[End]\n"), "[End] comes before [Version] 2.0"),
        (format!("# GHz\n{VERSION_2}"), "[Version] comes behind the option line"),
        (VERSION_2.replace("7 8\n", "7\n"), "has 8 numbers: expected 9"),
    ];
    for (file, part) in cases {
        assert!(refused(&file).contains(part), "{:?} lacks {part:?}", refused(&file));
    }
    assert_eq!(text(&format!("{VERSION_2}\n! bye\n")).unwrap(), text(VERSION_2).unwrap());
    let told = VERSION_2.replace(
        "[Number of Ports]",
        "[Begin Information]\n# anything [x] 5\n[Manufacturer] us\n[End Information]\n\
         [Number of Ports]",
    );
    assert_eq!(text(&told).unwrap(), text(VERSION_2).unwrap());
}

#[test]
fn the_number_of_ports_is_said_or_found() {
    for ports in 1..=PORTS_MAX {
        let row =
            |n: usize| format!("{} {}\n", if n == 0 { "1" } else { "" }, "1 0 ".repeat(ports));
        let file = match ports {
            2 => "# GHz S RI\n1 1 0 1 0 1 0 1 0\n".to_owned(),
            _ => format!("# GHz S RI\n{}", (0..ports).map(row).collect::<String>()),
        };
        assert_eq!(text(&file).unwrap().sweep.ports(), ports);
        assert_eq!(read(file.as_bytes(), Some(ports)).unwrap(), text(&file).unwrap());
    }
    assert!(matches!(read(b"", Some(9)), Err(TouchstoneRefused::Ports { ports: 9 })));
    assert!(matches!(read(b"", Some(0)), Err(TouchstoneRefused::Ports { ports: 0 })));
    let differ = read(VERSION_2.as_bytes(), Some(3)).unwrap_err();
    assert_eq!(differ, TouchstoneRefused::PortsDiffer { line: 6, found: 2, expected: 3 });
}

#[test]
fn hybrids_are_of_two_ports_and_mixed_modes_are_no_connectors() {
    assert!(refused("# GHz H RI\n1 1 0\n").contains("H and G parameters"));
    let head = "[Version] 2.0\n# GHz S RI\n[Number of Ports] 3\n[Number of Frequencies] 1\n";
    let mixed =
        format!("{head}[Mixed-Mode Order] D2,3 C2,3 S1\n[Network Data]\n1{}\n", " 1 0".repeat(9));
    let file = text(&mixed).unwrap();
    assert_eq!(file.modes, ["D2,3", "C2,3", "S1"]);
    let refusal = file.connectors().unwrap_err().to_string();
    assert_eq!(
        refusal,
        "the file's ports are mixed modes (D2,3 C2,3 S1): expected one port a connector"
    );
    assert!(refused(&mixed.replace("D2,3 ", "")).contains("[Mixed-Mode Order] is read with"));
    assert!(refused(&mixed.replace("D2,3", "Q2")).contains("expected a mode a port"));
    assert!(text(ORDER).unwrap().connectors().is_ok());
    assert!(refused("# GHz Z RI\n1 -1 0\n").contains("cannot be turned into scattering"));
}

#[test]
fn too_much_is_refused_before_it_costs() {
    let points: String = (0..=POINTS_MAX).map(|n| format!("{n} 0 0\n")).collect();
    let refusal = refused(&format!("# Hz S RI\n{points}"));
    assert_eq!(
        refusal,
        format!("line {}: expected at most {POINTS_MAX} frequencies", POINTS_MAX + 2)
    );
    let large = read(&vec![b' '; BYTES_MAX + 1], None).unwrap_err();
    assert_eq!(large, TouchstoneRefused::TooLarge { bytes: BYTES_MAX + 1 });
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn outside_never_panics(bytes in proptest::collection::vec(any::<u8>(), 0..300), ports: u8) {
        let _ = read(&bytes, None);
        let _ = read(&bytes, Some(usize::from(ports)));
    }

    #[test]
    fn a_spoiled_file_never_panics(
        second in any::<bool>(), at in 0usize..400, byte: u8, cut in 0usize..400,
        ports in 1usize..4,
    ) {
        let file = if second { VERSION_2.replace("[End]", "[Noise Data]\n0.5 2 .5 90 20\n[End]") }
            else { format!("{ORDER}0.5 2 .5 90 .4\n") };
        let mut bytes = file.into_bytes();
        let length = bytes.len();
        bytes[at % length] = byte;
        bytes.truncate(cut.max(1));
        if let Ok(found) = read(&bytes, Some(ports)) {
            prop_assert_eq!(found.sweep.ports(), ports);
        }
    }

    #[test]
    fn what_is_written_is_read(
        points in proptest::collection::vec((-1e3f64..1e3, -1e3f64..1e3), 4..40), unit in 0usize..4,
    ) {
        let (name, hertz) = [("Hz", 1.0), ("kHz", 1e3), ("MHz", 1e6), ("GHz", 1e9)][unit];
        let whole = points.len() / 4;
        let mut file = format!("# {name} S RI R 50\n");
        for (n, four) in points.chunks_exact(4).enumerate() {
            file.push_str(&format!("{}", n + 1));
            four.iter().for_each(|(re, im)| file.push_str(&format!(" {re} {im:e}")));
            file.push('\n');
        }
        let sweep = read(file.as_bytes(), Some(2)).unwrap().sweep;
        prop_assert_eq!(sweep.frequencies_hz().len(), whole);
        for (n, four) in points.chunks_exact(4).enumerate() {
            prop_assert!((sweep.frequencies_hz()[n] / hertz - (n + 1) as f64).abs() < 1e-9);
            let got = &sweep.scattering()[4 * n..4 * n + 4];
            let order = [got[0], got[2], got[1], got[3]];
            for (value, (re, im)) in order.iter().zip(four) {
                prop_assert_eq!((value.re, value.im), (*re, *im));
            }
        }
    }
}

#[test]
fn references_stand_behind_the_number_of_ports_and_once() {
    let before =
        VERSION_2.replace("[Number of Ports] 2\n", "[Reference] 50 50\n[Number of Ports] 2\n");
    let told = refused(&before);
    assert!(
        told.starts_with("line 3: ") && told.contains("comes before [Number of Ports]"),
        "{told}"
    );
    let own = "[Number of Ports] 2\n[Reference] 75 25\n";
    let behind = VERSION_2.replace("[Number of Ports] 2\n", own);
    assert_eq!(text(&behind).unwrap().sweep.references_ohm(), [75.0, 25.0]);
    let twice = behind.replace("[Network Data]", "[Reference] 50 50\n[Network Data]");
    assert!(refused(&twice).starts_with("line 7: "), "{}", refused(&twice));
}
