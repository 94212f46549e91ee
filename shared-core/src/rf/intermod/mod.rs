//! Intermodulation: which products of a site's transmitters fall on its receivers.
//!
//! In: up to 60 carriers in whole hertz, each with its level where they mix, the receivers with
//! their bandwidth, what the carriers are modulated with and the intercept points that are known.
//! Out: for each receiver how many products of each order hit it, and the first of them by order,
//! then level, then distance.
//!
//! A product of order n is |Σ c_i·f_i| with whole coefficients, Σ|c_i| = n; a product and its
//! mirror, all signs turned, are one, and a negative frequency is its positive. It hits a receiver
//! where any part of its width lies within the receiver's bandwidth:
//!
//!   |f − f_receiver| ≤ (bandwidth + B_n) / 2, both ends included
//!
//! Harmonics are among them: they are the products of one carrier. The width B_n and the level are
//! those of [`level`]; how the products are found stands in `search`, how many there are in
//! [`count`]. It says nothing of where the carriers mix, nor of what the receiver makes of a hit.

pub mod count;
pub mod level;
mod search;
mod shortlist;
mod sums;

use std::collections::BTreeMap;

pub use level::Modulation;

use crate::units::{Dbm, Hertz, OutOfRange, in_range};
use search::{Window, each_pair};
use shortlist::{Ranking, Shortlist};

/// The most carriers of a site.
pub const CARRIERS_MAX: usize = 60;
/// The most receivers of a site.
pub const RECEIVERS_MAX: usize = 100;
/// The most hits that are listed for a receiver; all are counted.
pub const HITS_MAX: usize = 1000;

/// A transmitter's carrier.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Carrier {
    /// Its frequency.
    pub hertz: u64,
    /// Its level where the carriers mix.
    pub level: Dbm,
}

/// A receiver.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Receiver {
    /// The frequency it listens on.
    pub hertz: u64,
    /// The width of what it takes in, the frequency in the middle.
    pub bandwidth_hz: u64,
}

/// A site, and how far to look.
#[derive(Clone, Debug, PartialEq)]
pub struct Site {
    /// The transmitters, no two on one frequency.
    pub carriers: Vec<Carrier>,
    /// The receivers.
    pub receivers: Vec<Receiver>,
    /// What the transmitters are modulated with.
    pub modulation: Modulation,
    /// Intercept points by order, where they are known.
    pub intercepts: BTreeMap<usize, Dbm>,
    /// The highest order to look at.
    pub order_max: usize,
    /// How many hits to list for each receiver.
    pub hits_max: usize,
}

/// What falls on one receiver.
#[derive(Clone, Debug, PartialEq)]
pub struct OnReceiver {
    /// How many products of each order hit it, from order 2 on.
    pub counts: BTreeMap<usize, u64>,
    /// The first of them by order, then level, then distance.
    pub hits: Vec<Hit>,
}

/// A product that hits a receiver.
#[derive(Clone, Debug, PartialEq)]
pub struct Hit {
    /// How many carriers it is made of, each as often as it is taken.
    pub order: usize,
    /// Where it falls.
    pub hertz: u64,
    /// How far above the receiver's frequency that is.
    pub offset_hz: i64,
    /// How wide it is.
    pub width_hz: u64,
    /// How strong it is where the carriers mix, if the intercept point of its order is known.
    pub level_dbm: Option<f64>,
    /// Its carriers, by their place in the site, each with its coefficient.
    pub terms: Vec<Term>,
}

/// A carrier in a product.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Term {
    /// The carrier's place in the site, from 0 on.
    pub carrier: usize,
    /// How often it is taken; negative where it is taken away.
    pub coefficient: i32,
}

/// Why no products are looked for.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum IntermodRefused {
    /// A number that the quantity cannot have.
    #[error(transparent)]
    Number(#[from] OutOfRange),
    /// None or too many of something.
    #[error("{given} {what} were given; 1 to {most} can be looked at")]
    HowMany {
        /// What was given.
        what: &'static str,
        /// How many of it.
        given: usize,
        /// How many there may be.
        most: usize,
    },
    /// Two carriers on one frequency make the same products.
    #[error(
        "transmitters {first} and {second} are both on {hertz} Hz; give a frequency once, with \
         the stronger level"
    )]
    SameFrequency {
        /// The first one's number, from 1 on.
        first: usize,
        /// The second one's number, from 1 on.
        second: usize,
        /// Their frequency.
        hertz: u64,
    },
    /// One order has two intercept points.
    #[error("the intercept point of order {order} was given twice")]
    InterceptTwice {
        /// The order.
        order: usize,
    },
}

/// Intercept points by order, each order once.
pub fn intercepts(
    points: impl IntoIterator<Item = (usize, Dbm)>,
) -> Result<BTreeMap<usize, Dbm>, IntermodRefused> {
    let mut by_order = BTreeMap::new();
    for (order, point) in points {
        if by_order.insert(order, point).is_some() {
            return Err(IntermodRefused::InterceptTwice { order });
        }
    }
    Ok(by_order)
}

/// Finds what falls on each receiver.
pub fn find(site: &Site) -> Result<Vec<OnReceiver>, IntermodRefused> {
    refuse(site)?;
    let hertz = site.carriers.iter().map(|carrier| signed(carrier.hertz));
    let raster = hertz.clone().fold(0, common_divisor);
    let carriers: Vec<i64> = hertz.map(|hertz| hertz / raster).collect();
    let windows: Vec<Vec<Window>> =
        (0..=site.order_max).map(|order| windows(site, order, raster)).collect();
    let mut found: Vec<OnReceiver> = site
        .receivers
        .iter()
        .map(|_| OnReceiver {
            counts: (2..=site.order_max).map(|order| (order, 0)).collect(),
            hits: Vec::new(),
        })
        .collect();
    each_pair(&carriers, 2..=site.order_max, |order, pair| {
        for window in &windows[order] {
            *found[window.receiver].counts.entry(order).or_default() += pair.count(window);
        }
    });
    let ranking = Ranking::new(site, raster);
    for (order, windows) in windows.iter().enumerate().skip(2) {
        list(site, order, &carriers, windows, &ranking, &mut found);
    }
    Ok(found)
}

/// Lists the hits of an order on the receivers that have room for more.
fn list(
    site: &Site,
    order: usize,
    carriers: &[i64],
    windows: &[Window],
    ranking: &Ranking,
    found: &mut [OnReceiver],
) {
    let mut lists: Vec<Shortlist> = found
        .iter()
        .map(|on| {
            let room = site.hits_max - on.hits.len();
            Shortlist::new(if on.counts[&order] > 0 { room } else { 0 })
        })
        .collect();
    if lists.iter().all(|list| list.room() == 0) {
        return;
    }
    each_pair(carriers, order..=order, |_, pair| {
        for window in windows {
            let (list, receiver) = (&mut lists[window.receiver], &site.receivers[window.receiver]);
            if list.room() > 0 {
                pair.show(window, |met| list.offer(met, receiver, ranking));
            }
        }
    });
    for ((on, list), receiver) in found.iter_mut().zip(lists).zip(&site.receivers) {
        on.hits.extend(list.into_hits(site, receiver, order));
    }
}

/// The sums, in units of the raster, that hit each receiver: as they are, and as mirrors.
fn windows(site: &Site, order: usize, raster: i64) -> Vec<Window> {
    let mut windows = Vec::new();
    for (receiver, on) in site.receivers.iter().enumerate() {
        let half = signed((on.bandwidth_hz + site.modulation.width_hz(order)) / 2);
        let (low, high) = (signed(on.hertz) - half, signed(on.hertz) + half);
        // Inwards to whole units.
        let (low, high) = (low.div_euclid(raster) + i64::from(low % raster != 0), high / raster);
        if low <= 0 {
            // A window that reaches over zero is its own mirror.
            windows.push(Window { receiver, low: -high, high });
        } else if low <= high {
            windows.push(Window { receiver, low, high });
            windows.push(Window { receiver, low: -high, high: -low });
        }
    }
    windows
}

fn signed(hertz: u64) -> i64 {
    i64::try_from(hertz).expect("carriers end at 100 GHz")
}

fn common_divisor(a: i64, b: i64) -> i64 {
    if b == 0 { a } else { common_divisor(b, a % b) }
}

/// Bandwidths from one hertz to what no land-mobile receiver exceeds.
const BANDWIDTH_HZ: std::ops::RangeInclusive<f64> = 1.0..=1e6;
/// Deviations and audio frequencies: no land-mobile channel is a megahertz wide.
const MODULATION_HZ: std::ops::RangeInclusive<f64> = 0.0..=1e5;

fn refuse(site: &Site) -> Result<(), IntermodRefused> {
    how_many("transmitters", site.carriers.len(), CARRIERS_MAX)?;
    how_many("receivers", site.receivers.len(), RECEIVERS_MAX)?;
    how_many("hits for each receiver", site.hits_max, HITS_MAX)?;
    level::order(site.order_max)?;
    for order in site.intercepts.keys() {
        level::order(*order)?;
    }
    let Modulation { peak_deviation_hz, audio_hz } = site.modulation;
    in_range("peak deviation", peak_deviation_hz as f64, MODULATION_HZ, "Hz")?;
    in_range("highest audio frequency", audio_hz as f64, MODULATION_HZ, "Hz")?;
    for receiver in &site.receivers {
        Hertz::carrier(receiver.hertz as f64)?;
        in_range("receiver bandwidth", receiver.bandwidth_hz as f64, BANDWIDTH_HZ, "Hz")?;
    }
    let mut seen = BTreeMap::new();
    for (number, carrier) in (1..).zip(&site.carriers) {
        Hertz::carrier(carrier.hertz as f64)?;
        if let Some(first) = seen.insert(carrier.hertz, number) {
            let hertz = carrier.hertz;
            return Err(IntermodRefused::SameFrequency { first, second: number, hertz });
        }
    }
    Ok(())
}

fn how_many(what: &'static str, given: usize, most: usize) -> Result<(), IntermodRefused> {
    if (1..=most).contains(&given) {
        Ok(())
    } else {
        Err(IntermodRefused::HowMany { what, given, most })
    }
}

#[cfg(test)]
mod tests;
