//! The strongest hits of one order on one receiver, however many there are.
//!
//! In: hits as the search meets them. Out: so many of them, the strongest first, the nearest first
//! among equals, and by carriers among those. Levels are compared in whole millionths of a decibel,
//! so that equal ones are equal whatever order they were added up in.

use super::level::{product_dbm, terms_db};
use super::search::{Met, TERMS_MAX};
use super::{Carrier, Hit, Receiver, Site, Term};
use crate::units::Dbm;

/// What levels are compared by.
pub(super) struct Ranking {
    raster: i64,
    /// Each carrier's level in millionths of a decibel.
    levels: Vec<i64>,
    /// What a coefficient of this magnitude costs: −20·log10(magnitude!), in the same.
    repeats: [i64; TERMS_MAX + 1],
}

impl Ranking {
    pub(super) fn new(site: &Site, raster: i64) -> Self {
        // Within ±250 dB: far within what an i64 holds.
        let millionths = |db: f64| (db * 1e6).round() as i64;
        let mut repeats = [0; TERMS_MAX + 1];
        for (magnitude, cost) in repeats.iter_mut().enumerate() {
            let two_carriers = terms_db([magnitude].into_iter());
            let one_each = terms_db(std::iter::repeat_n(1, magnitude));
            *cost = millionths(two_carriers - one_each);
        }
        let level = |carrier: &Carrier| millionths(carrier.level.dbm());
        Self { raster, levels: site.carriers.iter().map(level).collect(), repeats }
    }

    fn level(&self, terms: &[u8; TERMS_MAX]) -> i64 {
        let runs = terms.chunk_by(|a, b| a == b).take_while(|run| run[0] != u8::MAX);
        runs.map(|run| {
            let once = self.levels[usize::from(run[0] / 2)];
            run.iter().map(|_| once).sum::<i64>() + self.repeats[run.len()]
        })
        .sum()
    }
}

/// A hit as it is compared: the best is the least.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Standing {
    weakness: i64,
    distance_hz: u64,
    terms: [u8; TERMS_MAX],
    hertz: u64,
}

/// The best hits so far.
pub(super) struct Shortlist {
    room: usize,
    /// Up to twice the room: then the worse half goes.
    best: Vec<Standing>,
    /// Nothing worse than this can be among the best any more.
    bar: Option<Standing>,
}

impl Shortlist {
    pub(super) fn new(room: usize) -> Self {
        Self { room, best: Vec::new(), bar: None }
    }

    pub(super) fn room(&self) -> usize {
        self.room
    }

    pub(super) fn offer(&mut self, met: &Met, receiver: &Receiver, ranking: &Ranking) {
        let terms = met.terms();
        let hertz = (met.value * ranking.raster).unsigned_abs();
        let standing = Standing {
            weakness: -ranking.level(&terms),
            distance_hz: hertz.abs_diff(receiver.hertz),
            terms,
            hertz,
        };
        if self.bar.is_some_and(|bar| standing >= bar) {
            return;
        }
        self.best.push(standing);
        if self.best.len() >= 2 * self.room {
            let (_, worst, _) = self.best.select_nth_unstable(self.room - 1);
            self.bar = Some(*worst);
            self.best.truncate(self.room);
        }
    }

    pub(super) fn into_hits(mut self, site: &Site, receiver: &Receiver, order: usize) -> Vec<Hit> {
        self.best.sort_unstable();
        self.best.truncate(self.room);
        self.best.iter().map(|standing| hit(standing, site, receiver, order)).collect()
    }
}

fn hit(standing: &Standing, site: &Site, receiver: &Receiver, order: usize) -> Hit {
    let runs = standing.terms[..order].chunk_by(|a, b| a == b);
    let (mut terms, mut levels): (Vec<Term>, Vec<(usize, Dbm)>) = (Vec::new(), Vec::new());
    for run in runs {
        let carrier = usize::from(run[0] / 2);
        let sign = if run[0].is_multiple_of(2) { 1 } else { -1 };
        terms.push(Term { carrier, coefficient: run.iter().map(|_| sign).sum() });
        levels.push((run.len(), site.carriers[carrier].level));
    }
    let distance = i64::try_from(standing.distance_hz).expect("less than two frequencies");
    Hit {
        order,
        hertz: standing.hertz,
        offset_hz: if standing.hertz < receiver.hertz { -distance } else { distance },
        width_hz: site.modulation.width_hz(order),
        level_dbm: site.intercepts.get(&order).map(|point| product_dbm(&levels, *point)),
        terms,
    }
}
