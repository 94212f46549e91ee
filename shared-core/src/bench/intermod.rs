//! Products of a site's transmitters on its receivers. Formulas: [`crate::rf::intermod`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::rf::intermod::count::products;
use crate::rf::intermod::{
    Carrier, Hit, IntermodRefused, Modulation, OnReceiver, Receiver, Site, Term, find, intercepts,
};
use crate::units::Dbm;

/// A site's transmitters and receivers, and how far to look.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct IntermodQuestion {
    /// Up to 60, no two on one frequency.
    pub transmitters: Vec<IntermodTransmitter>,
    /// Up to 100.
    pub receivers: Vec<IntermodReceiver>,
    /// The highest order to look at, 2 to 7.
    pub order_max: u32,
    /// Peak deviation of one transmitter; 0 for carriers that are not modulated.
    pub peak_deviation_hz: u64,
    /// The highest frequency it is modulated with.
    pub audio_max_hz: u64,
    /// Intercept points where the carriers mix, for the orders they are known of.
    #[serde(default)]
    pub intercepts: Vec<IntermodIntercept>,
    /// How many hits to list for each receiver, 1 to 1000. All are counted.
    pub hits_max: u32,
}

/// A transmitter as it arrives where the carriers mix.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct IntermodTransmitter {
    /// What it is called.
    pub name: String,
    /// Its carrier.
    pub frequency_hz: u64,
    /// Its level where the carriers mix.
    pub level_dbm: f64,
}

/// A receiver that products may fall on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct IntermodReceiver {
    /// What it is called.
    pub name: String,
    /// The frequency it listens on.
    pub frequency_hz: u64,
    /// The width of what it takes in.
    pub bandwidth_hz: u64,
}

/// The intercept point of one order.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct IntermodIntercept {
    /// The order, 2 to 7.
    pub order: u32,
    /// The level at which two equal carriers and their product would be equal.
    pub intercept_dbm: f64,
}

/// What falls on the receivers.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct IntermodAnswer {
    /// How many products were looked at, a product and its mirror being one.
    pub products: u64,
    /// The receivers in the order they were given.
    pub receivers: Vec<IntermodOnReceiver>,
}

/// What falls on one receiver.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct IntermodOnReceiver {
    /// What it is called.
    pub name: String,
    /// How many products hit it.
    pub hits_in_all: u64,
    /// The same by order.
    pub by_order: Vec<IntermodCount>,
    /// The first of them by order, then level, then distance.
    pub hits: Vec<IntermodHit>,
}

/// How many products of one order hit a receiver.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct IntermodCount {
    /// The order.
    pub order: u32,
    /// How many.
    pub hits: u64,
}

/// A product that hits a receiver.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct IntermodHit {
    /// The product in words, as in `2 Owl Knob − Tamarack Bench`.
    pub product: String,
    /// How many carriers it is made of, each as often as it is taken.
    pub order: u32,
    /// Where it falls.
    pub frequency_hz: u64,
    /// How far above the receiver's frequency that is.
    pub offset_hz: i64,
    /// How wide it is, deviations of all its carriers added up.
    pub width_hz: u64,
    /// How strong it is where the carriers mix. None where the order's intercept was not given.
    pub level_dbm: Option<f64>,
    /// Its transmitters by their place in the question, from 0 on.
    pub terms: Vec<IntermodTerm>,
}

/// A transmitter in a product.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct IntermodTerm {
    /// Its place in the question, from 0 on.
    pub transmitter: u32,
    /// How often it is taken; negative where it is taken away.
    pub coefficient: i32,
}

impl IntermodQuestion {
    pub(super) fn answer(&self) -> Result<IntermodAnswer, BenchRefused> {
        let site = self.site()?;
        let found = find(&site)?;
        let carriers = site.carriers.len() as u64;
        Ok(IntermodAnswer {
            products: (2..=u64::from(self.order_max)).map(|order| products(carriers, order)).sum(),
            receivers: self
                .receivers
                .iter()
                .zip(&found)
                .map(|(receiver, on)| self.on_receiver(receiver, on))
                .collect(),
        })
    }

    fn site(&self) -> Result<Site, BenchRefused> {
        let carrier = |transmitter: &IntermodTransmitter| {
            let level = Dbm::new(transmitter.level_dbm)?;
            Ok(Carrier { hertz: transmitter.frequency_hz, level })
        };
        let point =
            |given: &IntermodIntercept| Ok((given.order as usize, Dbm::new(given.intercept_dbm)?));
        let receiver = |receiver: &IntermodReceiver| Receiver {
            hertz: receiver.frequency_hz,
            bandwidth_hz: receiver.bandwidth_hz,
        };
        let points: Result<Vec<_>, IntermodRefused> = self.intercepts.iter().map(point).collect();
        let carriers: Result<_, IntermodRefused> = self.transmitters.iter().map(carrier).collect();
        Ok(Site {
            carriers: carriers?,
            receivers: self.receivers.iter().map(receiver).collect(),
            modulation: Modulation {
                peak_deviation_hz: self.peak_deviation_hz,
                audio_hz: self.audio_max_hz,
            },
            intercepts: intercepts(points?)?,
            order_max: self.order_max as usize,
            hits_max: self.hits_max as usize,
        })
    }

    fn on_receiver(&self, receiver: &IntermodReceiver, on: &OnReceiver) -> IntermodOnReceiver {
        let count =
            |(order, hits): (&usize, &u64)| IntermodCount { order: small(*order), hits: *hits };
        IntermodOnReceiver {
            name: receiver.name.clone(),
            hits_in_all: on.counts.values().sum(),
            by_order: on.counts.iter().map(count).collect(),
            hits: on.hits.iter().map(|hit| self.hit(hit)).collect(),
        }
    }

    fn hit(&self, hit: &Hit) -> IntermodHit {
        let term = |term: &Term| IntermodTerm {
            transmitter: small(term.carrier),
            coefficient: term.coefficient,
        };
        IntermodHit {
            product: self.product(&hit.terms),
            order: small(hit.order),
            frequency_hz: hit.hertz,
            offset_hz: hit.offset_hz,
            width_hz: hit.width_hz,
            level_dbm: hit.level_dbm,
            terms: hit.terms.iter().map(term).collect(),
        }
    }

    /// What is added first, then what is taken away.
    fn product(&self, terms: &[Term]) -> String {
        let (added, taken): (Vec<&Term>, Vec<&Term>) =
            terms.iter().partition(|term| term.coefficient > 0);
        let mut text = String::new();
        for (at, term) in added.into_iter().chain(taken).enumerate() {
            let sign = if term.coefficient < 0 { '\u{2212}' } else { '+' };
            if at > 0 {
                text.push_str(&format!(" {sign} "));
            } else if term.coefficient < 0 {
                text.push(sign);
            }
            if term.coefficient.abs() > 1 {
                text.push_str(&format!("{} ", term.coefficient.abs()));
            }
            text.push_str(&self.transmitters[term.carrier].name);
        }
        text
    }
}

fn small(number: usize) -> u32 {
    u32::try_from(number).expect("at most 60 carriers and order 7")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked() -> IntermodQuestion {
        let transmitter = |name: &str, frequency_hz| IntermodTransmitter {
            name: name.to_owned(),
            frequency_hz,
            level_dbm: -30.0,
        };
        IntermodQuestion {
            transmitters: vec![transmitter("A", 146_520_000), transmitter("B", 146_610_000)],
            receivers: vec![IntermodReceiver {
                name: "R".to_owned(),
                frequency_hz: 146_700_000,
                bandwidth_hz: 12_500,
            }],
            order_max: 3,
            peak_deviation_hz: 0,
            audio_max_hz: 0,
            intercepts: vec![IntermodIntercept { order: 3, intercept_dbm: 0.0 }],
            hits_max: 10,
        }
    }

    #[test]
    fn a_published_product_is_found_and_named() {
        // HANDBOOK I1: 2·146.61 - 146.52 = 146.70 MHz; I2: -30 dBm at 0 dBm makes -90 dBm. I5: two
        // carriers make 4 and 6 products of orders 2 and 3.
        let found = asked().answer().unwrap();
        assert_eq!(found.products, 10);
        let on = &found.receivers[0];
        assert_eq!((on.hits_in_all, on.hits.len()), (1, 1));
        let counted: Vec<(u32, u64)> = on.by_order.iter().map(|c| (c.order, c.hits)).collect();
        assert_eq!(counted, [(2, 0), (3, 1)]);
        let hit = &on.hits[0];
        assert_eq!(hit.product, "2 B \u{2212} A");
        assert_eq!((hit.frequency_hz, hit.offset_hz, hit.width_hz), (146_700_000, 0, 0));
        assert!((hit.level_dbm.unwrap() - -90.0).abs() < 1e-9);
    }

    #[test]
    fn what_cannot_be_looked_at_is_refused() {
        let mut twice = asked();
        twice.transmitters[1].frequency_hz = 146_520_000;
        let refused = twice.answer().unwrap_err();
        assert!(matches!(
            refused,
            BenchRefused::Intermod(IntermodRefused::SameFrequency { first: 1, second: 2, .. })
        ));
        let mut loud = asked();
        loud.transmitters[0].level_dbm = 151.0;
        assert!(loud.answer().unwrap_err().to_string().starts_with("level of 151 dBm"));
    }
}
