//! An instrument made of software, to train and to test with: it answers by a scenario, and can be
//! told to misbehave as instruments do.
//!
//! In: a scenario, a TOML text. Out: an instrument on a socket of this machine. It has a generator
//! whose level can be set, a receiver that opens at a level, and readings with noise from a seed,
//! so that two runs say the same. It is an instrument's side of IEEE 488.2 as far as the tests need
//! it.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use serde::Deserialize;

/// What the text is called.
const FORM: &str = "guyline simulated instrument, form 1";
/// The longest message it hears, in bytes.
const HEARS_MAX: u64 = 4_096;
/// How often a waiting instrument looks whether it is to stop.
const LOOKS: Duration = Duration::from_millis(20);

/// What an instrument answers.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    form: String,
    /// The answer to `*IDN?`.
    identity: String,
    /// Where its noise begins.
    #[serde(default)]
    seed: u64,
    /// Its readings, by the query in the standard's notation, as `MEASure:POWer?`.
    #[serde(default)]
    answers: BTreeMap<String, Answer>,
    /// Its generator.
    #[serde(default)]
    generator: Option<Generator>,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Answer {
    /// What it reads.
    value: f64,
    /// The standard deviation of what it reads.
    #[serde(default)]
    noise: f64,
    /// Digits behind the point.
    #[serde(default = "three")]
    digits: usize,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Generator {
    /// The header that sets its level and, with a question mark, asks for it.
    header: String,
    /// Its level when it is switched on.
    level: f64,
    /// The query that says whether the receiver is open.
    opens: String,
    /// The level from which it is.
    opens_at: f64,
}

fn three() -> usize {
    3
}

/// Why a text is no scenario.
#[derive(Debug, thiserror::Error)]
pub enum ScenarioRefused {
    /// It is no TOML, or not this TOML.
    #[error("{0}")]
    Text(#[from] toml::de::Error),
    /// Another kind of text.
    #[error("form is {found:?}, and {FORM:?} is known")]
    Form {
        /// What it says it is.
        found: String,
    },
}

/// How an instrument misbehaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Fault {
    /// It does not.
    None,
    /// It hears and says nothing.
    Silent,
    /// It says each byte a second after the one before.
    Dripping,
    /// It says each answer in two pieces.
    Split,
    /// It hangs up in the middle of an answer.
    Dropped,
    /// It says what is no text.
    Garbage,
    /// It never ends its line.
    Endless,
    /// It answers in a unit nobody asked for.
    WrongUnit,
    /// It queues an error at every question.
    Errors,
    /// It has no value to show.
    Overload,
}

/// An instrument that answers until this is dropped.
#[derive(Debug)]
pub struct Simulated {
    address: SocketAddr,
    ended: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

/// What a connection can change.
struct State {
    scenario: Scenario,
    fault: Fault,
    level: f64,
    random: u64,
    errors: Vec<String>,
}

impl Scenario {
    /// Reads a scenario.
    pub fn parse(text: &str) -> Result<Self, ScenarioRefused> {
        let scenario: Self = toml::from_str(text)?;
        if scenario.form != FORM {
            return Err(ScenarioRefused::Form { found: scenario.form });
        }
        Ok(scenario)
    }
}

impl Simulated {
    /// Starts one on a port of this machine; port 0 takes any that is free.
    pub fn start(scenario: Scenario, fault: Fault, port: u16) -> std::io::Result<Self> {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port))?;
        listener.set_nonblocking(true)?;
        let address = listener.local_addr()?;
        let ended = Arc::new(AtomicBool::new(false));
        let level = scenario.generator.as_ref().map_or(0.0, |generator| generator.level);
        let random = scenario.seed;
        let state = Mutex::new(State { scenario, fault, level, random, errors: Vec::new() });
        let until = Arc::clone(&ended);
        let thread = std::thread::spawn(move || serve(&listener, &state, &until));
        Ok(Self { address, ended, thread: Some(thread) })
    }

    /// Where it listens.
    pub fn address(&self) -> SocketAddr {
        self.address
    }
}

impl Drop for Simulated {
    fn drop(&mut self) {
        self.ended.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            // A panic of an instrument for tests is that test's failure already.
            drop(thread.join());
        }
    }
}

/// One caller after the other, as instruments do.
fn serve(listener: &TcpListener, state: &Mutex<State>, ended: &AtomicBool) {
    while !ended.load(Ordering::Relaxed) {
        match listener.accept() {
            Ok((stream, _)) => {
                // A caller that went away ends its conversation, and nothing else.
                let _ended = converse(stream, state, ended);
            }
            Err(_) => std::thread::sleep(LOOKS),
        }
    }
}

fn converse(stream: TcpStream, state: &Mutex<State>, ended: &AtomicBool) -> std::io::Result<()> {
    stream.set_nonblocking(false)?;
    stream.set_read_timeout(Some(LOOKS))?;
    stream.set_nodelay(true)?;
    let mut out = stream.try_clone()?;
    let mut heard = BufReader::new(stream);
    let mut line = Vec::new();
    while !ended.load(Ordering::Relaxed) {
        let room = HEARS_MAX.saturating_sub(line.len() as u64).max(1);
        match std::io::Read::take(&mut heard, room).read_until(b'\n', &mut line) {
            Ok(0) => return Ok(()),
            Ok(_) if line.ends_with(b"\n") => {
                let said = String::from_utf8_lossy(&line).trim().to_owned();
                line.clear();
                let mut state = state.lock().unwrap_or_else(PoisonError::into_inner);
                if let Some(answer) = state.hear(&said) {
                    say(&mut out, &answer, state.fault, said == "*IDN?", ended)?;
                }
            }
            Ok(_) if line.len() as u64 >= HEARS_MAX => return Ok(()),
            Ok(_) => {}
            Err(error) if error.kind() == std::io::ErrorKind::WouldBlock => {}
            Err(error) => return Err(error),
        }
    }
    Ok(())
}

/// Says an answer the way the fault has it. Who it is it always says well: what is tested is what
/// comes after.
fn say(
    out: &mut TcpStream,
    answer: &str,
    fault: Fault,
    is_identity: bool,
    ended: &AtomicBool,
) -> std::io::Result<()> {
    let line = format!("{answer}\n");
    let bytes = line.as_bytes();
    match fault {
        _ if is_identity => out.write_all(bytes),
        Fault::Silent => Ok(()),
        Fault::Garbage => out.write_all(&[0xff, 0x00, 0x1b, b'3', b'\n']),
        Fault::Split => {
            let (one, other) = bytes.split_at(bytes.len() / 2);
            out.write_all(one)?;
            std::thread::sleep(LOOKS);
            out.write_all(other)
        }
        Fault::Dropped => {
            out.write_all(&bytes[..bytes.len() / 2])?;
            Err(std::io::ErrorKind::ConnectionAborted.into())
        }
        Fault::Dripping => bytes.iter().filter(|byte| **byte != b'\n').try_for_each(|byte| {
            out.write_all(&[*byte])?;
            let looks = 1_000 / LOOKS.as_millis();
            (0..looks)
                .take_while(|_| !ended.load(Ordering::Relaxed))
                .for_each(|_| std::thread::sleep(LOOKS));
            Ok(())
        }),
        Fault::Endless => (0..64).try_for_each(|_| out.write_all(&[b'1'; 1_024])),
        Fault::None | Fault::WrongUnit | Fault::Errors | Fault::Overload => out.write_all(bytes),
    }
}

impl State {
    /// What it says to a message; nothing to a command.
    fn hear(&mut self, message: &str) -> Option<String> {
        let (header, value) = match message.split_once(char::is_whitespace) {
            Some((header, value)) => (header, Some(value.trim())),
            None => (message, None),
        };
        match header.to_ascii_uppercase().as_str() {
            "*IDN?" => return Some(self.scenario.identity.clone()),
            "*CLS" => {
                self.errors.clear();
                return None;
            }
            "*OPC?" => return Some("1".to_owned()),
            _ => {}
        }
        if is_header("SYSTem:ERRor?", header) {
            let oldest = (!self.errors.is_empty()).then(|| self.errors.remove(0));
            return Some(oldest.unwrap_or_else(|| "0,\"No error\"".to_owned()));
        }
        if self.fault == Fault::Errors {
            self.errors.push("-222,\"Data out of range\"".to_owned());
        }
        if let Some(answer) = self.of_generator(header, value) {
            return answer;
        }
        let found = self.scenario.answers.iter().find(|(query, _)| is_header(query, header));
        let Some(answer) = found.map(|(_, answer)| answer.clone()) else {
            self.errors.push("-113,\"Undefined header\"".to_owned());
            return None;
        };
        let value = answer.value + answer.noise * self.normal();
        Some(self.reading(value, answer.digits))
    }

    /// What its generator says; none where the message is not the generator's.
    fn of_generator(&mut self, header: &str, value: Option<&str>) -> Option<Option<String>> {
        let generator = self.scenario.generator.clone()?;
        if is_header(&format!("{}?", generator.header), header) {
            return Some(Some(self.reading(self.level, 3)));
        }
        if is_header(&generator.opens, header) {
            let open = self.level >= generator.opens_at;
            return Some(Some(u8::from(open).to_string()));
        }
        if !is_header(&generator.header, header) {
            return None;
        }
        let number = value.and_then(|value| value.split_whitespace().next()?.parse().ok());
        match number {
            Some(level) => self.level = level,
            None => self.errors.push("-104,\"Data type error\"".to_owned()),
        }
        Some(None)
    }

    fn reading(&self, value: f64, digits: usize) -> String {
        match self.fault {
            Fault::Overload => "9.9E+37".to_owned(),
            Fault::WrongUnit => format!("{value:.digits$} V"),
            _ => format!("{value:.digits$}"),
        }
    }

    /// A normal number from the seed: the sum of twelve even ones, less six.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() - 6.0
    }

    /// An even number from 0 to 1 (xorshift64*, Vigna 2016, from memory, unverified).
    fn even(&mut self) -> f64 {
        let mut x = self.random.wrapping_add(0x9E37_79B9_7F4A_7C15) | 1;
        x ^= x >> 12;
        x ^= x << 25;
        x ^= x >> 27;
        self.random = x;
        (x.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1u64 << 53) as f64
    }
}

/// Whether a header is one of the standard's notation: each word whole, or its capitals alone.
fn is_header(notation: &str, header: &str) -> bool {
    let words = |text: &str| text.trim_end_matches('?').split(':').count();
    let both = notation.split(':').zip(header.split(':'));
    notation.ends_with('?') == header.ends_with('?')
        && words(notation) == words(header)
        && both.into_iter().all(|(word, said)| {
            let (word, said) = (word.trim_end_matches('?'), said.trim_end_matches('?'));
            let short: String = word.chars().filter(|c| !c.is_ascii_lowercase()).collect();
            said.eq_ignore_ascii_case(word) || said.eq_ignore_ascii_case(&short)
        })
}
