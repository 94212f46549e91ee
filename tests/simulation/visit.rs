//! An invented visit to an invented repeater, with the truth behind every number typed.
//!
//! Goal: readings as a crew would have typed them, so that what the core makes of them can be held
//! against what really was. Method: ratings, stock and chains are drawn; the truth is drawn around
//! the ratings; every error (instrument, cable, coupler, repeat) is drawn from the very uncertainty
//! the records state for it; what the instrument shows is added up here, without the core's help,
//! and typed with the digits people type.
//!
//! Drawn: level accuracy ±0.5, ±1 or ±1.5 dB, power ±4 or ±6 %, cables of 0.2 to 0.6 dB ±0.1, one
//! pad of 3, 6, 10 or 20 dB ±0.2, one coupler of 20, 30 or 40 dB ±0.4 (never the pad's loss: nobody
//! could tell the two apart), a duplexer of 0.8 to 2 dB each way ±0.3, one or two other repeaters
//! at the site. Read: the eight checks of level, power and carrier in the standard plan, and in
//! half of the visits one or two again on another instrument. A pad stands in one chain in four.

use guyline_core::checks::Sheet;
use serde_json::{Map, Value, json};

use crate::chance::Chance;

/// How errors scatter inside their stated uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Scatter {
    /// Evenly between the half-widths, as the records say.
    Even,
    /// Normal with the same standard deviation: the tails are longer than the records say.
    Normal,
}

/// What a line reads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Quantity {
    Level,
    Power,
    Carrier,
}

/// Something in a chain, with what it really loses.
#[derive(Clone, Debug)]
pub(crate) struct Piece {
    pub(crate) id: String,
    pub(crate) loss_db: f64,
    pub(crate) error_db: f64,
}

/// A chain as connected.
#[derive(Clone, Debug)]
pub(crate) struct Connected {
    pub(crate) id: &'static str,
    pub(crate) plane: &'static str,
    pub(crate) instrument: &'static str,
    pub(crate) port: &'static str,
    pub(crate) pieces: Vec<Piece>,
}

/// A reading to be typed.
#[derive(Clone, Debug)]
pub(crate) struct Line {
    pub(crate) id: String,
    pub(crate) check: &'static str,
    pub(crate) quantity: Quantity,
    pub(crate) keyed: bool,
    /// Place in the list of chains.
    pub(crate) chain: usize,
    /// The unit the number is in as the instrument shows it, and the unit typed with it.
    pub(crate) shown_in: &'static str,
    pub(crate) typed_in: &'static str,
    /// What a slip or a fault adds to what the instrument shows, in dB or Hz.
    pub(crate) added: f64,
    pub(crate) sign_lost: bool,
    repeat: f64,
}

/// A visit before anything is typed.
pub(crate) struct Visit {
    pub(crate) ratings: Ratings,
    pub(crate) stock: Vec<Piece>,
    pub(crate) chains: Vec<Connected>,
    pub(crate) lines: Vec<Line>,
    /// Transmit frequencies of the others at the site.
    pub(crate) others_hz: Vec<(String, u64)>,
    pub(crate) transmit_hz: u64,
    pub(crate) truth: Truth,
    tolerance: Tolerance,
}

/// What the papers say.
pub(crate) struct Ratings {
    pub(crate) opening_dbm: f64,
    pub(crate) power_w: f64,
    pub(crate) transmit_loss_db: f64,
    pub(crate) receive_loss_db: f64,
}

/// What really is.
pub(crate) struct Truth {
    pub(crate) opening_dbm: f64,
    pub(crate) power_dbm: f64,
    pub(crate) transmit_loss_db: f64,
    pub(crate) receive_loss_db: f64,
    pub(crate) desense_db: f64,
    pub(crate) carrier_hz: f64,
    /// Level, power (dB) and frequency (Hz) errors of the three instruments.
    errors: [[f64; 3]; 3],
    /// What each keyed check's connection adds to the desense.
    apart_db: [f64; 2],
}

struct Tolerance {
    level_db: f64,
    power_percent: f64,
}

pub(crate) const DUPLEXER_DB: f64 = 0.3;
const RECEIVE_HZ: u64 = 153_400_000;
const INSTRUMENTS: [&str; 3] = ["monitor-1", "monitor-2", "wattmeter-1"];

/// Draws an error inside ±`half`.
fn error(chance: &mut Chance, scatter: Scatter, half: f64) -> f64 {
    match scatter {
        Scatter::Even => chance.between(-half, half),
        Scatter::Normal => chance.normal(0.0, half / 3f64.sqrt()),
    }
}

fn rounded(value: f64, step: f64) -> f64 {
    (value / step).round() * step
}

impl Visit {
    /// The visit of a seed.
    pub(crate) fn new(seed: u64, scatter: Scatter) -> (Self, Chance) {
        let mut chance = Chance::new(seed);
        let c = &mut chance;
        let ratings = Ratings {
            opening_dbm: *c.pick(&[-118.0, -119.0, -120.0, -121.0]),
            power_w: *c.pick(&[10.0, 25.0, 50.0, 100.0]),
            transmit_loss_db: rounded(c.between(0.8, 2.0), 0.1),
            receive_loss_db: rounded(c.between(0.8, 2.0), 0.1),
        };
        let tolerance =
            Tolerance { level_db: *c.pick(&[0.5, 1.0, 1.5]), power_percent: *c.pick(&[4.0, 6.0]) };
        let transmit_hz = RECEIVE_HZ + *c.pick(&[4_600_000, 5_200_000]);
        let count = if c.happens(0.5) { 1 } else { 2 };
        let others_hz = (0..count).map(|n| {
            let steps = 1 + (c.share() * 40.0) as u64 + 41 * n;
            (format!("other repeater {}", n + 1), transmit_hz + 12_500 * steps)
        });
        let others_hz = others_hz.collect();
        let truth = truth(c, scatter, &ratings, &tolerance, transmit_hz);
        let stock = stock(c, scatter);
        let chains = chains(c, &stock);
        let lines = lines(c, scatter, &chains);
        let visit =
            Self { ratings, stock, chains, lines, others_hz, transmit_hz, truth, tolerance };
        (visit, chance)
    }

    /// What the instrument shows, in dBm or Hz, before a slip.
    pub(crate) fn shown(&self, line: &Line) -> f64 {
        let (truth, chain) = (&self.truth, &self.chains[line.chain]);
        let at = INSTRUMENTS.iter().position(|id| *id == chain.instrument).unwrap();
        let lost: f64 = chain.pieces.iter().map(|piece| piece.loss_db + piece.error_db).sum();
        let antenna = if chain.plane == "antenna-port" { 1.0 } else { 0.0 };
        let shown = match line.quantity {
            Quantity::Level => {
                let apart = truth.apart_db[usize::from(line.check.ends_with("coupled"))];
                let keyed = if line.keyed { truth.desense_db + apart } else { 0.0 };
                truth.opening_dbm + antenna * truth.receive_loss_db + keyed + lost
            }
            Quantity::Power => truth.power_dbm - antenna * truth.transmit_loss_db - lost,
            Quantity::Carrier => truth.carrier_hz,
        };
        shown + truth.errors[at][line.quantity as usize] + line.repeat + line.added
    }

    /// The number as typed: three figures of a voltage or a power, a tenth of a decibel, a hertz.
    fn typed(&self, line: &Line) -> String {
        let shown = self.shown(line);
        let figures = |value: f64| {
            let decimals = (2 - value.abs().log10().floor() as i32).clamp(0, 8);
            format!("{value:.*}", usize::try_from(decimals).unwrap())
        };
        let microvolts = 10f64.powf((shown + 106.989_700) / 20.0);
        let text = match line.shown_in {
            "dBm" => format!("{shown:.1}"),
            "uV" => figures(microvolts),
            "uV-emf" => figures(2.0 * microvolts),
            "dBuV" => format!("{:.1}", shown + 106.989_700),
            "W" if shown < 0.0 => format!("{shown:.1}"),
            "W" => figures(10f64.powf((shown - 30.0) / 10.0)),
            _ => format!("{shown:.0}"),
        };
        match line.sign_lost {
            true => text.trim_start_matches('-').to_owned(),
            false => text,
        }
    }

    /// A meter goes over to dBm under a milliwatt, and so does who types.
    fn unit(&self, line: &Line) -> &'static str {
        if line.typed_in == "W" && self.shown(line) < 0.0 { "dBm" } else { line.typed_in }
    }

    /// The papers of shop, site and session, as a file would hold them.
    pub(crate) fn sheet(&self) -> Sheet {
        serde_json::from_value(json!({
            "shop": self.shop(), "site": self.site(), "session": self.session()
        }))
        .unwrap()
    }

    fn shop(&self) -> Value {
        let port = |kind: &str| json!({ "name": kind, "kind": kind, "power_max_w": 100.0 });
        let instruments: Map<String, Value> = INSTRUMENTS
            .iter()
            .map(|id| {
                let ports = json!({ "gen": port("generator"), "duplex": port("duplex"),
                                    "in": port("meter") });
                let value = json!({ "name": id, "calibration_due": "2027-03-31", "ports": ports,
                    "accuracy": { "level_db": self.tolerance.level_db,
                        "power_percent": self.tolerance.power_percent,
                        "frequency_ppm": 0.1, "deviation_percent": 5.0 } });
                ((*id).to_owned(), value)
            })
            .collect();
        let mut parts: Map<String, Value> = Map::new();
        for piece in &self.stock {
            let points = json!([{ "at_hz": 150_000_000, "loss_db": piece.loss_db },
                                { "at_hz": 170_000_000, "loss_db": piece.loss_db }]);
            let small = json!([{ "at_hz": 150_000_000, "loss_db": 0.1 }]);
            let (kind, tolerance_db) = match piece.id.split('-').next() {
                Some("pad") => ("pad", PAD_DB),
                Some("coupler") => ("coupler", COUPLER_DB),
                _ => ("cable", CABLE_DB),
            };
            let coupler = kind == "coupler";
            let value = json!({ "name": piece.id, "kind": kind, "tolerance_db": tolerance_db,
                "loss": if coupler { small } else { points.clone() },
                "coupling": if coupler { points } else { json!([]) }, "power_max_w": 200.0 });
            parts.insert(piece.id.clone(), value);
        }
        parts.insert(
            "load".to_owned(),
            json!({ "name": "load", "kind": "load", "tolerance_db": 0.0, "power_max_w": 200.0 }),
        );
        json!({ "name": "shop", "decision_rule": "guard-banded",
                "people": { "ines": { "name": "Ines" } },
                "instruments": instruments, "parts": parts })
    }

    fn site(&self) -> Value {
        let ratings = &self.ratings;
        let repeater = |name: &str, receive_hz: u64, transmit_hz: u64| {
            json!({ "name": name, "receive_hz": receive_hz, "transmit_hz": transmit_hz,
                "channel_width_hz": 12_500, "station": "base", "region": "us",
                "ratings": { "opening_level_dbm": ratings.opening_dbm, "power_w": ratings.power_w,
                    "duplexer_transmit_loss_db": ratings.transmit_loss_db,
                    "duplexer_receive_loss_db": ratings.receive_loss_db,
                    "duplexer_tolerance_db": DUPLEXER_DB, "duplexer_power_max_w": 250.0 } })
        };
        let mut repeaters = Map::new();
        repeaters.insert("r".to_owned(), repeater("repeater", RECEIVE_HZ, self.transmit_hz));
        for (name, at_hz) in &self.others_hz {
            let receive_hz = RECEIVE_HZ + (at_hz - self.transmit_hz);
            repeaters.insert(name.replace(' ', "-"), repeater(name, receive_hz, *at_hz));
        }
        json!({ "name": "site", "access": "road", "hazards": [], "repeaters": repeaters })
    }

    fn session(&self) -> Value {
        let stamp = json!({ "by": "ines", "device": "tablet", "at": "2026-05-14T17:00:00Z" });
        let mut chains = Map::new();
        for chain in &self.chains {
            let coupled = chain.pieces.iter().any(|piece| piece.id.starts_with("coupler"));
            let between: Vec<&str> = chain.pieces.iter().map(|piece| piece.id.as_str()).collect();
            let line = if coupled { json!(["load"]) } else { json!([]) };
            let value = json!({ "name": chain.id, "plane": chain.plane,
                "instrument": chain.instrument, "port": chain.port, "between": between,
                "line": line, "stamp": stamp });
            chains.insert(chain.id.to_owned(), value);
        }
        let mut readings = Map::new();
        for line in &self.lines {
            let chain = &self.chains[line.chain];
            let value = json!({ "check": line.check, "chain": chain.id, "plane": chain.plane,
                "criterion": "opens", "instrument": chain.instrument, "typed": self.typed(line),
                "unit": self.unit(line), "phase": "as-found", "stamp": stamp });
            readings.insert(line.id.clone(), value);
        }
        json!({ "site": "01ARZ3NDEKTSV4RRFFQ69G5FAV", "repeater": "r", "work_order": "w",
                "opened": stamp, "chains": chains, "readings": readings })
    }
}

const CABLE_DB: f64 = 0.1;
const PAD_DB: f64 = 0.2;
const COUPLER_DB: f64 = 0.4;

/// What the truth is drawn from is what `shared-core/data/slips.toml` states of it.
fn truth(
    c: &mut Chance,
    scatter: Scatter,
    ratings: &Ratings,
    tolerance: &Tolerance,
    transmit_hz: u64,
) -> Truth {
    let power_db = 10.0 * (1.0 + tolerance.power_percent / 100.0).log10();
    let mhz = transmit_hz as f64 / 1e6;
    let mut instrument =
        || [tolerance.level_db, power_db, 0.1 * mhz].map(|half| error(c, scatter, half));
    let errors = [instrument(), instrument(), instrument()];
    Truth {
        errors,
        opening_dbm: c.normal(ratings.opening_dbm, 3.0),
        power_dbm: c.normal(10.0 * ratings.power_w.log10() + 30.0, 1.0),
        transmit_loss_db: ratings.transmit_loss_db + error(c, scatter, DUPLEXER_DB),
        receive_loss_db: ratings.receive_loss_db + error(c, scatter, DUPLEXER_DB),
        desense_db: c.normal(3.0, 5.0).max(0.0),
        carrier_hz: c.normal(0.0, 2.0 * mhz),
        apart_db: [error(c, scatter, 1.0), error(c, scatter, 1.0)],
    }
}

fn stock(c: &mut Chance, scatter: Scatter) -> Vec<Piece> {
    let mut piece = |id: &str, loss_db: f64, half: f64| Piece {
        id: id.to_owned(),
        loss_db,
        error_db: error(c, scatter, half),
    };
    let cables = [piece("cable-a", 0.3, CABLE_DB), piece("cable-b", 0.45, CABLE_DB)].into_iter();
    let pads = [3.0, 6.0, 10.0, 20.0].map(|db| piece(&format!("pad-{db}"), db, PAD_DB));
    let couplers = [20.0, 30.0, 40.0].map(|db| piece(&format!("coupler-{db}"), db, COUPLER_DB));
    let cables: Vec<Piece> = cables
        .map(|mut cable| {
            cable.loss_db = rounded(c.between(0.2, 0.6), 0.05);
            cable
        })
        .collect();
    let pad = c.pick(&pads).clone();
    let distinct = |coupler: &&Piece| (coupler.loss_db - pad.loss_db).abs() > 1.0;
    let couplers: Vec<Piece> = couplers.iter().filter(distinct).cloned().collect();
    let coupler = c.pick(&couplers).clone();
    cables.into_iter().chain([pad, coupler]).collect()
}

fn chains(c: &mut Chance, stock: &[Piece]) -> Vec<Connected> {
    let mut with = |id, plane, instrument, port, cable: usize, coupled: bool| {
        let mut pieces = vec![stock[cable].clone()];
        if c.happens(0.25) {
            pieces.push(stock[2].clone());
        }
        if coupled {
            pieces.push(stock[3].clone());
        }
        Connected { id, plane, instrument, port, pieces }
    };
    vec![
        with("receiver", "receiver-port", "monitor-1", "gen", 0, false),
        with("transmitter", "transmitter-port", "wattmeter-1", "in", 1, false),
        with("out", "antenna-port", "wattmeter-1", "in", 1, false),
        with("antenna", "antenna-port", "monitor-1", "duplex", 0, false),
        with("coupled", "antenna-port", "monitor-1", "gen", 0, true),
        with("receiver-again", "receiver-port", "monitor-2", "gen", 0, false),
        with("antenna-again", "antenna-port", "monitor-2", "duplex", 1, false),
    ]
}

fn lines(c: &mut Chance, scatter: Scatter, chains: &[Connected]) -> Vec<Line> {
    use Quantity::{Carrier, Level, Power};
    let mut rows: Vec<(&str, Quantity, bool, usize, f64)> = vec![
        // check, what, keyed, chain, repeat as in the plan
        ("receiver.opening", Level, false, 0, 0.3),
        ("transmitter.power", Power, true, 1, 0.05),
        ("transmitter.frequency-error", Carrier, true, 1, 5.0),
        ("duplexer.transmit-loss", Power, true, 2, 0.05),
        ("duplexer.receive-loss", Level, false, 3, 0.3),
        ("desense.direct", Level, true, 3, 0.3),
        ("desense.coupled-unkeyed", Level, false, 4, 0.3),
        ("desense.coupled", Level, true, 4, 0.3),
    ];
    if c.happens(0.5) {
        rows.push(("receiver.opening", Level, false, 5, 0.3));
        if c.happens(0.5) {
            rows.push(("duplexer.receive-loss", Level, false, 6, 0.3));
        }
    }
    // A crew keeps to a unit on an instrument.
    let habits: Vec<&str> =
        INSTRUMENTS.iter().map(|_| *c.pick(&["dBm", "dBm", "uV", "uV-emf", "dBuV"])).collect();
    let unit = |quantity: Quantity, chain: usize| match quantity {
        Level => habits[INSTRUMENTS.iter().position(|i| *i == chains[chain].instrument).unwrap()],
        Power => "W",
        Carrier => "Hz",
    };
    let lines = rows.into_iter().enumerate().map(|(n, (check, quantity, keyed, chain, repeat))| {
        let shown_in = unit(quantity, chain);
        Line {
            id: format!("reading-{n}"),
            check,
            quantity,
            keyed,
            chain,
            shown_in,
            typed_in: shown_in,
            added: 0.0,
            sign_lost: false,
            repeat: error(c, scatter, repeat),
        }
    });
    lines.collect()
}
