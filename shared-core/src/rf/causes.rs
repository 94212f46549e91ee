//! What desense tests together say about their cause, and the test to make next.
//!
//! In: the differences that were read, with their uncertainties. Out: each cause with a weight and
//! the evidence, and the tests not made yet, the one that would settle most first. The weights of
//! the causes sum to 1; they rest on a table from practice (`data/causes.toml`), so they order what
//! to look at and decide nothing.
//!
//!   w(cause) ∝ share(cause) · Π_tests Σ_outcomes p(outcome | read) · p(outcome | cause)
//!   doubt    = −Σ w·log2 w                      bits; 0 where one cause is left
//!   a test's worth = doubt − Σ_outcomes p(outcome) · doubt after it
//!
//! p(outcome | read) follows the reading's own uncertainty, so a rise of 1.0 ± 0.5 dB points half
//! way. Unkeyed differences are the site's: site = B − A, transmitter = C − B (HANDBOOK 6.2).
//!
//! A pad of p dB in the receiver's line tells by how the desense D changes: noise on the channel
//! falls by p against the receiver's own, D' = 10·log10(1 + 10^((I/N − p)/10)) (HANDBOOK Z1); an
//! overload falls about three times as fast (third order: common practice, no source); what does
//! not come along the line does not fall at all.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

pub use super::causes_table::Cause;
use super::causes_table::{Table, TestId};
use super::chi_square::normal_below;
use super::desense::{interference_over_noise, noise_rise};
use crate::language::{Language, say};
use crate::units::{Db, shown};

/// From here on a difference is more than repeatability, in dB. Common practice, no source.
const DIFFERENCE_DB: f64 = 1.0;
/// What no reading is surer than, in dB: it keeps certainties out. Common practice, no source.
const SURE_DB: f64 = 0.1;
/// How well the pad's three predictions hold, in dB. Common practice, no source.
const PREDICTED_DB: f64 = 0.3;
/// Two predictions nearer to each other than this are not told apart, in dB.
const TOLD_APART_DB: f64 = 0.5;
/// The pad that the plan speaks of, in dB, and how much faster an overload falls.
const PAD_DB: f64 = 6.0;
const OVERLOAD_ORDER: f64 = 3.0;
/// A test worth less than this is not named, in bits.
const WORTH_NAMING: f64 = 0.01;

/// What the desense tests say together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct DesenseCauses {
    /// What the antenna adds with the transmitter off, B − A, in dB.
    pub site_db: Option<f64>,
    /// What the own transmitter adds on the antenna, C − B, in dB.
    pub transmitter_db: Option<f64>,
    /// What it adds into a load, D − A, or else straight on the antenna port, in dB.
    pub into_load_db: Option<f64>,
    /// Site and transmitter together, in dB.
    pub total_db: Option<f64>,
    /// The receiver's own level with that added: what it hears with at its site, in dBm.
    pub effective_level_dbm: Option<f64>,
    /// The causes, the most likely first.
    pub suspects: Vec<Suspect>,
    /// The tests not made yet, the one that would settle most first.
    pub next: Vec<NextTest>,
    /// The doubt left, in bits.
    pub doubt_bits: f64,
    /// What the weights rest on.
    pub source: String,
}

/// A cause with what speaks for it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Suspect {
    /// The cause.
    pub cause: Cause,
    /// The same in words.
    pub title: String,
    /// Its weight, 0 to 1; all weights sum to 1.
    pub weight: f64,
    /// What was read, that which points to it most first.
    pub evidence: Vec<Evidence>,
    /// What to do about it.
    pub remedy: String,
}

/// What one test says of one cause.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Evidence {
    /// What was read, with the numbers.
    pub said: String,
    /// How many times likelier the cause makes it than the causes on the whole do: over 1 it points
    /// to the cause, under 1 away from it.
    pub factor: f64,
}

/// A test that was not made yet.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct NextTest {
    /// A few words.
    pub title: String,
    /// How to make it.
    pub how: String,
    /// The check of the plan that it is read for, by id; none where it is no check.
    pub check: Option<String>,
    /// How many bits of the doubt it is expected to take away.
    pub worth_bits: f64,
}

/// A test as read: how well each outcome agrees with the reading, and words.
struct Observed {
    test: TestId,
    outcomes: Vec<f64>,
    said: String,
}

/// A difference as read, in dB.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rise {
    db: f64,
    standard_db: f64,
    expanded_db: f64,
}

/// A path's loss against its limit.
#[derive(Clone, Debug, PartialEq)]
pub struct PathRead {
    /// The probability that it lies within its limit.
    pub holds: f64,
    /// What was read and the limit, in words.
    pub said: String,
}

/// The tests that were made. Of a pair the value is the difference of its two levels.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tests {
    /// Keyed against not keyed, straight on the antenna port.
    pub direct: Option<Rise>,
    /// The same through a coupler into a load: D − A.
    pub coupled: Option<Rise>,
    /// What the antenna adds, not keyed: B − A.
    pub antenna_unkeyed: Option<Rise>,
    /// Keyed against not keyed on the antenna: C − B.
    pub antenna: Option<Rise>,
    /// What a pad in the receiver's line costs, not keyed.
    pub padded_unkeyed: Option<Rise>,
    /// Keyed against not keyed behind that pad.
    pub padded: Option<Rise>,
    /// From the antenna's port to the receiver's.
    pub receive_path: Option<PathRead>,
    /// From the transmitter's port to the antenna's.
    pub transmit_path: Option<PathRead>,
    /// The receiver's own opening level, in dBm.
    pub own_level_dbm: Option<f64>,
}

impl Rise {
    /// A difference with its standard and its expanded uncertainty.
    pub fn new(db: f64, standard_db: f64, expanded_db: f64) -> Self {
        Self { db, standard_db: standard_db.max(SURE_DB), expanded_db }
    }

    /// The probability that the difference is more than `than_db`.
    fn over(self, than_db: f64) -> f64 {
        normal_below((self.db - than_db) / self.standard_db)
    }

    fn minus(self, other: Self) -> Self {
        let both = |one: f64, two: f64| one.hypot(two);
        Self {
            db: self.db - other.db,
            standard_db: both(self.standard_db, other.standard_db),
            expanded_db: both(self.expanded_db, other.expanded_db),
        }
    }

    fn words(self) -> String {
        format!("{} ± {} dB", shown(self.db, 1), shown(self.expanded_db, 1))
    }
}

/// What the tests say, where any of them found the receiver deafened. None where nothing was.
pub fn causes(tests: &Tests, language: Language) -> Option<DesenseCauses> {
    let table = Table::of(language);
    let Tests { direct, coupled, antenna_unkeyed: site, antenna, .. } = *tests;
    let load = coupled.or(direct);
    let deaf = [load, direct, antenna, site];
    if !deaf.into_iter().flatten().any(|rise| rise.over(DIFFERENCE_DB) > 0.5) {
        return None;
    }
    let observed: Vec<Observed> = [
        into_load(load, language),
        two_ways(direct, coupled, language),
        on_antenna(antenna, load, language),
        antenna_unkeyed(site, language),
        pad([coupled, tests.padded_unkeyed, tests.padded], language),
        path(table, TestId::ReceivePath, tests.receive_path.as_ref()),
        path(table, TestId::TransmitPath, tests.transmit_path.as_ref()),
    ]
    .into_iter()
    .flatten()
    .collect();
    let weights = weigh(table, &observed);
    let total_db = site.zip(antenna).map(|(site, antenna)| site.db + antenna.db);
    Some(DesenseCauses {
        site_db: site.map(|rise| rise.db),
        transmitter_db: antenna.map(|rise| rise.db),
        into_load_db: load.map(|rise| rise.db),
        total_db,
        effective_level_dbm: tests.own_level_dbm.zip(total_db).map(|(level, total)| level + total),
        next: next_tests(table, &weights, &observed, load, direct.is_some() != coupled.is_some()),
        doubt_bits: doubt(&weights),
        suspects: suspects(table, &weights, &observed),
        source: table.source.clone(),
    })
}

/// The checks of the plan that the tests are read for, by id.
pub fn checks_named() -> impl Iterator<Item = &'static str> {
    Table::standard().tests.iter().filter_map(|row| row.check.as_deref())
}

fn into_load(load: Option<Rise>, language: Language) -> Option<Observed> {
    let load = load?;
    let deaf = load.over(DIFFERENCE_DB);
    Some(Observed {
        test: TestId::IntoLoad,
        outcomes: vec![1.0 - deaf, deaf],
        said: say!(
            language,
            "keyed into a load it opens {} later",
            "en émission sur une charge il ouvre {} plus tard",
            load.words()
        ),
    })
}

fn two_ways(direct: Option<Rise>, coupled: Option<Rise>, language: Language) -> Option<Observed> {
    let apart = coupled?.minus(direct?);
    let disagree = apart.over(DIFFERENCE_DB) + (1.0 - apart.over(-DIFFERENCE_DB));
    Some(Observed {
        test: TestId::TwoWays,
        outcomes: vec![1.0 - disagree, disagree],
        said: say!(
            language,
            "through the coupler it is {} more than straight on",
            "à travers le coupleur, {} de plus qu’en direct",
            apart.words()
        ),
    })
}

fn on_antenna(antenna: Option<Rise>, load: Option<Rise>, language: Language) -> Option<Observed> {
    let antenna = antenna?;
    let deaf = antenna.over(DIFFERENCE_DB);
    let said = say!(
        language,
        "keyed on the antenna it opens {} later",
        "en émission sur l’antenne il ouvre {} plus tard",
        antenna.words()
    );
    // Without the load nothing tells "as deaf" from "deafer": both agree with what was read.
    let (outcomes, said) = match load.map(|load| antenna.minus(load)) {
        None => (vec![1.0 - deaf, deaf, deaf], said),
        Some(more) => {
            let deafer = more.over(DIFFERENCE_DB);
            let said = say!(
                language,
                "{said}, {} more than into a load",
                "{said}, {} de plus que sur une charge",
                more.words()
            );
            (vec![1.0 - deaf, deaf * (1.0 - deafer), deaf * deafer], said)
        }
    };
    Some(Observed { test: TestId::OnAntenna, outcomes, said })
}

fn antenna_unkeyed(site: Option<Rise>, language: Language) -> Option<Observed> {
    let site = site?;
    let noisy = site.over(DIFFERENCE_DB);
    Some(Observed {
        test: TestId::Site,
        outcomes: vec![1.0 - noisy, noisy],
        said: say!(
            language,
            "not keyed, the antenna costs {}",
            "sans émission, l’antenne coûte {}",
            site.words()
        ),
    })
}

/// The desense to see behind a pad: where it comes past the line, as noise, as overload.
fn behind_pad(db: f64, pad_db: f64) -> Option<[f64; 3]> {
    let over_noise = interference_over_noise(Db::new(db).ok()?)?.db();
    let fallen = |by_db: f64| Some(noise_rise(Db::new(over_noise - by_db).ok()?).db());
    Some([db, fallen(pad_db)?, fallen(OVERLOAD_ORDER * pad_db)?])
}

fn pad(reads: [Option<Rise>; 3], language: Language) -> Option<Observed> {
    let [without, pad, with] = reads;
    let (without, pad, with) = (without?, pad?, with?);
    let seen = behind_pad(without.db, pad.db)?;
    let spread = with.standard_db.hypot(without.standard_db).hypot(PREDICTED_DB);
    let agrees = seen.map(|db| (-0.5 * ((with.db - db) / spread).powi(2)).exp());
    // Far from all three nothing is said rather than the least bad one.
    let sum: f64 = agrees.iter().sum::<f64>() + 1e-6;
    let outcomes = agrees.iter().map(|one| (one + 1e-6 / 3.0) / sum).collect();
    let said = say!(
        language,
        "behind a pad of {} dB it opens {} later, {} without; noise would leave {} dB, overload \
         {} dB",
        "derrière un atténuateur de {} dB il ouvre {} plus tard, {} sans ; du bruit laisserait {} \
         dB, une surcharge {} dB",
        shown(pad.db, 1),
        with.words(),
        without.words(),
        shown(seen[1], 1),
        shown(seen[2], 1)
    );
    Some(Observed { test: TestId::Pad, outcomes, said })
}

fn path(table: &Table, test: TestId, read: Option<&PathRead>) -> Option<Observed> {
    let PathRead { holds, said } = read?;
    let said = format!("{}: {said}", table.test(test).title);
    Some(Observed { test, outcomes: vec![*holds, 1.0 - holds], said })
}

/// How likely what was read is under each cause.
fn likelihoods(table: &Table, observed: &Observed) -> Vec<f64> {
    let rows = &table.test(observed.test).outcomes;
    let under = |cause: usize| {
        let seen = observed.outcomes.iter().zip(rows);
        seen.map(|(agrees, row)| agrees * row.given[cause]).sum()
    };
    (0..table.causes.len()).map(under).collect()
}

/// What was read, with the outcome it agrees with best, where one does.
fn words(table: &Table, observed: &Observed) -> String {
    let best = observed.outcomes.iter().copied().fold(0.0, f64::max);
    let rows = &table.test(observed.test).outcomes;
    let mut fitting = observed.outcomes.iter().zip(rows).filter(|(agrees, _)| **agrees >= best);
    match (fitting.next(), fitting.next()) {
        (Some((_, row)), None) => format!("{}: {}", observed.said, row.says),
        _ => observed.said.clone(),
    }
}

fn weigh(table: &Table, observed: &[Observed]) -> Vec<f64> {
    let mut weights: Vec<f64> = table.causes.iter().map(|row| row.share).collect();
    for observed in observed {
        for (weight, likelihood) in weights.iter_mut().zip(likelihoods(table, observed)) {
            *weight *= likelihood;
        }
    }
    normalised(weights)
}

fn normalised(mut weights: Vec<f64>) -> Vec<f64> {
    let sum: f64 = weights.iter().sum();
    for weight in &mut weights {
        *weight /= sum;
    }
    weights
}

fn doubt(weights: &[f64]) -> f64 {
    weights.iter().filter(|w| **w > 0.0).map(|w| -w * w.log2()).sum()
}

fn suspects(table: &Table, weights: &[f64], observed: &[Observed]) -> Vec<Suspect> {
    let evidence = |cause: usize| {
        let mut found: Vec<Evidence> = observed
            .iter()
            .map(|observed| {
                let under = likelihoods(table, observed);
                let rows = table.causes.iter().zip(&under);
                let whole: f64 = rows.map(|(row, likelihood)| row.share * likelihood).sum();
                Evidence { said: words(table, observed), factor: under[cause] / whole }
            })
            .collect();
        found.sort_by(|a, b| b.factor.total_cmp(&a.factor));
        found
    };
    let rows = table.causes.iter().zip(weights).enumerate();
    let mut suspects: Vec<Suspect> = rows
        .map(|(index, (row, weight))| Suspect {
            cause: row.id,
            title: row.title.clone(),
            weight: *weight,
            evidence: evidence(index),
            remedy: row.remedy.clone(),
        })
        .collect();
    suspects.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    suspects
}

/// The tests that were not made, by how much of the doubt each is expected to take away.
fn next_tests(
    table: &Table,
    weights: &[f64],
    observed: &[Observed],
    load: Option<Rise>,
    one_way_only: bool,
) -> Vec<NextTest> {
    let keyed = load.is_some_and(|load| load.over(DIFFERENCE_DB) > 0.5);
    let possible = |test: TestId| match test {
        TestId::TwoWays => one_way_only,
        // Noise and overload lie closest wherever the desense is small: they decide.
        TestId::Pad => load
            .and_then(|load| behind_pad(load.db, PAD_DB))
            .is_some_and(|[_, noise, overload]| keyed && noise - overload > TOLD_APART_DB),
        _ => true,
    };
    let open =
        |test: TestId| possible(test) && observed.iter().all(|observed| observed.test != test);
    let worth = |test: TestId| {
        let before = doubt(weights);
        let after = table.test(test).outcomes.iter().map(|row| {
            let both: Vec<f64> = weights.iter().zip(&row.given).map(|(w, p)| w * p).collect();
            let likely: f64 = both.iter().sum();
            likely * doubt(&normalised(both))
        });
        before - after.sum::<f64>()
    };
    let mut next: Vec<NextTest> = table
        .tests
        .iter()
        .filter(|row| open(row.id))
        .map(|row| NextTest {
            title: row.title.clone(),
            how: row.how.clone(),
            check: row.check.clone(),
            worth_bits: worth(row.id),
        })
        .filter(|test| test.worth_bits >= WORTH_NAMING)
        .collect();
    next.sort_by(|a, b| b.worth_bits.total_cmp(&a.worth_bits));
    next
}

#[cfg(test)]
#[path = "causes_tests.rs"]
mod tests;
