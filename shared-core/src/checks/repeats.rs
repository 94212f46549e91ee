//! Which readings are repeats of one another.
//!
//! In: a session and a reading. Out: the readings whose scatter says how well it repeats.
//!
//! A person who reads a check again, through the same chain, on the same instrument, in the same
//! phase, and takes nothing back, has repeated it: nothing has to be marked. From as many such
//! readings on as the plan says (`repeats_from`), their mean is what is judged, in each of their
//! verdicts alike, and their scatter takes the place of the plan's `repeat`. Fewer say too little:
//! with two, k would be 13.97 (HANDBOOK G6), and the plan's experience is the better witness. What
//! another person read stays a fact of its own: agreement between people is worth knowing.

use super::plan::Check;
use crate::record::{Reading, Session};

/// The repeats of a reading, itself first. Only itself where it was taken back, or where the plan
/// does not count repeats.
pub(crate) fn repeats<'a>(
    session: &'a Session,
    check: &Check,
    id: &str,
    reading: &'a Reading,
) -> Vec<&'a Reading> {
    let mut found = vec![reading];
    let Some(from) = check.repeats_from else { return found };
    let alike = |other: &Reading| {
        other.check == reading.check
            && other.chain == reading.chain
            && other.instrument == reading.instrument
            && other.phase == reading.phase
            && other.stamp.by == reading.stamp.by
    };
    // Most checks are read once or twice: that is seen without asking which readings stand.
    let others = session.readings.iter().filter(|(other, r)| *other != id && alike(r)).count();
    if others + 1 < from as usize {
        return found;
    }
    let standing = session.standing_readings();
    if session.readings.contains_key(id) && !standing.contains_key(id) {
        return found;
    }
    let replaced = reading.replaces.as_deref();
    let stands_beside = |other: &str| other != id && replaced != Some(other);
    found.extend(
        standing.iter().filter(|(other, r)| stands_beside(other) && alike(r)).map(|(_, r)| *r),
    );
    found
}
