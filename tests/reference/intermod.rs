//! Intermodulation: HANDBOOK I1 to I6, and every product of small sites as numpy finds it.
//!
//! Method of the second: `oracle_intermod.py` tries every vector of coefficients of 1200 random
//! sites; here the core searches the same sites. Compared are the number of hits on each receiver
//! by order, the sum of their frequencies and the strongest level.

use std::collections::BTreeMap;

use guyline_core::rf::intermod::count::{near_band_using_all, products, using_all};
use guyline_core::rf::intermod::level::{free_range, intercept, product_dbm, terms_db};
use guyline_core::rf::intermod::{Carrier, Modulation, OnReceiver, Receiver, Site, find};
use guyline_core::units::Dbm;
use serde_json::Value;

use crate::oracle::{numbers, oracle};
use crate::source::Source::{Computed, Published};
use crate::source::close;

fn dbm(value: f64) -> Dbm {
    Dbm::new(value).unwrap()
}

/// Third-order products of unmodulated carriers of 30 dBm on receivers of a bandwidth.
fn searched(hertz: &[u64], receivers: &[u64], bandwidth_hz: u64) -> Vec<OnReceiver> {
    let receiver = |hertz: &u64| Receiver { hertz: *hertz, bandwidth_hz };
    let site = Site {
        carriers: hertz.iter().map(|hertz| Carrier { hertz: *hertz, level: dbm(30.0) }).collect(),
        receivers: receivers.iter().map(receiver).collect(),
        modulation: Modulation { peak_deviation_hz: 0, audio_hz: 0 },
        intercepts: BTreeMap::new(),
        order_max: 3,
        hits_max: 1000,
    };
    find(&site).unwrap()
}

#[test]
fn i1_the_published_pairs_hit_146_70() {
    // FCC amateur Element 4 pool 2016/2020, E4D05: 146.52 with 146.34 or 146.61.
    for (other, coefficients) in [(146_340_000, [2, -1]), (146_610_000, [-1, 2])] {
        let on = searched(&[146_520_000, other], &[146_700_000], 2).remove(0);
        let third: Vec<_> = on.hits.iter().filter(|hit| hit.order == 3).collect();
        assert_eq!(third.len(), 1, "I1: {other} Hz");
        assert_eq!((third[0].hertz, third[0].offset_hz), (146_700_000, 0), "I1: {other} Hz");
        let found: Vec<i32> = third[0].terms.iter().map(|term| term.coefficient).collect();
        assert_eq!(found, coefficients, "I1: {other} Hz");
    }
    // The other one of each pair falls elsewhere: 2·146.34 - 146.52 = 146.16 MHz.
    assert_eq!(searched(&[146_520_000, 146_340_000], &[146_160_000], 2)[0].counts[&3], 1);
}

#[test]
fn i2_level_intercept_and_free_range() {
    let pair = |level: f64| [(2, dbm(level)), (1, dbm(level))];
    let source = Computed("HANDBOOK I2, IM3 = 3P - 2·IP3");
    for (level, point, product) in [(-30.0, 0.0, -90.0), (-40.0, -5.0, -110.0)] {
        close("I2", product_dbm(&pair(level), dbm(point)), product, 1e-9, &source);
        let backwards = intercept(dbm(level), dbm(product), 3).unwrap();
        close("I2 backwards", backwards.dbm(), point, 1e-9, &source);
    }
    let published = Published("FCC amateur Element 4 pool, E4D10");
    close("I2", product_dbm(&pair(40.0), dbm(40.0)), 40.0, 1e-9, &published);
    // SFDR = 2/3·(IP3 - floor): an IP3 of 0 dBm over -120 dBm leaves 80 dB (plain arithmetic).
    let range = free_range(dbm(0.0), dbm(-120.0), 3).unwrap();
    close("I2 SFDR", range.db(), 80.0, 1e-9, &Computed("HANDBOOK I2, arithmetic"));
}

#[test]
fn i3_three_carriers_six_decibels_above_two() {
    let above = terms_db([1, 1, 1].into_iter()) - terms_db([2, 1].into_iter());
    close("I3", above, 6.02, 0.005, &Published("an article on triple beats, HANDBOOK I3"));
}

const I4: [(u64, u64, u64); 7] = [
    // carriers, 2A-B, A+B-C
    (2, 2, 0),
    (3, 6, 3),
    (4, 12, 12),
    (5, 20, 30),
    (8, 56, 168),
    (10, 90, 360),
    (20, 380, 3420),
];

#[test]
fn i4_third_order_counts_in_the_band() {
    for (carriers, two, three) in I4 {
        // Within 150 to 151 MHz: what falls between 148 and 153 MHz is in the band.
        let hertz: Vec<u64> = (0..carriers).map(|n| 150_000_000 + 2_500 * n * n).collect();
        let around: Vec<u64> = (148..=153).map(|mhz| mhz * 1_000_000).collect();
        // 999 999 Hz reach 499 999 Hz to each side; half megahertz are asked for by themselves.
        let counted: u64 = searched(&hertz, &around, 999_999).iter().map(|on| on.counts[&3]).sum();
        let between: Vec<u64> = (148..153).map(|mhz| mhz * 1_000_000 + 500_000).collect();
        let in_the_gaps: u64 = searched(&hertz, &between, 1).iter().map(|on| on.counts[&3]).sum();
        assert_eq!(counted + in_the_gaps, two + three, "I4: {carriers} carriers");
        let pairs = carriers * (carriers - 1) / 2;
        let triples = pairs * (carriers - 2) / 3;
        assert_eq!(pairs * near_band_using_all(2, 3), two, "I4: {carriers} carriers");
        assert_eq!(triples * near_band_using_all(3, 3), three, "I4: {carriers} carriers");
    }
}

#[test]
fn i5_distinct_products_of_orders_two_to_seven() {
    for (carriers, all, near, with_harmonics) in [
        (2, [2, 4, 6, 8, 10, 12], [0, 2, 0, 2, 0, 2], [4, 6, 8, 10, 12, 14]),
        (3, [0, 4, 12, 24, 40, 60], [0, 3, 0, 9, 0, 15], [9, 19, 33, 51, 73, 99]),
    ] {
        for (order, ((all, near), with_harmonics)) in
            (2..).zip(all.into_iter().zip(near).zip(with_harmonics))
        {
            let id = format!("I5: {carriers} carriers, order {order}");
            assert_eq!(using_all(carriers, order), all, "{id}");
            assert_eq!(near_band_using_all(carriers, order), near, "{id}");
            assert_eq!(products(carriers, order), with_harmonics, "{id}");
        }
    }
}

#[test]
fn i6_the_slope_of_every_order() {
    // n·P - (n-1)·IPn at P = -20 dBm, IP = +10 dBm: plain arithmetic.
    let source = Computed("HANDBOOK I6, from memory, unverified; arithmetic");
    for (order, product) in
        [(2, -50.0), (3, -80.0), (4, -110.0), (5, -140.0), (6, -170.0), (7, -200.0)]
    {
        let terms = [(order - order / 2, dbm(-20.0)), (order / 2, dbm(-20.0))];
        let id = format!("I6: order {order}");
        close(&id, product_dbm(&terms, dbm(10.0)), product, 1e-9, &source);
        close(&id, intercept(dbm(-20.0), dbm(product), order).unwrap().dbm(), 10.0, 1e-9, &source);
    }
}

fn site(case: &Value) -> Site {
    let whole = |value: &Value| value.as_u64().unwrap();
    let carriers = case["carriers_hz"].as_array().unwrap().iter().map(whole);
    let levels = numbers(&case["levels_dbm"]).into_iter().map(dbm);
    let receivers = case["receivers_hz"].as_array().unwrap().iter();
    let intercepts = numbers(&case["intercepts_dbm"]).into_iter().map(dbm);
    Site {
        carriers: carriers.zip(levels).map(|(hertz, level)| Carrier { hertz, level }).collect(),
        receivers: receivers
            .map(|on| Receiver { hertz: whole(&on[0]), bandwidth_hz: whole(&on[1]) })
            .collect(),
        modulation: Modulation {
            peak_deviation_hz: whole(&case["deviation_hz"]),
            audio_hz: whole(&case["audio_hz"]),
        },
        intercepts: (2..).zip(intercepts).collect(),
        order_max: 7,
        hits_max: 1000,
    }
}

#[test]
fn numpy_finds_the_same_products() {
    let printed = oracle("oracle_intermod.py");
    for count in printed["counts"].as_array().unwrap() {
        let (carriers, order) =
            (count["carriers"].as_u64().unwrap(), count["order"].as_u64().unwrap());
        assert_eq!(products(carriers, order), count["products"].as_u64().unwrap(), "{count}");
    }
    let cases = printed["cases"].as_array().unwrap();
    assert!(cases.len() >= 1000, "only {} cases", cases.len());
    let (mut hits, mut listed_in_full) = (0, 0);
    for case in cases {
        let on = find(&site(case)).unwrap();
        for found in case["found"].as_array().unwrap() {
            let receiver = usize::try_from(found["receiver"].as_u64().unwrap()).unwrap();
            let order = usize::try_from(found["order"].as_u64().unwrap()).unwrap();
            let on = &on[receiver];
            let expected = found["hits"].as_u64().unwrap();
            assert_eq!(on.counts[&order], expected, "order {order} of {case}");
            hits += expected;
            let listed: Vec<_> = on.hits.iter().filter(|hit| hit.order == order).collect();
            if listed.len() as u64 == expected {
                let hertz: u64 = listed.iter().map(|hit| hit.hertz).sum();
                assert_eq!(hertz, found["hertz_in_all"].as_u64().unwrap(), "{case}");
                listed_in_full += 1;
            }
            if let (Some(first), Some(strongest)) =
                (listed.first(), found["strongest_dbm"].as_f64())
            {
                let got = first.level_dbm.unwrap();
                close(&format!("order {order}"), got, strongest, 2e-6, &Computed("numpy"));
            }
        }
    }
    assert!(hits > 10_000 && listed_in_full > 10_000, "{hits} hits, {listed_in_full} lists");
}
