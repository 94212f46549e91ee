//! A duplexer from its sweeps: both paths at both frequencies. Formulas: [`crate::rf::duplexer`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use super::isolation::{IsolationAnswer, IsolationWanted};
use super::sweep::file;
use crate::rf::duplexer::{Channel, DuplexerRating, IsolationFound, PathFound, Way};
use crate::rf::sweep::Sweep;
use crate::units::{Db, Hertz};

/// A repeater's frequencies, and either a sweep of each path or one of all three ports.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct DuplexerQuestion {
    /// Where the transmitter sends, in hertz.
    pub transmit_hz: f64,
    /// Where the receiver listens, in hertz.
    pub receive_hz: f64,
    /// The transmit path as Touchstone text: a two-port, in at port 1, out at port 2, the
    /// receiver's port terminated.
    pub transmit_touchstone: Option<String>,
    /// The receive path likewise, the transmitter's port terminated.
    pub receive_touchstone: Option<String>,
    /// The whole duplexer as Touchstone text: a three-port. Then no paths.
    pub touchstone: Option<String>,
    /// The transmitter's port of the three-port; 1 where it is not given.
    pub transmitter_port: Option<u32>,
    /// The receiver's; 2 where it is not given.
    pub receiver_port: Option<u32>,
    /// The antenna's; 3 where it is not given.
    pub antenna_port: Option<u32>,
    /// The most a path is rated to cost at its own frequency, in dB.
    pub rated_loss_db: Option<f64>,
    /// The least it is rated to reject the other frequency, in dB.
    pub rated_rejection_db: Option<f64>,
    /// The least return loss it is rated for at its own frequency, in dB.
    pub rated_return_loss_db: Option<f64>,
    /// The transmitter and receiver it must keep apart.
    pub wanted: Option<IsolationWanted>,
}

/// What the sweeps say.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct DuplexerAnswer {
    /// From the transmitter to the antenna. None where it was not swept.
    pub transmit_path: Option<DuplexerPath>,
    /// From the antenna to the receiver. None where it was not swept.
    pub receive_path: Option<DuplexerPath>,
    /// The isolation at the receiver's frequency, in dB. None where a path was not swept.
    pub isolation_at_receive_db: Option<f64>,
    /// The isolation at the transmitter's frequency, in dB.
    pub isolation_at_transmit_db: Option<f64>,
    /// Whether the isolation was swept from port to port, or is the sum of both paths.
    pub isolation_swept: bool,
    /// The isolation against what is wanted. None where nothing was wanted.
    pub isolation: Option<IsolationAnswer>,
}

/// One path. Margins are how much better than rated; negative is worse.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct DuplexerPath {
    /// What it costs at its own frequency, in dB.
    pub loss_db: f64,
    /// Against the rated loss, in dB.
    pub loss_margin_db: Option<f64>,
    /// What it rejects of the other frequency, in dB.
    pub rejection_db: f64,
    /// Against the rated rejection, in dB.
    pub rejection_margin_db: Option<f64>,
    /// The return loss where the signal goes in, at the path's own frequency, in dB.
    pub return_loss_in_db: Option<f64>,
    /// The same where it comes out.
    pub return_loss_out_db: Option<f64>,
    /// The worse of both against the rated return loss, in dB.
    pub return_loss_margin_db: Option<f64>,
    /// Its losses about its own frequency, as a site's papers keep a swept duplexer.
    pub points: Vec<SweptPoint>,
}

/// A path's loss at one frequency.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct SweptPoint {
    /// Where, in hertz.
    pub at_hz: u64,
    /// The loss there, in dB.
    pub loss_db: f64,
}

/// A path with its losses about its own frequency.
struct Swept {
    found: PathFound,
    about: Vec<(u64, f64)>,
}

impl Swept {
    fn of(way: Way<'_>, pass: Hertz, stop: Hertz) -> Result<Self, BenchRefused> {
        Ok(Self { found: way.path(pass, stop)?, about: way.about(pass)? })
    }
}

/// Both paths, and the isolation where it could be swept.
type Found = (Option<Swept>, Option<Swept>, Option<IsolationFound>);

impl DuplexerQuestion {
    pub(super) fn answer(&self) -> Result<DuplexerAnswer, BenchRefused> {
        let transmit = Hertz::carrier(self.transmit_hz)?;
        let channel = Channel::new(transmit, Hertz::carrier(self.receive_hz)?)?;
        let (transmit, receive, swept) = match &self.touchstone {
            Some(text) => self.three_port(text, channel)?,
            None => self.paths(channel)?,
        };
        let rating = self.rating()?;
        let both = transmit.as_ref().zip(receive.as_ref());
        let summed = both.map(|(t, r)| IsolationFound::of_paths(&t.found, &r.found));
        let isolation = swept.or(summed);
        let (at_receive, at_transmit) =
            (isolation.map(|found| found.at_receive), isolation.map(|found| found.at_transmit));
        let against = self.wanted.map(|wanted| wanted.against(at_receive, at_transmit));
        Ok(DuplexerAnswer {
            transmit_path: transmit.map(|found| path(&found, &rating)),
            receive_path: receive.map(|found| path(&found, &rating)),
            isolation_at_receive_db: at_receive.map(Db::db),
            isolation_at_transmit_db: at_transmit.map(Db::db),
            isolation_swept: swept.is_some(),
            isolation: against.transpose()?,
        })
    }

    fn rating(&self) -> Result<DuplexerRating, BenchRefused> {
        let db = |value: Option<f64>| value.map(Db::new).transpose();
        Ok(DuplexerRating {
            loss_max: db(self.rated_loss_db)?,
            rejection_min: db(self.rated_rejection_db)?,
            return_loss_min: db(self.rated_return_loss_db)?,
        })
    }

    fn three_port(&self, text: &str, channel: Channel) -> Result<Found, BenchRefused> {
        if self.transmit_touchstone.is_some() || self.receive_touchstone.is_some() {
            return Err(BenchRefused::Given {
                expected: "`touchstone` or the two paths, not both",
            });
        }
        let sweep = file(text, Some(3))?.connectors()?;
        let port = |given: Option<u32>, otherwise: usize| {
            given.map_or(otherwise, |port| usize::try_from(port).unwrap_or(usize::MAX))
        };
        let transmitter = port(self.transmitter_port, 1);
        let receiver = port(self.receiver_port, 2);
        let antenna = port(self.antenna_port, 3);
        let (transmit, receive) = (channel.transmit(), channel.receive());
        let out = Swept::of(Way::new(&sweep, transmitter, antenna)?, transmit, receive)?;
        let back = Swept::of(Way::new(&sweep, antenna, receiver)?, receive, transmit)?;
        let across = IsolationFound::swept(Way::new(&sweep, transmitter, receiver)?, channel)?;
        Ok((Some(out), Some(back), Some(across)))
    }

    fn paths(&self, channel: Channel) -> Result<Found, BenchRefused> {
        let ports = [self.transmitter_port, self.receiver_port, self.antenna_port];
        if ports.iter().any(Option::is_some) {
            return Err(BenchRefused::Given { expected: "ports with a three-port only" });
        }
        let (transmit, receive) = (channel.transmit(), channel.receive());
        let found = |text: &Option<String>, pass: Hertz, stop: Hertz| {
            let sweep = |text: &String| -> Result<Sweep, BenchRefused> {
                Ok(file(text, Some(2))?.connectors()?)
            };
            let Some(sweep) = text.as_ref().map(sweep).transpose()? else { return Ok(None) };
            Ok::<_, BenchRefused>(Some(Swept::of(Way::new(&sweep, 1, 2)?, pass, stop)?))
        };
        let out = found(&self.transmit_touchstone, transmit, receive)?;
        let back = found(&self.receive_touchstone, receive, transmit)?;
        match out.is_none() && back.is_none() {
            true => Err(BenchRefused::Given {
                expected: "`touchstone`, `transmit_touchstone` or `receive_touchstone`",
            }),
            false => Ok((out, back, None)),
        }
    }
}

fn path(swept: &Swept, rating: &DuplexerRating) -> DuplexerPath {
    let Swept { found, about } = swept;
    let margins = rating.margins(found);
    DuplexerPath {
        loss_db: found.insertion_loss.db(),
        loss_margin_db: margins.loss.map(Db::db),
        rejection_db: found.rejection.db(),
        rejection_margin_db: margins.rejection.map(Db::db),
        return_loss_in_db: found.return_loss_in.map(Db::db),
        return_loss_out_db: found.return_loss_out.map(Db::db),
        return_loss_margin_db: margins.return_loss.map(Db::db),
        points: about.iter().map(|&(at_hz, loss_db)| SweptPoint { at_hz, loss_db }).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::isolation::tests::WANTED;
    use super::*;

    /// Loss between the ends of a path at 153.4 and at 158.6 MHz, in dB; the ends return −20 dB.
    fn path_text(low_db: f64, high_db: f64) -> String {
        let line = |mhz: f64, db: f64| format!("{mhz} -20 0 -{db} 0 -{db} 0 -20 0\n");
        format!("# MHz S DB R 50\n{}{}", line(153.4, low_db), line(158.6, high_db))
    }

    fn asked() -> DuplexerQuestion {
        DuplexerQuestion {
            transmit_hz: 158.6e6,
            receive_hz: 153.4e6,
            rated_loss_db: Some(1.0),
            rated_rejection_db: Some(85.0),
            wanted: Some(WANTED),
            ..DuplexerQuestion::default()
        }
    }

    fn close(got: Option<f64>, expected: f64) {
        let got = got.unwrap();
        assert!((got - expected).abs() < 1e-6, "{got}, expected {expected}");
    }

    #[test]
    fn two_paths_swept_one_after_the_other() {
        let question = DuplexerQuestion {
            transmit_touchstone: Some(path_text(90.0, 1.25)),
            receive_touchstone: Some(path_text(0.75, 80.0)),
            ..asked()
        };
        let found = question.answer().unwrap();
        let (transmit, receive) = (found.transmit_path.unwrap(), found.receive_path.unwrap());
        close(transmit.loss_margin_db, -0.25);
        close(receive.loss_margin_db, 0.25);
        close(transmit.rejection_margin_db, 5.0);
        close(receive.rejection_margin_db, -5.0);
        close(receive.return_loss_in_db, 20.0);
        close(found.isolation_at_receive_db, 90.75);
        close(found.isolation_at_transmit_db, 81.25);
        assert!(!found.isolation_swept);
        close(found.isolation.unwrap().noise.measured_db, 90.75);
        close(found.isolation.unwrap().carrier.unwrap().measured_db, 81.25);
    }

    #[test]
    fn three_ports_in_the_order_that_is_said() {
        // Ports: antenna, transmitter, receiver. Loss 1 at its own frequency, 2 across.
        let text = "# MHz S DB R 50\n\
            153.4 -20 0 -88 0 -0.5 0\n -88 0 -1 0 -95 0\n -0.5 0 -95 0 -20 0\n\
            158.6 -20 0 -0.7 0 -82 0\n -0.7 0 -20 0 -90 0\n -82 0 -90 0 -1 0\n";
        let question = DuplexerQuestion {
            touchstone: Some(text.to_owned()),
            antenna_port: Some(1),
            transmitter_port: Some(2),
            receiver_port: Some(3),
            ..asked()
        };
        let found = question.answer().unwrap();
        let (transmit, receive) = (found.transmit_path.unwrap(), found.receive_path.unwrap());
        close(Some(transmit.loss_db), 0.7);
        close(Some(transmit.rejection_db), 88.0);
        close(Some(receive.loss_db), 0.5);
        close(Some(receive.rejection_db), 82.0);
        // As papers keep it: the loss at its own frequency, and what was swept beside it.
        let kept: Vec<(u64, f64)> = receive.points.iter().map(|p| (p.at_hz, p.loss_db)).collect();
        assert_eq!(kept.iter().map(|(at, _)| *at).collect::<Vec<_>>(), [153_400_000, 158_600_000]);
        close(Some(kept[0].1), 0.5);
        close(Some(kept[1].1), 82.0);
        close(found.isolation_at_receive_db, 95.0);
        close(found.isolation_at_transmit_db, 90.0);
        assert!(found.isolation_swept);
    }

    #[test]
    fn what_does_not_belong_together_is_refused() {
        let refused = |question: DuplexerQuestion| question.answer().unwrap_err().to_string();
        assert!(refused(asked()).starts_with("expected `touchstone`, `transmit_touchstone`"));
        let both = DuplexerQuestion {
            touchstone: Some(String::new()),
            receive_touchstone: Some(String::new()),
            ..asked()
        };
        assert!(refused(both).contains("not both"));
        let swapped = DuplexerQuestion {
            transmit_touchstone: Some(path_text(90.0, 1.0)),
            antenna_port: Some(2),
            ..asked()
        };
        assert!(refused(swapped).contains("three-port only"));
        let one = DuplexerQuestion { receive_hz: 158.6e6, ..asked() };
        assert!(refused(one).contains("expected two frequencies"));
    }
}
