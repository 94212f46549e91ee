//! Emission designators and necessary bandwidths: HANDBOOK 2.5, B1 to B10.

use guyline_core::language::Language;
use guyline_core::rf::emission::{
    Bandwidth, Emission, EmissionRefused, FADING_CARRIER_K, SHIFT_KEYING_K, VOICE_K,
    frequency_modulation_hz, keyed_carrier_hz, modulation_index, morse_bd, shift_keying_hz,
};

use crate::source::Source::{self, Computed, Published};
use crate::source::close;

#[test]
fn published_bandwidths_are_written_as_published() {
    let rule = || Published("47 CFR 2.202(b)(3), HANDBOOK 2.5");
    let rounding = || Published("a public source's tests, HANDBOOK 2.5");
    let rows: [(f64, &str, Source); 17] = [
        (0.002, "H002", rule()),
        (0.1, "H100", rule()),
        (25.3, "25H3", rule()),
        (400.0, "400H", rule()),
        (2.4e3, "2K40", rule()),
        (6e3, "6K00", rule()),
        (12.5e3, "12K5", rule()),
        (180.4e3, "180K", rule()),
        (180.5e3, "181K", rule()),
        (180.7e3, "181K", rule()),
        (1.25e6, "1M25", rule()),
        (2e6, "2M00", rule()),
        (10e6, "10M0", rule()),
        (202e6, "202M", rule()),
        (5.65e9, "5G65", rule()),
        (999.6, "1K00", rounding()),
        (9.996, "10H0", rounding()),
    ];
    for (hz, text, source) in rows {
        let made = Bandwidth::from_hertz(hz).unwrap();
        assert_eq!(made.to_string(), text, "{hz} Hz: {source}");
        let read = Emission::parse(&format!("{text}F3E")).unwrap();
        assert_eq!(read.bandwidth(), made, "{text}: {source}");
    }
    for hz in [0.0, 0.0004] {
        let refused = Bandwidth::from_hertz(hz).unwrap_err();
        assert!(matches!(refused, EmissionRefused::Unwritable { .. }), "{hz}: {}", rounding());
    }
}

#[test]
fn necessary_bandwidths_and_their_designators() {
    let fm = |m, d| frequency_modulation_hz(m, d, VOICE_K).unwrap();
    let fsk = |rate, shift| shift_keying_hz(rate, shift, SHIFT_KEYING_K).unwrap();
    let cw = |wpm| keyed_carrier_hz(morse_bd(wpm).unwrap(), FADING_CARRIER_K).unwrap();
    let rows: [(&str, f64, f64, f64, &str, &str, Source); 8] = [
        // id, got, expected Hz, rounding Hz, symbols, designator, where
        ("B1", fm(3000.0, 5000.0), 16_000.0, 1e-9, "F3E", "16K0F3E", Published("FCC pool, G8B06")),
        ("B2", fm(3000.0, 2500.0), 11_000.0, 1e-9, "F3E", "11K0F3E", Computed("HANDBOOK B2")),
        ("B3", fm(3125.0, 2500.0), 11_250.0, 1e-9, "F3E", "11K3F3E", Computed("HANDBOOK B3")),
        ("B4", fm(3000.0, 4000.0), 14_000.0, 1e-9, "F3E", "14K0F3E", Computed("HANDBOOK B4")),
        ("B5", fsk(9600.0, 4800.0), 15_360.0, 1e-9, "F1D", "15K4F1D", Published("FCC pool, E8C07")),
        ("B6", fsk(300.0, 170.0), 504.0, 1e-9, "F1B", "504HF1B", Published("FCC pool, E8C06")),
        (
            "B7",
            fsk(45.45, 170.0),
            249.45,
            1e-9,
            "F1B",
            "249HF1B",
            Published("a public source that names ITU-R SM.1138"),
        ),
        ("B8", cw(25.0), 100.0, 1e-9, "A1A", "100HA1A", Published("a public source, HANDBOOK B8")),
    ];
    for (id, got, expected, rounding, symbols, designator, source) in rows {
        close(id, got, expected, rounding, &source);
        let made = Emission::new(Bandwidth::from_hertz(got).unwrap(), symbols).unwrap();
        assert_eq!(made.to_string(), designator, "{id}: {source}");
    }
    close("B9", cw(13.0), 52.0, 1e-9, &Published("FCC pool, E8C05"));
}

#[test]
fn designators_met_on_licences_are_read() {
    // HANDBOOK B10: inputs for the reader only, from a public source.
    for (text, hz, kind) in [
        ("11K2F3E", 11_200.0, "telephony"),
        ("7K60FXE", 7_600.0, "telephony"),
        ("8K10F1E", 8_100.0, "telephony"),
        ("4K00F1E", 4_000.0, "telephony"),
        ("8K30F1E", 8_300.0, "telephony"),
        ("20K0F2D", 20_000.0, "data, telemetry, telecommand"),
        ("9K36F7W", 9_360.0, "more than one of these"),
    ] {
        let read = Emission::parse(text).unwrap_or_else(|refused| panic!("B10 {text}: {refused}"));
        close(text, read.bandwidth().hertz(), hz, 1e-9, &Published("HANDBOOK B10"));
        assert_eq!(read.meanings(Language::English)[2].words, kind, "B10 {text}");
        assert_eq!(read.to_string(), text);
    }
    // B3: "parse both and never reject on the last digit".
    let [shorter, longer] = ["11K2F3E", "11K3F3E"].map(|text| Emission::parse(text).unwrap());
    assert!(shorter.agrees_with(&longer) && longer.agrees_with(&shorter));
}

#[test]
fn modulation_indices() {
    for (id, deviation, modulation, expected, rounding) in [
        ("E8B03", 3000.0, 1000.0, 3.0, 1e-9),
        ("E8B04", 6000.0, 2000.0, 3.0, 1e-9),
        ("E8B05", 5000.0, 3000.0, 1.67, 0.005),
        ("E8B06", 7500.0, 3500.0, 2.14, 0.005),
    ] {
        let got = modulation_index(deviation, modulation).unwrap();
        close(id, got, expected, rounding, &Published("FCC Element 4, HANDBOOK 2.5"));
    }
}
