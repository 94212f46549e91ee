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
}
