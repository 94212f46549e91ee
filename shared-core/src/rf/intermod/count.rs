//! How many different products there are. Plain combinatorics; check values HANDBOOK I4, I5.
//!
//! A product of order n is a vector of whole coefficients whose magnitudes add up to n; it and its
//! mirror, all signs turned, are one. With k carriers, all of them used:
//!
//!   all        C(n−1, k−1)·2^(k−1)
//!   near band  Σ C(k, p)·C(P−1, p−1)·C(Q−1, k−p−1) over p, P = (n+1)/2, Q = (n−1)/2, odd n only
//!
//! Near the band are those whose coefficients add up to ±1: they fall beside their carriers.

/// How many products of an order use each of `carriers` carriers.
pub fn using_all(carriers: u64, order: u64) -> u64 {
    if carriers == 0 || carriers > order {
        return 0;
    }
    choose(order - 1, carriers - 1) << (carriers - 1)
}

/// How many of [`using_all`] fall beside their carriers: coefficients that add up to ±1.
pub fn near_band_using_all(carriers: u64, order: u64) -> u64 {
    if carriers == 0 || order.is_multiple_of(2) {
        return 0;
    }
    let (plus, minus) = (order.div_ceil(2), order / 2);
    (0..=carriers)
        .map(|above| choose(carriers, above) * split(plus, above) * split(minus, carriers - above))
        .sum()
}

/// How many products of an order up to 60 carriers make, whichever of them they use.
pub fn products(carriers: u64, order: u64) -> u64 {
    (1..=carriers.min(order)).map(|used| choose(carriers, used) * using_all(used, order)).sum()
}

/// Ways to write `sum` as so many whole numbers from 1 on, in order.
fn split(sum: u64, parts: u64) -> u64 {
    match (sum, parts) {
        (0, 0) => 1,
        (0, _) | (_, 0) => 0,
        _ => choose(sum - 1, parts - 1),
    }
}

fn choose(of: u64, some: u64) -> u64 {
    // Each step divides evenly: what stands there is C(of, taken).
    (0..some).fold(1, |ways, taken| ways * of.saturating_sub(taken) / (taken + 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sixty_carriers_make_what_the_search_is_for() {
        // Calculated apart, in Python: sum(comb(60,k)*comb(6,k-1)*2**(k-1) for k in range(1, 8)).
        assert_eq!(products(60, 7), 35_720_362_980);
        assert_eq!(products(0, 3), 0);
        assert_eq!(near_band_using_all(2, 4), 0);
    }

    #[test]
    fn published_counts_of_products() {
        // HANDBOOK I5: orders 2 to 7, mirror signs merged.
        let of = |count: fn(u64, u64) -> u64, carriers| (2..=7).map(move |n| count(carriers, n));
        for (carriers, all, near) in [
            (2, [2, 4, 6, 8, 10, 12], [0, 2, 0, 2, 0, 2]),
            (3, [0, 4, 12, 24, 40, 60], [0, 3, 0, 9, 0, 15]),
        ] {
            assert_eq!(of(using_all, carriers).collect::<Vec<_>>(), all, "{carriers}");
            assert_eq!(of(near_band_using_all, carriers).collect::<Vec<_>>(), near, "{carriers}");
        }
        // The same rows, harmonics included.
        for (carriers, all) in [(2, [4, 6, 8, 10, 12, 14]), (3, [9, 19, 33, 51, 73, 99])] {
            assert_eq!(of(products, carriers).collect::<Vec<_>>(), all, "{carriers}");
        }
        // HANDBOOK I4: 2A−B of N carriers N(N−1), A+B−C N(N−1)(N−2)/2.
        for (n, two, three) in [(3, 6, 3), (4, 12, 12), (10, 90, 360), (20, 380, 3420)] {
            assert_eq!(choose(n, 2) * near_band_using_all(2, 3), two, "{n}");
            assert_eq!(choose(n, 3) * near_band_using_all(3, 3), three, "{n}");
        }
    }

    #[test]
    fn no_carrier_and_more_carriers_than_the_order_make_none() {
        for order in 1..8 {
            assert_eq!((using_all(0, order), near_band_using_all(0, order)), (0, 0));
            assert_eq!(using_all(order + 1, order), 0);
            assert_eq!(
                (using_all(1, order), near_band_using_all(1, order)),
                (1, u64::from(order == 1))
            );
        }
    }
}
