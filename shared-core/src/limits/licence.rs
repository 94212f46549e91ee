//! What a licence allows against what was read.
//!
//! In: licensed frequency, output power and ERP, and the readings, in hertz and watts. Out: one
//! finding a subject that could be compared. It judges by the licence's own numbers and knows no
//! uncertainty: the verdict on a reading stands in `checks`.
//!
//!   frequency     |read − licensed| ≤ tolerance; half a channel or more away it is another channel
//!   output power  read ≤ licensed     47 CFR 90.215(b): not above the authorisation
//!   ERP           read ≤ licensed
//!
//! 47 CFR 90.205 is remembered to let the output exceed by 20 % (from memory, unverified; HANDBOOK
//! 2.4). It is not applied; a finding in that reach says so.

use crate::language::{Language, say};
use crate::units::{Db, Hertz, Ppm, Watts};

/// The licence's numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Licence {
    /// The licensed carrier.
    pub carrier: Hertz,
    /// The licensed output power, where the licence has one.
    pub output: Option<Watts>,
    /// The licensed effective radiated power, where the licence has one.
    pub erp: Option<Watts>,
}

/// What was read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AsRead {
    /// The carrier as it was measured.
    pub carrier: Option<Hertz>,
    /// The power at the transmitter's port.
    pub output: Option<Watts>,
    /// The effective radiated power worked out from readings.
    pub erp: Option<Watts>,
}

/// What a finding is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LicenceSubject {
    /// The carrier.
    Carrier,
    /// The output power.
    Output,
    /// The effective radiated power.
    Erp,
}

/// One comparison with the licence.
#[derive(Clone, Debug, PartialEq)]
pub struct LicenceFinding {
    /// What it is about.
    pub subject: LicenceSubject,
    /// Whether the reading is within the licence.
    pub within: bool,
    /// How far the reading is from the licence: hertz for the carrier, dB for powers.
    pub off: f64,
    /// The finding in words.
    pub words: String,
}

/// The part of a licensed power that 47 CFR 90.205 is remembered to allow on top.
const REMEMBERED_EXCESS: f64 = 1.2;

/// Compares what was read with the licence. Subjects that either side lacks are left out.
pub fn licence_findings(
    licence: &Licence,
    read: &AsRead,
    tolerance: Ppm,
    channel_hz: u64,
    language: Language,
) -> Vec<LicenceFinding> {
    let carrier = |read| carrier_finding(licence, read, tolerance, channel_hz, language);
    let carrier = read.carrier.map(carrier);
    let output = licence.output.zip(read.output);
    let output =
        output.map(|(licensed, read)| power(LicenceSubject::Output, licensed, read, language));
    let erp = licence.erp.zip(read.erp);
    let erp = erp.map(|(licensed, read)| power(LicenceSubject::Erp, licensed, read, language));
    [carrier, output, erp].into_iter().flatten().collect()
}

fn carrier_finding(
    licence: &Licence,
    read: Hertz,
    tolerance: Ppm,
    channel_hz: u64,
    language: Language,
) -> LicenceFinding {
    let off = read.hertz() - licence.carrier.hertz();
    let allowed = tolerance.at(licence.carrier).hertz().abs();
    let within = off.abs() <= allowed;
    let mhz = licence.carrier.hertz() / 1e6;
    let words = if within {
        say!(
            language,
            "{off:+.0} Hz from the licensed {mhz} MHz, tolerance ±{allowed:.0} Hz",
            "{off:+.0} Hz des {mhz} MHz de la licence, tolérance ±{allowed:.0} Hz"
        )
    } else if off.abs() >= channel_hz as f64 / 2.0 {
        say!(
            language,
            "{off:+.0} Hz from the licensed {mhz} MHz: half a channel or more, so the \
                 transmitter is set to another channel than the licence's",
            "{off:+.0} Hz des {mhz} MHz de la licence : un demi-canal ou plus, l’émetteur est donc \
                 réglé sur un autre canal que celui de la licence"
        )
    } else {
        say!(
            language,
            "{off:+.0} Hz from the licensed {mhz} MHz, outside the tolerance of ±{allowed:.0} Hz",
            "{off:+.0} Hz des {mhz} MHz de la licence, hors de la tolérance de ±{allowed:.0} Hz"
        )
    };
    LicenceFinding { subject: LicenceSubject::Carrier, within, off, words }
}

fn power(
    subject: LicenceSubject,
    licensed: Watts,
    read: Watts,
    language: Language,
) -> LicenceFinding {
    let off = Db::of(read, licensed).db();
    let (licensed, read) = (licensed.watts(), read.watts());
    let within = read <= licensed;
    let name = match subject {
        LicenceSubject::Erp => language.pick("ERP", "PAR"),
        LicenceSubject::Output | LicenceSubject::Carrier => language.pick("output", "sortie"),
    };
    let mut words = say!(
        language,
        "{name} {read:.3} W read, {licensed:.3} W licensed, {off:+.2} dB",
        "{name} {read:.3} W mesurés, {licensed:.3} W en licence, {off:+.2} dB"
    );
    if !within && read <= licensed * REMEMBERED_EXCESS && subject == LicenceSubject::Output {
        words.push_str(language.pick(
            "; 47 CFR 90.205 is remembered to allow 20 % more (from memory, unverified; not \
             applied)",
            " ; 47 CFR 90.205 permettrait, de mémoire, 20 % de plus (non vérifié ; non appliqué)",
        ));
    }
    LicenceFinding { subject, within, off, words }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn findings(hertz: f64, output_w: f64, erp_w: f64) -> Vec<LicenceFinding> {
        let licence = Licence {
            carrier: Hertz::carrier(155e6).unwrap(),
            output: Some(Watts::new(100.0).unwrap()),
            erp: Some(Watts::new(286.0).unwrap()),
        };
        let read = AsRead {
            carrier: Some(Hertz::carrier(155e6 + hertz).unwrap()),
            output: Some(Watts::new(output_w).unwrap()),
            erp: Some(Watts::new(erp_w).unwrap()),
        };
        licence_findings(&licence, &read, Ppm::new(2.5).unwrap(), 12_500, Language::English)
    }

    #[test]
    fn readings_at_the_licence_are_within_it() {
        // HANDBOOK 2.1 "Tests": 155 MHz × 2.5 ppm = 387.5 Hz, both sides.
        for off in [387.5, -387.5, 0.0] {
            let found = findings(off, 100.0, 286.0);
            assert_eq!(found.len(), 3);
            assert!(found.iter().all(|finding| finding.within), "{found:?}");
            assert!((found[0].off - off).abs() < 1e-6);
            assert!(found[0].words.contains("from the licensed 155 MHz, tolerance ±"));
        }
    }

    #[test]
    fn readings_past_the_licence_are_not() {
        for off in [388.0, -388.0] {
            let found = findings(off, 100.1, 286.1);
            assert!(found.iter().all(|finding| !finding.within), "{found:?}");
            assert!(found[0].words.contains("outside the tolerance of ±388 Hz"), "{found:?}");
            assert!(found[1].words.contains("not applied"), "{found:?}");
            assert!(!found[2].words.contains("90.205"), "{found:?}");
        }
        assert!(findings(0.0, 119.9, 200.0)[1].words.contains("not applied"), "20 % of 100 W");
        let found = findings(0.0, 120.1, 200.0);
        assert!((found[1].off - 0.795).abs() < 0.001, "10·log10(1.201)");
        assert!(!found[1].within && !found[1].words.contains("90.205"), "{found:?}");
        assert!(found[2].within);
    }

    #[test]
    fn half_a_channel_away_is_another_channel() {
        for (off, another) in [(6_250.0, true), (-6_250.0, true), (6_249.0, false)] {
            let found = findings(off, 1.0, 1.0);
            assert_eq!(found[0].words.contains("another channel"), another, "{off}");
        }
    }

    #[test]
    fn what_one_side_lacks_is_not_compared() {
        let licence = Licence { carrier: Hertz::carrier(155e6).unwrap(), output: None, erp: None };
        let read = AsRead { carrier: None, output: Some(Watts::new(1.0).unwrap()), erp: None };
        assert!(
            licence_findings(&licence, &read, Ppm::new(5.0).unwrap(), 12_500, Language::English)
                .is_empty()
        );
    }
}
