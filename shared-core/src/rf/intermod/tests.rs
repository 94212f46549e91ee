//! The search against trying every product, on small sites; and what it refuses.

use proptest::prelude::*;

use super::*;

fn dbm(value: f64) -> Dbm {
    Dbm::new(value).unwrap()
}

fn site(carriers: &[(u64, f64)], receivers: &[(u64, u64)]) -> Site {
    let carrier = |&(hertz, level)| Carrier { hertz, level: dbm(level) };
    let receiver = |&(hertz, bandwidth_hz)| Receiver { hertz, bandwidth_hz };
    Site {
        carriers: carriers.iter().map(carrier).collect(),
        receivers: receivers.iter().map(receiver).collect(),
        modulation: Modulation { peak_deviation_hz: 0, audio_hz: 0 },
        intercepts: BTreeMap::new(),
        order_max: 7,
        hits_max: HITS_MAX,
    }
}

/// Every product of an order, each once: coefficients and frequency. Tries them all.
fn every_product(carriers: &[Carrier], order: i64) -> BTreeMap<Vec<i64>, u64> {
    let mut vectors = vec![Vec::new()];
    for _ in carriers {
        let more = vectors.iter().flat_map(|vector: &Vec<i64>| {
            let left = order - vector.iter().map(|c| c.abs()).sum::<i64>();
            (-left..=left).map(|coefficient| [&vector[..], &[coefficient]].concat())
        });
        vectors = more.collect();
    }
    vectors.retain(|vector| vector.iter().map(|c| c.abs()).sum::<i64>() == order);
    let mut products = BTreeMap::new();
    for vector in vectors {
        let sum: i64 =
            vector.iter().zip(carriers).map(|(c, carrier)| c * signed(carrier.hertz)).sum();
        let mirrored: Vec<i64> = vector.iter().map(|c| -c).collect();
        let positive = if sum < 0 || (sum == 0 && mirrored > vector) { mirrored } else { vector };
        products.insert(positive, sum.unsigned_abs());
    }
    products
}

fn coefficients(hit: &Hit, carriers: usize) -> Vec<i64> {
    let mut vector = vec![0; carriers];
    for term in &hit.terms {
        vector[term.carrier] = i64::from(term.coefficient);
    }
    vector
}

fn holds(found: &[OnReceiver], site: &Site) {
    for order in 2..=site.order_max {
        let products = every_product(&site.carriers, order as i64);
        for (on, receiver) in found.iter().zip(&site.receivers) {
            let half = (receiver.bandwidth_hz + site.modulation.width_hz(order)) / 2;
            let within = |hertz: u64| hertz.abs_diff(receiver.hertz) <= half;
            let expected: BTreeMap<&Vec<i64>, u64> = products
                .iter()
                .filter(|(_, hertz)| within(**hertz))
                .map(|(vector, hertz)| (vector, *hertz))
                .collect();
            assert_eq!(on.counts[&order], expected.len() as u64, "order {order}");
            let hits: Vec<&Hit> = on.hits.iter().filter(|hit| hit.order == order).collect();
            let listed: BTreeMap<Vec<i64>, u64> = hits
                .iter()
                .map(|hit| (coefficients(hit, site.carriers.len()), hit.hertz))
                .collect();
            assert_eq!(listed.len(), hits.len(), "a hit is listed twice");
            for (vector, hertz) in &listed {
                let mirror: Vec<i64> = vector.iter().map(|c| -c).collect();
                let known = expected.get(vector).or_else(|| expected.get(&mirror));
                assert_eq!(known, Some(hertz), "{vector:?}");
            }
            let earlier: u64 = (2..order).map(|order| on.counts[&order]).sum();
            let room = (site.hits_max as u64).saturating_sub(earlier);
            assert_eq!(listed.len() as u64, room.min(expected.len() as u64));
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn nothing_is_missed_and_nothing_twice(
        hertz in proptest::collection::btree_set(8_u64..60, 1..5),
        raster in prop_oneof![Just(12_500_u64), Just(20_001), Just(50_000)],
        off in 0_u64..3,
        receivers in proptest::collection::vec((100_000_u64..3_000_000, 1_u64..400_000), 1..4),
        deviation in prop_oneof![Just(0_u64), Just(2_500)],
        hits_max in prop_oneof![Just(5_usize), Just(HITS_MAX)],
    ) {
        let carriers: Vec<(u64, f64)> =
            hertz.iter().map(|step| (step * raster + off * step + 100_000, 30.0)).collect();
        let mut site = site(&carriers, &receivers);
        site.modulation = Modulation { peak_deviation_hz: deviation, audio_hz: 3_000 };
        site.hits_max = hits_max;
        holds(&find(&site).unwrap(), &site);
    }

    #[test]
    fn hits_stand_by_order_then_level_then_distance(
        levels in proptest::collection::vec(-40_i32..40, 4),
        hits_max in 1_usize..60,
    ) {
        let hertz = [155_000_000_u64, 155_137_500, 155_612_500, 156_250_000];
        let carriers: Vec<(u64, f64)> =
            hertz.into_iter().zip(levels.iter().map(|level| f64::from(*level))).collect();
        let mut site = site(&carriers, &[(155_500_000, 900_000)]);
        site.intercepts = (2..=7).map(|order| (order, dbm(40.0))).collect();
        let all = find(&site).unwrap().remove(0).hits;
        let key = |hit: &Hit| {
            let level = (hit.level_dbm.unwrap() * 1e4).round() as i64;
            (hit.order, -level, hit.offset_hz.unsigned_abs())
        };
        prop_assert!(all.windows(2).all(|pair| key(&pair[0]) <= key(&pair[1])));
        site.hits_max = hits_max;
        let first = find(&site).unwrap().remove(0).hits;
        prop_assert_eq!(&first[..], &all[..hits_max.min(all.len())]);
    }
}

#[test]
fn a_window_over_everything_holds_every_product_once() {
    // HANDBOOK I5, harmonics included: 2 carriers 4, 6, 8, 10, 12, 14; 3 carriers 9 to 99. The
    // carriers are so low that all products lie within a megahertz.
    for (hertz, counts) in [
        (&[100_000_u64, 100_013][..], [4, 6, 8, 10, 12, 14]),
        (&[100_000, 100_013, 100_050], [9, 19, 33, 51, 73, 99]),
    ] {
        let carriers: Vec<(u64, f64)> = hertz.iter().map(|hertz| (*hertz, 30.0)).collect();
        let on = find(&site(&carriers, &[(400_000, 1_000_000)])).unwrap().remove(0);
        assert_eq!(on.counts.values().copied().collect::<Vec<u64>>(), counts);
    }
}

#[test]
fn sixty_carriers_make_each_of_their_products_once() {
    // Calculated apart, in Python: sum(comb(60,k)*comb(n-1,k-1)*2**(k-1) for k in range(1, n+1))
    // for n = 2 to 7. Sums reach 7·124 kHz, the window 900 kHz.
    let carriers: Vec<(u64, f64)> = (0..60).map(|n| (100_000 + 7 * n * n, 30.0)).collect();
    let mut site = site(&carriers, &[(400_000, 1_000_000)]);
    site.hits_max = 1;
    let on = find(&site).unwrap().remove(0);
    let counts: Vec<u64> = on.counts.into_values().collect();
    let all = [3_600, 144_020, 4_322_400, 103_824_012, 2_079_361_840, 35_720_362_980];
    assert_eq!(counts, all);
}

#[test]
fn three_carriers_stand_six_decibels_above_two() {
    // HANDBOOK I3: A+B-C is 6.02 dB above 2A-B; I2: -30 dBm at an intercept of 0 dBm makes -90.
    let carriers = [(155_000_000, -30.0), (155_100_000, -30.0), (155_300_000, -30.0)];
    let mut site = site(&carriers, &[(154_800_000, 1), (154_900_000, 1)]);
    site.order_max = 3;
    site.intercepts.insert(3, dbm(0.0));
    let found = find(&site).unwrap();
    let [three, two] = [&found[0].hits[0], &found[1].hits[0]];
    let term = |carrier, coefficient| Term { carrier, coefficient };
    assert_eq!(three.terms, [term(0, 1), term(1, 1), term(2, -1)]);
    assert_eq!(two.terms, [term(0, 2), term(1, -1)]);
    assert!((two.level_dbm.unwrap() - -90.0).abs() < 1e-9);
    assert!((three.level_dbm.unwrap() - -83.979).abs() < 0.001);
}

#[test]
fn a_modulated_product_reaches_further_by_half_its_width() {
    // 2·155.1 - 155.0 = 155.2 MHz, 20 kHz above the receiver. Third order at 2.5 kHz deviation and
    // 3 kHz audio: 2·(3·2.5 + 3) = 21 kHz wide, so it reaches 10.5 kHz to each side (Carson's rule,
    // from memory, unverified).
    let carriers = [(155_000_000, 30.0), (155_100_000, 30.0)];
    for (bandwidth_hz, deviation, hits) in
        [(18_999, 2_500, 0), (19_000, 2_500, 1), (39_999, 0, 0), (40_000, 0, 1)]
    {
        let mut site = site(&carriers, &[(155_180_000, bandwidth_hz)]);
        site.order_max = 3;
        site.modulation = Modulation { peak_deviation_hz: deviation, audio_hz: 3_000 };
        assert_eq!(find(&site).unwrap()[0].counts[&3], hits, "{bandwidth_hz} Hz");
    }
}

#[test]
fn one_order_has_one_intercept_point() {
    let twice = intercepts([(3, dbm(10.0)), (5, dbm(20.0)), (3, dbm(11.0))]);
    assert_eq!(twice.unwrap_err(), IntermodRefused::InterceptTwice { order: 3 });
    let once = intercepts([(3, dbm(10.0)), (5, dbm(20.0))]).unwrap();
    assert_eq!(once, BTreeMap::from([(3, dbm(10.0)), (5, dbm(20.0))]));
}

#[test]
fn what_makes_no_sense_is_refused_by_name() {
    let good = site(&[(155_000_000, 30.0), (155_100_000, 30.0)], &[(155_200_000, 12_500)]);
    let refused = |change: fn(&mut Site)| {
        let mut bad = good.clone();
        change(&mut bad);
        find(&bad).unwrap_err().to_string()
    };
    assert!(find(&good).is_ok());
    for (text, starts) in [
        (refused(|s| s.carriers.clear()), "0 transmitters were given; 1 to 60"),
        (refused(|s| s.receivers.clear()), "0 receivers were given; 1 to 100"),
        (refused(|s| s.hits_max = 1001), "1001 hits for each receiver were given; 1 to 1000"),
        (refused(|s| s.carriers[1].hertz = 0), "carrier frequency of 0 Hz is outside 100000"),
        (refused(|s| s.receivers[0].hertz = 0), "carrier frequency of 0 Hz is outside 100000"),
        (refused(|s| s.receivers[0].bandwidth_hz = 0), "receiver bandwidth of 0 Hz is outside 1"),
        (refused(|s| s.order_max = 8), "product order of 8 carriers is outside 2 to 7"),
        (refused(|s| s.order_max = 1), "product order of 1 carriers is outside 2 to 7"),
        (
            refused(|s| s.modulation.peak_deviation_hz = 100_001),
            "peak deviation of 100001 Hz is outside 0 to 100000",
        ),
        (
            refused(|s| s.modulation.audio_hz = 100_001),
            "highest audio frequency of 100001 Hz is outside 0 to 100000",
        ),
        (
            refused(|s| s.intercepts = BTreeMap::from([(8, s.carriers[0].level)])),
            "product order of 8 carriers is outside 2 to 7",
        ),
        (
            refused(|s| s.carriers[1].hertz = 155_000_000),
            "transmitters 1 and 2 are both on 155000000 Hz; give a frequency once",
        ),
    ] {
        assert!(text.starts_with(starts), "{text:?} does not start with {starts:?}");
    }
    let many: Vec<(u64, f64)> = (0..61).map(|n| (155_000_000 + 12_500 * n, 30.0)).collect();
    let refused = find(&site(&many, &[(156_000_000, 12_500)])).unwrap_err();
    assert!(matches!(refused, IntermodRefused::HowMany { given: 61, most: 60, .. }));
}

#[test]
fn a_hit_says_on_which_side_of_its_receiver_it_lies() {
    // HANDBOOK I1: 2·146.52 − 146.34 MHz is 146.70 MHz.
    let carriers = [(146_520_000, 30.0), (146_340_000, 30.0)];
    for (receiver_hz, offset_hz) in [(146_700_000, 0), (146_705_000, -5_000), (146_695_000, 5_000)]
    {
        let mut site = site(&carriers, &[(receiver_hz, 12_500)]);
        site.order_max = 3;
        let hits = find(&site).unwrap().remove(0).hits;
        assert_eq!(hits.len(), 1, "{receiver_hz}: {hits:?}");
        assert_eq!((hits[0].hertz, hits[0].offset_hz), (146_700_000, offset_hz));
        let terms: Vec<_> = hits[0].terms.iter().map(|t| (t.carrier, t.coefficient)).collect();
        assert_eq!(terms, [(0, 2), (1, -1)]);
    }
}

#[test]
fn the_raster_is_what_all_carriers_are_whole_numbers_of() {
    for (a, b, divisor) in [(12_500, 20_000, 2_500), (0, 6_250, 6_250), (7, 5, 1), (9, 9, 9)] {
        assert_eq!(common_divisor(a, b), divisor, "{a}, {b}");
    }
}

#[test]
fn a_receiver_takes_no_more_than_it_has_room_for_and_none_where_nothing_hits() {
    let carriers = [(155_000_000, 30.0), (155_012_500, 30.0), (155_025_000, 30.0)];
    let mut site = site(&carriers, &[(155_037_500, 12_500), (200_000_000, 12_500)]);
    let all = find(&site).unwrap();
    assert!(all[0].hits.len() > 2 && all[1].hits.is_empty());
    assert!(all[1].counts.values().all(|count| *count == 0), "{:?}", all[1].counts);
    site.hits_max = 2;
    let few = find(&site).unwrap();
    assert_eq!(few[0].hits, all[0].hits[..2]);
    assert_eq!(few[0].counts, all[0].counts, "counted all the same");
}
