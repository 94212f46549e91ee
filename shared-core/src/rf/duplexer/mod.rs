//! A duplexer: what its two paths cost, what they keep out, and whether that is enough.
//!
//! In: sweeps, the repeater's two frequencies, ratings. Out: dB at each frequency, with margins
//! (positive is better than rated). It judges nothing: uncertainty and verdict are made elsewhere.
//!
//!   insertion loss = −20·log10 |S| through a path at its own frequency
//!   rejection      = the same through the same path at the other frequency
//!   isolation      = from the transmitter's port to the receiver's
//!
//! Where only the two paths were swept, each with the third port terminated, the isolation is the
//! rejection of one path plus the loss of the other at that frequency: power that reaches the
//! antenna's port divides evenly between the antenna and the path that passes there. Common
//! practice, no source. [`isolation`]: what is wanted. [`cavity`]: one resonator. [`drift`]: two
//! sweeps of one thing.

pub mod cavity;
pub mod drift;
pub mod isolation;

use std::ops::RangeInclusive;

use super::sweep::{Sweep, SweepRefused, loss};
use crate::units::{Db, Hertz, OutOfRange, in_range};

/// Why a sweep says nothing of a duplexer or a cavity.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DuplexerRefused {
    /// A number that the quantity cannot have.
    #[error(transparent)]
    Number(#[from] OutOfRange),
    /// A frequency or a port that was not swept.
    #[error(transparent)]
    Sweep(#[from] SweepRefused),
    /// One frequency for both.
    #[error("the repeater transmits and receives on {hertz} Hz: expected two frequencies")]
    OneFrequency {
        /// The frequency.
        hertz: f64,
    },
    /// One port for two ends.
    #[error("port {port} is named twice: expected a port of its own for each end")]
    OnePort {
        /// The port.
        port: usize,
    },
    /// Nothing at all came through: a file's writer had no value there.
    #[error(
        "the sweep has no signal from port {from} to port {to} at {mhz} MHz",
        mhz = .hertz / 1e6
    )]
    NoSignal {
        /// Where it would come out.
        to: usize,
        /// Where it went in.
        from: usize,
        /// The frequency.
        hertz: f64,
    },
    /// The best point is the first or the last one swept.
    #[error(
        "the {what} lies at the end of the sweep, {mhz} MHz: sweep further",
        mhz = .hertz / 1e6
    )]
    AtEnd {
        /// What was looked for.
        what: &'static str,
        /// Where the sweep ends.
        hertz: f64,
    },
    /// Too few points on a resonance to measure its width.
    #[error("{points} points lie within the half-power width: expected {expected}; sweep finer")]
    TooCoarse {
        /// How many there are.
        points: usize,
        /// How many are wanted.
        expected: usize,
    },
}

/// The two frequencies a repeater works on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Channel {
    transmit: Hertz,
    receive: Hertz,
}

impl Channel {
    /// Refuses one frequency for both.
    pub fn new(transmit: Hertz, receive: Hertz) -> Result<Self, DuplexerRefused> {
        match transmit.hertz().total_cmp(&receive.hertz()).is_eq() {
            true => Err(DuplexerRefused::OneFrequency { hertz: transmit.hertz() }),
            false => Ok(Self { transmit, receive }),
        }
    }

    /// Where the transmitter sends.
    pub fn transmit(self) -> Hertz {
        self.transmit
    }

    /// Where the receiver listens.
    pub fn receive(self) -> Hertz {
        self.receive
    }
}

/// A way through a swept network: into one port and out of another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Way<'a> {
    sweep: &'a Sweep,
    from: usize,
    to: usize,
}

/// What a sweep says of one path of a duplexer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PathFound {
    /// What the path costs at its own frequency.
    pub insertion_loss: Db,
    /// What it costs at the other one.
    pub rejection: Db,
    /// The return loss at the port the way goes in, at its own frequency. None where the file has
    /// no reflection there.
    pub return_loss_in: Option<Db>,
    /// The same at the port it comes out.
    pub return_loss_out: Option<Db>,
}

/// How many points on either side of a frequency stand for a path about it.
const ABOUT: usize = 15;

/// More gain than this is no calibration's error, in dB. Common practice, no source.
const PASSIVE_RANGE: RangeInclusive<f64> = -0.2..=400.0;

impl<'a> Way<'a> {
    /// Refuses ports that the sweep does not have, and one port for both ends.
    pub fn new(sweep: &'a Sweep, from: usize, to: usize) -> Result<Self, DuplexerRefused> {
        for port in [from, to] {
            if !(1..=sweep.ports()).contains(&port) {
                return Err(SweepRefused::Port { port, ports: sweep.ports() }.into());
            }
        }
        match from == to {
            true => Err(DuplexerRefused::OnePort { port: from }),
            false => Ok(Self { sweep, from, to }),
        }
    }

    /// The loss on this way at a frequency; a gain is refused, because nothing here amplifies.
    pub fn loss(self, at: Hertz) -> Result<Db, DuplexerRefused> {
        let Self { sweep, from, to } = self;
        let hertz = at.hertz();
        let found = loss(sweep.at(at, to, from)?);
        let found = found.ok_or(DuplexerRefused::NoSignal { to, from, hertz })?;
        in_range("loss of a passive path", found.db(), PASSIVE_RANGE, "dB")?;
        Ok(found)
    }

    /// The losses about a frequency, as papers keep them: at the frequency itself, and at the
    /// nearest swept points on either side. Rising; in whole hertz and dB, a calibration's small
    /// gain taken for no loss.
    pub fn about(self, at: Hertz) -> Result<Vec<(u64, f64)>, DuplexerRefused> {
        let whole = |hertz: f64| hertz.round() as u64;
        let swept = self.sweep.frequencies_hz();
        let above = swept.partition_point(|&hertz| whole(hertz) < whole(at.hertz()));
        let beyond = swept[above..].iter().position(|&hertz| whole(hertz) > whole(at.hertz()));
        let beyond = beyond.map_or(swept.len(), |more| above + more);
        let below = &swept[above.saturating_sub(ABOUT)..above];
        let over = &swept[beyond..swept.len().min(beyond + ABOUT)];
        let all = below.iter().copied().chain([at.hertz()]).chain(over.iter().copied());
        let mut points: Vec<(u64, f64)> = Vec::new();
        for hertz in all {
            let loss = self.loss(Hertz::carrier(hertz)?)?.db().max(0.0);
            // Points closer than a hertz are one.
            if points.last().is_none_or(|(last, _)| *last < whole(hertz)) {
                points.push((whole(hertz), loss));
            }
        }
        Ok(points)
    }

    /// The path with its loss at `pass`, its rejection at `stop`, and the return loss at `pass`.
    pub fn path(self, pass: Hertz, stop: Hertz) -> Result<PathFound, DuplexerRefused> {
        let return_loss = |port| -> Result<Option<Db>, DuplexerRefused> {
            let Some(found) = loss(self.sweep.at(pass, port, port)?) else { return Ok(None) };
            in_range("return loss of a passive port", found.db(), PASSIVE_RANGE, "dB")?;
            Ok(Some(found))
        };
        Ok(PathFound {
            insertion_loss: self.loss(pass)?,
            rejection: self.loss(stop)?,
            return_loss_in: return_loss(self.from)?,
            return_loss_out: return_loss(self.to)?,
        })
    }
}

/// What a duplexer is rated for; the same for both paths, as data sheets have it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DuplexerRating {
    /// The most a path may cost at its own frequency.
    pub loss_max: Option<Db>,
    /// The least it must keep out at the other one.
    pub rejection_min: Option<Db>,
    /// The least return loss at its own frequency.
    pub return_loss_min: Option<Db>,
}

/// How much better than rated; negative is worse. None where nothing is rated or found.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Margins {
    /// Of the insertion loss.
    pub loss: Option<Db>,
    /// Of the rejection.
    pub rejection: Option<Db>,
    /// Of the return loss, at the worse port.
    pub return_loss: Option<Db>,
}

impl DuplexerRating {
    /// A path against the rating.
    pub fn margins(&self, found: &PathFound) -> Margins {
        let ports = [found.return_loss_in, found.return_loss_out];
        let worse = ports.into_iter().flatten().min_by(|a, b| a.db().total_cmp(&b.db()));
        Margins {
            loss: self.loss_max.map(|most| most - found.insertion_loss),
            rejection: self.rejection_min.map(|least| found.rejection - least),
            return_loss: self.return_loss_min.zip(worse).map(|(least, worse)| worse - least),
        }
    }
}

/// How far the transmitter is kept from the receiver.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IsolationFound {
    /// At the receiver's frequency: what keeps the transmitter's noise out.
    pub at_receive: Db,
    /// At the transmitter's frequency: what keeps its carrier out.
    pub at_transmit: Db,
}

impl IsolationFound {
    /// Straight from the transmitter's port to the receiver's.
    pub fn swept(way: Way<'_>, channel: Channel) -> Result<Self, DuplexerRefused> {
        Ok(Self {
            at_receive: way.loss(channel.receive)?,
            at_transmit: way.loss(channel.transmit)?,
        })
    }

    /// From the two paths, each swept with the third port terminated.
    pub fn of_paths(transmit: &PathFound, receive: &PathFound) -> Self {
        Self {
            at_receive: transmit.rejection + receive.insertion_loss,
            at_transmit: transmit.insertion_loss + receive.rejection,
        }
    }
}

#[cfg(test)]
mod tests {
    use num_complex::Complex64;

    use super::*;

    fn mhz(mhz: f64) -> Hertz {
        Hertz::carrier(mhz * 1e6).unwrap()
    }

    /// A two-port with the same reflection at both ends and so much loss, in dB, per frequency.
    fn two_port(points: &[(f64, f64, f64)]) -> Sweep {
        let value = |db: f64| Complex64::new(10f64.powf(-db / 20.0), 0.0);
        let values = points.iter().flat_map(|(_, through, back)| {
            [value(*back), value(*through), value(*through), value(*back)]
        });
        let frequencies = points.iter().map(|(mhz, ..)| mhz * 1e6).collect();
        Sweep::new(frequencies, values.collect(), vec![50.0; 2]).unwrap()
    }

    #[test]
    fn a_path_against_its_rating() {
        let sweep = two_port(&[(153.4, 90.0, 1.0), (158.6, 1.1, 20.0)]);
        let way = Way::new(&sweep, 1, 2).unwrap();
        let found = way.path(mhz(158.6), mhz(153.4)).unwrap();
        let db = |value: f64| Db::new(value).unwrap();
        let rating = DuplexerRating {
            loss_max: Some(db(1.0)),
            rejection_min: Some(db(85.0)),
            return_loss_min: Some(db(14.0)),
        };
        let margins = rating.margins(&found);
        for (margin, expected) in
            [(margins.loss, -0.1), (margins.rejection, 5.0), (margins.return_loss, 6.0)]
        {
            assert!((margin.unwrap().db() - expected).abs() < 1e-9, "{margin:?}, {expected} dB");
        }
        assert_eq!(DuplexerRating::default().margins(&found), Margins::default());
    }

    #[test]
    fn isolation_of_two_paths_is_rejection_plus_the_other_ones_loss() {
        let transmit = two_port(&[(153.4, 90.0, 1.0), (158.6, 1.1, 20.0)]);
        let receive = two_port(&[(153.4, 1.2, 20.0), (158.6, 85.0, 1.0)]);
        let path = |sweep, pass, stop| Way::new(sweep, 1, 2).unwrap().path(pass, stop).unwrap();
        let found = IsolationFound::of_paths(
            &path(&transmit, mhz(158.6), mhz(153.4)),
            &path(&receive, mhz(153.4), mhz(158.6)),
        );
        assert!((found.at_receive.db() - 91.2).abs() < 1e-9);
        assert!((found.at_transmit.db() - 86.1).abs() < 1e-9);
    }

    #[test]
    fn what_is_no_path_is_refused() {
        let sweep = two_port(&[(153.4, -3.0, 20.0), (158.6, 1.1, -1.0)]);
        assert!(matches!(Way::new(&sweep, 1, 1), Err(DuplexerRefused::OnePort { port: 1 })));
        assert!(matches!(Way::new(&sweep, 1, 3), Err(DuplexerRefused::Sweep(_))));
        let way = Way::new(&sweep, 1, 2).unwrap();
        let gain = way.loss(mhz(153.4)).unwrap_err().to_string();
        assert!(gain.starts_with("loss of a passive path of -3"), "{gain}");
        assert!(matches!(way.loss(mhz(100.0)), Err(DuplexerRefused::Sweep(_))));
        let back = way.path(mhz(158.6), mhz(158.0)).unwrap_err().to_string();
        assert!(back.starts_with("return loss of a passive port"), "{back}");
        let same = Channel::new(mhz(155.0), mhz(155.0));
        assert!(matches!(same, Err(DuplexerRefused::OneFrequency { .. })));
        let silent = Sweep::new(vec![155e6], vec![Complex64::ZERO; 4], vec![50.0; 2]).unwrap();
        let silent = Way::new(&silent, 2, 1).unwrap().loss(mhz(155.0)).unwrap_err().to_string();
        assert_eq!(silent, "the sweep has no signal from port 2 to port 1 at 155 MHz");
    }

    #[test]
    fn the_points_about_a_frequency_are_fifteen_a_side_and_a_hertz_apart() {
        // A point a hertz, 0.001 dB more each; ends and middle.
        let points: Vec<(f64, f64, f64)> =
            (0..61).map(|n| (155.0 + 1e-6 * f64::from(n), 1e-3 * f64::from(n), 20.0)).collect();
        let sweep = two_port(&points);
        let way = Way::new(&sweep, 1, 2).unwrap();
        let about = |hz: f64| way.about(Hertz::carrier(hz).unwrap()).unwrap();
        let hertz = |hz: f64| -> Vec<u64> { about(hz).iter().map(|(at, _)| *at).collect() };
        assert_eq!(hertz(155_000_030.0), (155_000_015..=155_000_045).collect::<Vec<_>>());
        assert_eq!(hertz(155_000_000.0), (155_000_000..=155_000_015).collect::<Vec<_>>());
        assert_eq!(hertz(155_000_060.0), (155_000_045..=155_000_060).collect::<Vec<_>>());
        for (at, loss_db) in about(155_000_030.0) {
            let expected = 1e-3 * (at - 155_000_000) as f64;
            assert!((loss_db - expected).abs() < 1e-6, "{at}: {loss_db}");
        }
        // Half a hertz apart: each whole hertz once.
        let fine: Vec<(f64, f64, f64)> =
            (0..41).map(|n| (155.0 + 0.5e-6 * f64::from(n), 1.0, 20.0)).collect();
        let sweep = two_port(&fine);
        let found = Way::new(&sweep, 1, 2).unwrap().about(mhz(155.000_010)).unwrap();
        let hertz: Vec<u64> = found.iter().map(|(at, _)| *at).collect();
        assert!(hertz.windows(2).all(|pair| pair[0] < pair[1]), "{hertz:?}");
        assert!(hertz.contains(&155_000_010) && hertz.contains(&155_000_012), "{hertz:?}");
    }
}
