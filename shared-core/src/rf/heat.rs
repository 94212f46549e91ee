//! How long a part may be keyed: heating by duty and time.
//!
//! In: the power that arrives, what the part takes for long, and what it takes for a while from
//! cold. Out: seconds, and how hot it gets. One time constant stands for the whole part; that is
//! honest for a load that is rated so, and for nothing else: a part without a short-time rating is
//! never given more than it takes for long. Voice modulation on FM does not help: its power is all
//! there while keyed (HANDBOOK 12, trap 16).
//!
//!   ϑ(t) = P/P_c·(1 − e^(−t/τ))                 rise over the rise allowed, from cold
//!   τ = −t_s/ln(1 − P_c/P_s)                     so that P_s for t_s reaches just that
//!   ϑ_max = P/P_c·(1 − e^(−on/τ))/(1 − e^(−(on+off)/τ))       keyed on and off for ever
//!
//! P_c: rating for long; P_s, t_s: rating for a while; τ: time constant. First-order heating:
//! common practice, no source. Never more than P_s, however short.

use crate::units::{OutOfRange, Watts, in_range};

/// What a part takes for long, and for a while.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Endurance {
    continuous_w: f64,
    short: Option<Short>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Short {
    power_w: f64,
    time_constant_s: f64,
}

/// How long a power may come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Longest {
    /// For as long as one likes.
    ForLong,
    /// So many seconds from cold.
    Seconds(f64),
    /// Not at all.
    Never,
}

impl Endurance {
    /// A part that takes `continuous`, and no more.
    pub fn continuous(continuous: Watts) -> Self {
        Self { continuous_w: continuous.watts(), short: None }
    }

    /// A part that takes `power` for `seconds` from cold, and `continuous` for long.
    pub fn with_short_time(
        continuous: Watts,
        power: Watts,
        seconds: f64,
    ) -> Result<Self, OutOfRange> {
        let continuous_w = continuous.watts();
        let power_w = in_range("short-time power", power.watts(), continuous_w..=1e6, "W")?;
        let seconds = in_range("short time", seconds, 0.1..=86_400.0, "s")?;
        if power_w <= continuous_w {
            return Ok(Self { continuous_w, short: None });
        }
        let time_constant_s = -seconds / (-continuous_w / power_w).ln_1p();
        Ok(Self { continuous_w, short: Some(Short { power_w, time_constant_s }) })
    }

    /// The time constant that the two ratings imply, in seconds; none without a short-time rating.
    pub fn time_constant_s(&self) -> Option<f64> {
        self.short.map(|short| short.time_constant_s)
    }

    /// How long this power may come from cold.
    pub fn longest(&self, power: Watts) -> Longest {
        let power_w = power.watts();
        if power_w <= self.continuous_w {
            return Longest::ForLong;
        }
        match self.short {
            Some(short) if power_w <= short.power_w => {
                Longest::Seconds(-short.time_constant_s * (-self.continuous_w / power_w).ln_1p())
            }
            _ => Longest::Never,
        }
    }

    /// The rise over the rise allowed at the end of each keying, keyed `on_s` and rested `off_s` in
    /// turn for ever. Up to 1 it holds. Without a time constant a rest is worth nothing.
    pub fn rise(&self, power: Watts, on_s: f64, off_s: f64) -> Result<f64, OutOfRange> {
        let on_s = in_range("time keyed", on_s, 0.0..=1e7, "s")?;
        let off_s = in_range("rest", off_s, 0.0..=1e7, "s")?;
        let over = power.watts() / self.continuous_w;
        let Some(short) = self.short else { return Ok(over) };
        let period = on_s + off_s;
        if period <= 0.0 {
            return Ok(over);
        }
        let warmed = |seconds: f64| -(-seconds / short.time_constant_s).exp_m1();
        Ok(over * warmed(on_s) / warmed(period))
    }

    /// The rest that each keying of `on_s` wants so that it can go on for ever. None where no rest
    /// is long enough.
    pub fn rest_s(&self, power: Watts, on_s: f64) -> Option<f64> {
        let over = power.watts() / self.continuous_w;
        if over <= 1.0 {
            return Some(0.0);
        }
        let short = self.short.filter(|short| power.watts() <= short.power_w)?;
        let left = 1.0 + over * (-on_s / short.time_constant_s).exp_m1();
        (left > 0.0).then(|| (-short.time_constant_s * left.ln() - on_s).max(0.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn watts(watts: f64) -> Watts {
        Watts::new(watts).unwrap()
    }

    /// 50 W for long, 100 W for 60 s: arithmetic gives τ = 60/ln 2 = 86.562 s.
    fn load() -> Endurance {
        Endurance::with_short_time(watts(50.0), watts(100.0), 60.0).unwrap()
    }

    #[test]
    fn a_rating_gives_its_own_time_back() {
        assert!((load().time_constant_s().unwrap() - 86.562).abs() < 0.001);
        assert_eq!(load().longest(watts(50.0)), Longest::ForLong);
        let Longest::Seconds(s) = load().longest(watts(100.0)) else { panic!("it is limited") };
        assert!((s - 60.0).abs() < 1e-9);
        // 75 W: -86.562·ln(1 - 2/3) = 95.098 s. Arithmetic.
        let Longest::Seconds(s) = load().longest(watts(75.0)) else { panic!("it is limited") };
        assert!((s - 95.098).abs() < 0.001);
        assert_eq!(load().longest(watts(101.0)), Longest::Never);
        assert_eq!(Endurance::continuous(watts(50.0)).longest(watts(50.1)), Longest::Never);
    }

    #[test]
    fn resting_as_long_as_said_holds_for_ever_and_a_little_less_does_not() {
        let rest = load().rest_s(watts(100.0), 30.0).unwrap();
        assert!((load().rise(watts(100.0), 30.0, rest).unwrap() - 1.0).abs() < 1e-9);
        assert!(load().rise(watts(100.0), 30.0, rest - 1.0).unwrap() > 1.0);
        // Half the time keyed, in turns far shorter than τ: the average power counts.
        assert!((load().rise(watts(100.0), 0.01, 0.01).unwrap() - 1.0).abs() < 1e-3);
        assert_eq!(load().rest_s(watts(40.0), 1e6), Some(0.0));
        assert_eq!(load().rest_s(watts(100.0), 61.0), None, "longer than from cold");
        assert_eq!(Endurance::continuous(watts(50.0)).rest_s(watts(60.0), 1.0), None);
    }

    #[test]
    fn a_rating_that_cannot_be_is_refused() {
        let refused = Endurance::with_short_time(watts(50.0), watts(40.0), 60.0).unwrap_err();
        assert_eq!(refused.quantity, "short-time power");
        assert!(Endurance::with_short_time(watts(50.0), watts(60.0), f64::NAN).is_err());
        assert!(load().rise(watts(100.0), -1.0, 1.0).is_err());
    }

    proptest::proptest! {
        #[test]
        fn the_rest_that_is_named_just_holds(
            rated in 1.0..200.0f64, over in 1.01..5.0f64, seconds in 1.0..600.0f64,
            share in 0.02..0.98f64, part in 0.05..0.95f64,
        ) {
            let short = watts(rated * over);
            let load = Endurance::with_short_time(watts(rated), short, seconds).unwrap();
            let power = watts(rated * (1.0 + share * (over - 1.0)));
            let Longest::Seconds(longest) = load.longest(power) else { panic!("it is limited") };
            proptest::prop_assert!(longest >= seconds * (1.0 - 1e-9), "less power, longer");
            let keyed_s = part * longest;
            let rest_s = load.rest_s(power, keyed_s).unwrap();
            let rise = load.rise(power, keyed_s, rest_s).unwrap();
            proptest::prop_assert!((rise - 1.0).abs() < 1e-6, "{rise}");
        }
    }

    #[test]
    fn a_rise_is_the_rise_of_each_keying_over_that_of_the_whole_period() {
        // 75 W on 50 W, τ = 86.562 s: 1.5·(1 − e^(−30/τ))/(1 − e^(−90/τ)). In Python: 0.679 623.
        let rise = load().rise(watts(75.0), 30.0, 60.0).unwrap();
        assert!((rise - 0.679_623).abs() < 1e-5, "{rise}");
        assert!((load().rise(watts(75.0), 0.0, 0.0).unwrap() - 1.5).abs() < 1e-12);
        let bare = Endurance::continuous(watts(50.0));
        assert!((bare.rise(watts(75.0), 1.0, 1e6).unwrap() - 1.5).abs() < 1e-12, "no rest helps");
    }
}
