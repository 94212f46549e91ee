//! Which readings are repeats of one another.
//!
//! In: a case and a reading. Out: the readings whose scatter says how well it repeats.
//!
//! A person who reads a check again, through the same chain, on the same instrument, in the same
//! phase, and takes nothing back, has repeated it: nothing has to be marked. From as many such
//! readings on as the plan says (`repeats_from`), their mean is what is judged, in each of their
//! verdicts alike, and their scatter takes the place of the plan's `repeat`. Fewer say too little:
//! with two, k would be 13.97 (HANDBOOK G6), and the plan's experience is the better witness. What
//! another person read stays a fact of its own: agreement between people is worth knowing.

use super::case::{Case, Known};
use super::plan::Check;
use crate::record::{Phase, Reading};

/// What two readings have in common to be repeats.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Alike<'a> {
    check: &'a str,
    chain: &'a str,
    instrument: &'a str,
    phase: Phase,
    by: &'a str,
}

impl<'a> Alike<'a> {
    pub(crate) fn of(reading: &'a Reading) -> Self {
        Self {
            check: &reading.check,
            chain: &reading.chain,
            instrument: &reading.instrument,
            phase: reading.phase,
            by: &reading.stamp.by,
        }
    }
}

impl<'a> Case<'a> {
    /// The repeats that a standing reading is one of, in the order of their ids. None where there
    /// are too few to count.
    pub(crate) fn repeats(&self, id: &str, reading: &Reading) -> Option<&[Known<'a>]> {
        let from = self.plan.find(&reading.check)?.repeats_from?;
        let alike = self.alike(reading);
        let stands = alike.iter().any(|(own, _)| *own == id);
        (stands && alike.len() >= from as usize).then_some(alike)
    }
}

/// The repeats of a reading with itself, recorded or only thought of. Only itself where it was
/// taken back, or where the plan does not count repeats.
pub(crate) fn repeats<'r, 'a: 'r>(
    case: &Case<'a>,
    check: &Check,
    id: &str,
    reading: &'r Reading,
) -> Vec<&'r Reading> {
    if check.repeats_from.is_none() {
        return vec![reading];
    }
    let alike = case.alike(reading);
    if case.session.readings.contains_key(id) {
        let stands = alike.iter().any(|(own, _)| *own == id);
        let known = alike.iter().map(|(_, known)| *known);
        return if stands { known.collect() } else { vec![reading] };
    }
    let replaced = reading.replaces.as_deref();
    let others = alike.iter().filter(|(other, _)| replaced != Some(*other));
    std::iter::once(reading).chain(others.map(|(_, known)| *known)).collect()
}
