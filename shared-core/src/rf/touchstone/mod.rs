//! Reading a sweep from a Touchstone file, version 1.0, 1.1 and 2.0, S, Y, Z, H and G parameters,
//! and writing it anew ([`write()`]).
//!
//! In: the file's bytes (UTF-8 with or without a mark, or Latin-1 in comments), and for version 1
//! the number of ports, which only the file's name says (`.s2p`); without it the first record
//! tells. Out: a [`Sweep`] of scattering parameters at real reference resistances in ohms, noise
//! data in ohms, or a refusal with the line and what was expected there. Work and memory are
//! bounded by the input's size, and that by [`BYTES_MAX`].
//!
//! The rules are those of the specification as HANDBOOK 5.1 has them, with its traps (5.2, §12
//! item 8): a two-port is S11 S21 S12 S22; a second option line is ignored; version 1 normalises
//! Y, Z, H, G and the noise resistance to R, version 2 does not; `[Reference]` may wrap. Three
//! rules make a lost or doubled number show instead of shifting all that follows: a record begins
//! on a new line, ends at a line's end, and frequencies rise. More lenient than the text, because
//! files are: `[Network Data]`, `[End]` and announced noise data may be missing.

mod convert;
mod header;
mod read;
mod records;
mod scan;
#[cfg(test)]
mod tests;
mod write;

use num_complex::Complex64;

pub use read::read;
pub use write::{FrequencyUnit, NotWritten, TouchstoneVersion, ValueFormat, Writing, write};

use super::sweep::{POINTS_MAX, PORTS_MAX, Sweep, SweepRefused};

/// The largest file taken: 200 001 points of a two-port fit, written to full precision.
pub const BYTES_MAX: usize = 64 << 20;

/// What a Touchstone file holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Touchstone {
    /// The network's parameters, as scattering parameters.
    pub sweep: Sweep,
    /// Noise parameters, where the file has any.
    pub noise: Vec<NoisePoint>,
    /// What each port of a mixed-mode file stands for ("D2,3"), in the order of the sweep's ports.
    /// Empty where every port is a plain connector.
    pub modes: Vec<String>,
}

/// The noise parameters of a two-port at one frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoisePoint {
    /// In hertz.
    pub frequency_hz: f64,
    /// The least noise figure, in dB.
    pub minimum_db: f64,
    /// The source reflection that gives it.
    pub source_reflection: Complex64,
    /// The effective noise resistance, in ohms.
    pub resistance_ohm: f64,
}

impl Touchstone {
    /// The sweep of a file whose ports are connectors; a mixed-mode one is refused.
    pub fn connectors(self) -> Result<Sweep, TouchstoneRefused> {
        match self.modes.is_empty() {
            true => Ok(self.sweep),
            false => Err(TouchstoneRefused::MixedMode { modes: self.modes.join(" ") }),
        }
    }
}

/// Why a file is no sweep. The line is counted from 1.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TouchstoneRefused {
    /// A file larger than is taken.
    #[error("a file of {bytes} bytes: expected at most {BYTES_MAX}")]
    TooLarge {
        /// Its size.
        bytes: usize,
    },
    /// Text in two-byte characters.
    #[error("the file is UTF-16 text: expected plain ASCII or UTF-8; save it so and try again")]
    Utf16,
    /// Something that is no number where one belongs.
    #[error("line {line}: expected a number, found {found:?}")]
    NotANumber {
        /// Where.
        line: usize,
        /// What stands there, cut short.
        found: String,
    },
    /// Numbers before any option line.
    #[error("line {line}: expected an option line such as `# MHz S RI R 50` before this")]
    NoOptionLine {
        /// Where the first number stands.
        line: usize,
    },
    /// A word of the option line that is none.
    #[error("line {line}: option line: expected {expected}, found {found:?}")]
    Option {
        /// Where.
        line: usize,
        /// What may stand there.
        expected: &'static str,
        /// What does.
        found: String,
    },
    /// A reference impedance with a reactance. What S then means depends on who wrote the file.
    #[error("line {line}: the reference {found:?} is complex: only a resistance in ohms is taken")]
    ComplexReference {
        /// Where.
        line: usize,
        /// The reference as it stands.
        found: String,
    },
    /// A keyword that version 2.0 does not have.
    #[error("line {line}: {found:?} is no keyword of Touchstone 2.0")]
    UnknownKeyword {
        /// Where.
        line: usize,
        /// What stands there, cut short.
        found: String,
    },
    /// A keyword whose argument is none.
    #[error("line {line}: {keyword}: expected {expected}, found {found:?}")]
    Argument {
        /// Where.
        line: usize,
        /// Which keyword.
        keyword: &'static str,
        /// What may follow it.
        expected: &'static str,
        /// What does.
        found: String,
    },
    /// A keyword, or numbers, where they do not belong.
    #[error("line {line}: {found} {why}")]
    Misplaced {
        /// Where.
        line: usize,
        /// What stands there.
        found: &'static str,
        /// What is wrong with that.
        why: &'static str,
    },
    /// A keyword that version 2.0 demands.
    #[error("line {line}: the data begins here and {keyword} is missing")]
    Missing {
        /// Where the data begins.
        line: usize,
        /// What is missing.
        keyword: &'static str,
    },
    /// More ports than can be read, or none.
    #[error("{ports} ports: expected 1 to {PORTS_MAX}")]
    Ports {
        /// How many.
        ports: usize,
    },
    /// The file says another number of ports than its name.
    #[error("line {line}: the file says {found} ports, {expected} were expected from its name")]
    PortsDiffer {
        /// Where.
        line: usize,
        /// What it says.
        found: usize,
        /// What was expected.
        expected: usize,
    },
    /// A first record whose length fits no number of ports.
    #[error(
        "line {line}: {found} numbers at the first frequency: expected 3 (one port), 9 (two), \
         19 (three) and so on; say how many ports the file has"
    )]
    PortsUnclear {
        /// Where the first record begins.
        line: usize,
        /// How many numbers it has.
        found: usize,
    },
    /// Parameters that only a two-port has.
    #[error("line {line}: H and G parameters are read of full two-port data only")]
    HybridPorts {
        /// Where the data begins.
        line: usize,
    },
    /// A record that goes on although it is complete: a number too many there or too few before.
    #[error(
        "line {line}: a number too many or too few: the record that begins on line {begins} has \
         its {expected} numbers before this line ends"
    )]
    RecordLong {
        /// The line that goes on.
        line: usize,
        /// Where the record begins.
        begins: usize,
        /// How many numbers it takes.
        expected: usize,
    },
    /// A record that stops before it is complete.
    #[error("line {begins}: the record that begins here has {found} numbers: expected {expected}")]
    RecordShort {
        /// Where the record begins.
        begins: usize,
        /// How many numbers it has.
        found: usize,
        /// How many it takes.
        expected: usize,
    },
    /// A frequency that does not rise.
    #[error("line {line}: frequency {frequency_hz} Hz: expected more than {before_hz} Hz")]
    FrequencyOrder {
        /// Where.
        line: usize,
        /// The frequency.
        frequency_hz: f64,
        /// The one before it.
        before_hz: f64,
    },
    /// More frequencies than can be read.
    #[error("line {line}: expected at most {POINTS_MAX} frequencies")]
    TooManyPoints {
        /// Where the first one too many stands.
        line: usize,
    },
    /// No numbers at all.
    #[error("the file has no data: expected at least one frequency")]
    Empty,
    /// Another number of records than the file announces.
    #[error("{keyword} says {expected}, the file has {found}: is it cut off?")]
    Count {
        /// What announces it.
        keyword: &'static str,
        /// What it says.
        expected: usize,
        /// What there is.
        found: usize,
    },
    /// Parameters that no scattering parameters stand for.
    #[error("the parameters at {frequency_hz} Hz cannot be turned into scattering parameters")]
    NoScattering {
        /// Where in the sweep.
        frequency_hz: f64,
    },
    /// Ports that are no connectors.
    #[error("the file's ports are mixed modes ({modes}): expected one port a connector")]
    MixedMode {
        /// What they stand for.
        modes: String,
    },
    /// What was read makes no sweep.
    #[error(transparent)]
    Sweep(#[from] SweepRefused),
}

/// The ports that a file's name says, as in `duplexer.s2p`.
pub fn ports_of_name(name: &str) -> Option<usize> {
    let (_, extension) = name.rsplit_once('.')?;
    extension.to_ascii_lowercase().strip_prefix('s')?.strip_suffix('p')?.parse().ok()
}

/// A piece of the file for a refusal: short, whatever the file is.
fn cut(text: &str) -> String {
    text.chars().take(40).collect()
}
