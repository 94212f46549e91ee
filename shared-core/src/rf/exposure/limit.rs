//! The tables of exposure limits, as data, and the look-up.
//!
//! In: standard, tier, extent, frequency. Out: the limit with its source, or a refusal. Both ends
//! belong to a row, so that where rows meet the lower limit holds (HANDBOOK trap 9). Where a table
//! limits only the fields, the power density is its plane-wave equivalent, the lower of E²/Z and
//! H²·Z, and says so.

use std::fmt;
use std::sync::OnceLock;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::{ExposureRefused, WAVE_IMPEDANCE_OHM};
use crate::language::Language;
use crate::units::Hertz;

/// Whose limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum ExposureStandard {
    /// 47 CFR 1.1310.
    #[serde(rename = "fcc")]
    Fcc,
    /// ICNIRP 2020, 100 kHz to 300 GHz.
    #[serde(rename = "icnirp-2020")]
    Icnirp2020,
    /// Health Canada Safety Code 6 (2015).
    #[serde(rename = "safety-code-6")]
    SafetyCode6,
}

/// Who is exposed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum ExposureTier {
    /// People at work who know of it and can control it: occupational, controlled.
    Workers,
    /// Everybody else: general population, uncontrolled.
    Public,
}

/// What of the body is exposed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum ExposureExtent {
    /// All of it.
    #[default]
    WholeBody,
    /// A part of it, for minutes.
    Local,
}

/// A limit with what it rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct ExposureLimit {
    /// Power density, in W/m².
    pub density_w_m2: f64,
    /// Whether the table limits only the fields, and the density is their equivalent.
    pub from_fields: bool,
    /// Electric field, in V/m.
    pub electric_v_m: Option<f64>,
    /// Magnetic field, in A/m.
    pub magnetic_a_m: Option<f64>,
    /// Over how many minutes the square of the field is averaged.
    pub averaging_min: f64,
    /// Text, table and date.
    pub source: String,
    /// False where the number is from memory.
    pub verified: bool,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Table {
    standard: String,
    power_density_unit: DensityUnit,
    row: Vec<Row>,
    #[serde(default)]
    pub(super) exemption: Vec<ExemptionRow>,
}

#[derive(Clone, Copy, Debug, Deserialize)]
enum DensityUnit {
    #[serde(rename = "W/m2")]
    WattSquareMetre,
    #[serde(rename = "mW/cm2")]
    MilliwattSquareCentimetre,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    tier: ExposureTier,
    extent: ExposureExtent,
    from_mhz: f64,
    to_mhz: f64,
    averaging_min: Law,
    power_density: Option<Law>,
    electric_v_m: Option<Law>,
    magnetic_a_m: Option<Law>,
    source: String,
    text_date: String,
    tag: Tag,
    fields_tag: Option<Tag>,
}

/// A row of 47 CFR 1.1307(b)(3)(i)(C): watts of ERP = coefficient · R² · f^exponent.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ExemptionRow {
    pub(super) from_mhz: f64,
    pub(super) to_mhz: f64,
    pub(super) coefficient: f64,
    pub(super) exponent: f64,
    pub(super) source: String,
    pub(super) text_date: String,
    tag: Tag,
}

#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Tag {
    Seen,
    SeenSecondary,
    FromMemory,
}

/// coefficient · (f/per_mhz)^exponent / divisor, f in megahertz.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Law {
    coefficient: f64,
    #[serde(default)]
    exponent: f64,
    #[serde(default = "one")]
    divisor: f64,
    #[serde(default = "one")]
    per_mhz: f64,
}

fn one() -> f64 {
    1.0
}

impl Law {
    fn at(self, mhz: f64) -> f64 {
        self.coefficient * (mhz / self.per_mhz).powf(self.exponent) / self.divisor
    }
}

impl Row {
    /// The power density in W/m² and whether it is only the equivalent of the fields.
    fn density(&self, mhz: f64, unit: DensityUnit) -> (f64, bool) {
        let scale = match unit {
            DensityUnit::WattSquareMetre => 1.0,
            DensityUnit::MilliwattSquareCentimetre => 10.0,
        };
        if let Some(law) = self.power_density {
            return (law.at(mhz) * scale, false);
        }
        let of_electric = self.electric_v_m.map(|law| law.at(mhz).powi(2) / WAVE_IMPEDANCE_OHM);
        let of_magnetic = self.magnetic_a_m.map(|law| law.at(mhz).powi(2) * WAVE_IMPEDANCE_OHM);
        let lower = [of_electric, of_magnetic].into_iter().flatten().fold(f64::INFINITY, f64::min);
        (lower, true)
    }

    fn verified(&self) -> bool {
        let of_density = self.power_density.map(|_| self.tag);
        of_density.or(self.fields_tag).unwrap_or(self.tag) != Tag::FromMemory
    }
}

impl ExemptionRow {
    pub(super) fn verified(&self) -> bool {
        self.tag != Tag::FromMemory
    }
}

impl ExposureStandard {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Fcc, Self::Icnirp2020, Self::SafetyCode6];

    /// Its name for people.
    pub fn name(self) -> &'static str {
        match self {
            Self::Fcc => "47 CFR 1.1310",
            Self::Icnirp2020 => "ICNIRP 2020",
            Self::SafetyCode6 => "Safety Code 6",
        }
    }

    pub(super) fn table(self) -> &'static Table {
        static TABLES: OnceLock<Vec<Table>> = OnceLock::new();
        let texts = [
            include_str!("../../../data/exposure/fcc.toml"),
            include_str!("../../../data/exposure/icnirp-2020.toml"),
            include_str!("../../../data/exposure/safety-code-6.toml"),
        ];
        let read = |text| toml::from_str(text).expect("the shipped tables are read by a test");
        let tables = TABLES.get_or_init(|| texts.into_iter().map(read).collect());
        tables
            .iter()
            .find(|table| table.standard == self.name())
            .expect("a test finds the table of every standard")
    }
}

impl ExposureTier {
    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Workers => "workers",
            Self::Public => "the public",
        }
    }
}

impl ExposureTier {
    /// The same in a language.
    pub(super) fn said(self, language: Language) -> &'static str {
        match self {
            Self::Workers => language.pick(self.name(), "les travailleurs"),
            Self::Public => language.pick(self.name(), "le public"),
        }
    }
}

impl fmt::Display for ExposureTier {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl ExposureExtent {
    fn name(self) -> &'static str {
        match self {
            Self::WholeBody => "whole-body",
            Self::Local => "local",
        }
    }
}

/// The limit of a standard for a tier at a frequency.
pub fn limit(
    standard: ExposureStandard,
    tier: ExposureTier,
    extent: ExposureExtent,
    frequency: Hertz,
) -> Result<ExposureLimit, ExposureRefused> {
    let table = standard.table();
    let mhz = frequency.hertz() / 1e6;
    let fitting: Vec<&Row> = table
        .row
        .iter()
        .filter(|row| row.tier == tier && row.extent == extent)
        .filter(|row| (row.from_mhz..=row.to_mhz).contains(&mhz))
        .collect();
    let unit = table.power_density_unit;
    let lowest = fitting
        .iter()
        .map(|row| (*row, row.density(mhz, unit)))
        .min_by(|(_, (a, _)), (_, (b, _))| a.total_cmp(b));
    let (row, (density_w_m2, from_fields)) = lowest.ok_or_else(|| ExposureRefused::NoLimit {
        standard: standard.name(),
        tier: tier.name(),
        extent: extent.name(),
        at_mhz: mhz,
    })?;
    let least = |law: fn(&Row) -> Option<Law>| {
        let values = fitting.iter().filter_map(|row| law(row)).map(|law| law.at(mhz));
        values.reduce(f64::min)
    };
    let memory = if row.verified() { "" } else { " (from memory, unverified)" };
    Ok(ExposureLimit {
        density_w_m2,
        from_fields,
        electric_v_m: least(|row| row.electric_v_m),
        magnetic_a_m: least(|row| row.magnetic_a_m),
        averaging_min: row.averaging_min.at(mhz),
        source: format!("{}, text of {}{memory}", row.source, row.text_date),
        verified: row.verified(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_limits_something_and_says_where_it_stands() {
        for standard in ExposureStandard::ALL {
            let table = standard.table();
            assert!(table.row.len() >= 10, "{standard:?}");
            for row in &table.row {
                assert!(row.from_mhz < row.to_mhz, "{standard:?} {}", row.from_mhz);
                assert!(!row.source.is_empty() && !row.text_date.is_empty());
                for mhz in [row.from_mhz, row.to_mhz] {
                    let (density, _) = row.density(mhz, table.power_density_unit);
                    assert!((0.5..=3.0e7).contains(&density), "{standard:?} {mhz}: {density}");
                    assert!((0.001..=30.0).contains(&row.averaging_min.at(mhz)));
                }
            }
            for row in &table.exemption {
                assert!(row.from_mhz < row.to_mhz && row.coefficient > 0.0);
                assert!(row.tag == Tag::Seen && !row.source.is_empty());
            }
        }
        assert_eq!(ExposureStandard::Fcc.table().exemption.len(), 5);
    }

    #[test]
    fn bands_of_a_tier_leave_no_gap() {
        for standard in ExposureStandard::ALL {
            for (tier, extent) in [
                (ExposureTier::Workers, ExposureExtent::WholeBody),
                (ExposureTier::Public, ExposureExtent::WholeBody),
                (ExposureTier::Workers, ExposureExtent::Local),
                (ExposureTier::Public, ExposureExtent::Local),
            ] {
                let rows = standard.table().row.iter();
                let rows: Vec<_> =
                    rows.filter(|row| row.tier == tier && row.extent == extent).collect();
                for row in rows.iter().filter(|row| row.from_mhz > rows[0].from_mhz) {
                    let before =
                        rows.iter().any(|other| (other.to_mhz - row.from_mhz).abs() < 1e-9);
                    assert!(before, "{standard:?} {tier:?} {}", row.from_mhz);
                }
            }
        }
    }

    #[test]
    fn a_law_is_its_coefficient_times_a_power_of_the_frequency() {
        let law = Law { coefficient: 2.0, exponent: 2.0, divisor: 4.0, per_mhz: 100.0 };
        assert!((law.at(300.0) - 4.5).abs() < 1e-12, "2·3²/4");
        let level = Law { coefficient: 2.0, exponent: 0.0, divisor: 1.0, per_mhz: 1.0 };
        assert!((level.at(300.0) - 2.0).abs() < 1e-12);
    }

    const ROW: &str = "tier = \"public\"\nextent = \"whole-body\"\nfrom_mhz = 1.0\n\
        to_mhz = 2.0\naveraging_min = { coefficient = 30.0 }\n\
        electric_v_m = { coefficient = 61.4 }\nmagnetic_a_m = { coefficient = 0.1 }\n\
        source = \"invented\"\ntext_date = \"2026\"\ntag = \"seen\"\n";

    #[test]
    fn a_density_is_the_rows_own_or_the_lower_of_its_fields() {
        let row: Row = toml::from_str(ROW).unwrap();
        // 61.4²/377 is 10.000 W/m², 377·0.1² is 3.77.
        let (density, from_fields) = row.density(1.5, DensityUnit::WattSquareMetre);
        assert!((density - 3.77).abs() < 1e-9 && from_fields);
        let strong = ROW.replace("0.1 }", "1.0 }");
        let row: Row = toml::from_str(&strong).unwrap();
        let (density, _) = row.density(1.5, DensityUnit::MilliwattSquareCentimetre);
        assert!((density - 61.4 * 61.4 / 377.0).abs() < 1e-9, "fields are in their own units");
        let own: Row =
            toml::from_str(&format!("{ROW}power_density = {{ coefficient = 0.2 }}\n")).unwrap();
        let of = |unit| own.density(1.5, unit);
        assert_eq!(of(DensityUnit::WattSquareMetre), (0.2, false));
        assert_eq!(of(DensityUnit::MilliwattSquareCentimetre), (2.0, false));
    }

    #[test]
    fn a_row_is_as_sure_as_what_is_taken_of_it() {
        let sure = |text: &str| toml::from_str::<Row>(text).unwrap().verified();
        let memory = ROW.replace("tag = \"seen\"", "tag = \"from-memory\"");
        let fields = format!("{ROW}fields_tag = \"from-memory\"\n");
        assert!(sure(ROW) && !sure(&memory) && !sure(&fields));
        let own = "power_density = { coefficient = 0.2 }\n";
        assert!(sure(&format!("{fields}{own}")), "the density is not from the fields");
        let exempt = |tag: &str| {
            let text = format!(
                "from_mhz = 1.0\nto_mhz = 2.0\ncoefficient = 1.0\nexponent = 0.0\n\
                 source = \"invented\"\ntext_date = \"2026\"\ntag = \"{tag}\"\n"
            );
            toml::from_str::<ExemptionRow>(&text).unwrap().verified()
        };
        assert!(exempt("seen") && exempt("seen-secondary") && !exempt("from-memory"));
    }
}
