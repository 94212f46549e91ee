//! The exemption from routine evaluation of 47 CFR 1.1307(b)(3)(i)(C).
//!
//! In: frequency, distance, ERP. Out: the threshold in watts of ERP, or the distance it wants. It
//! is a rule on paperwork and says nothing of what anybody is exposed to. Refused closer than λ/2π
//! (HANDBOOK trap 10); where two rows meet, the lower threshold holds.
//!
//!   ERP_th = coefficient · R² · f^exponent      W; R in metres, f in megahertz
//!
//! Source: HANDBOOK 3.2; check value X12.

use super::limit::ExemptionRow;
use super::{ExposureRefused, ExposureStandard, reactive_field_m};
use crate::units::{Hertz, Watts, in_range};

/// The threshold of the exemption at a distance.
#[derive(Clone, Debug, PartialEq)]
pub struct Exemption {
    /// The ERP under which a transmitter is exempt from routine evaluation.
    pub erp: Watts,
    /// The rule and the date of its text.
    pub source: String,
    /// False where the number is from memory.
    pub verified: bool,
}

/// The threshold at a distance in metres.
pub fn exemption(frequency: Hertz, distance_m: f64) -> Result<Exemption, ExposureRefused> {
    let distance_m = in_range("distance", distance_m, 0.01..=1e6, "m")?;
    let least_m = reactive_field_m(frequency);
    if distance_m < least_m {
        return Err(ExposureRefused::TooClose { distance_m, least_m });
    }
    let (at_one_metre, row) = at_one_metre(frequency)?;
    let erp = Watts::new(at_one_metre * distance_m * distance_m)?;
    let source = format!("{}, text of {}", row.source, row.text_date);
    Ok(Exemption { erp, source, verified: row.verified() })
}

/// The least distance, in metres, at which this ERP is exempt; never closer than λ/2π.
pub fn exemption_distance_m(frequency: Hertz, erp: Watts) -> Result<f64, ExposureRefused> {
    let distance_m = (erp.watts() / at_one_metre(frequency)?.0).sqrt();
    Ok(distance_m.max(reactive_field_m(frequency)))
}

fn at_one_metre(frequency: Hertz) -> Result<(f64, &'static ExemptionRow), ExposureRefused> {
    let mhz = frequency.hertz() / 1e6;
    let fits = |row: &&ExemptionRow| (row.from_mhz..=row.to_mhz).contains(&mhz);
    let rows = ExposureStandard::Fcc.table().exemption.iter().filter(fits);
    let thresholds = rows.map(|row| (row.coefficient * mhz.powf(row.exponent), row));
    thresholds.min_by(|(a, _), (b, _)| a.total_cmp(b)).ok_or(ExposureRefused::NoLimit {
        standard: "47 CFR 1.1307(b)(3)",
        tier: "the public",
        extent: "exemption",
        at_mhz: mhz,
    })
}
