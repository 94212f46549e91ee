//! The numbers of a Touchstone file: network records, then noise records, as they come.
//!
//! In: words with their line. Out: frequencies in hertz and matrices in the file's own parameters,
//! row by row, or a refusal with the line. It knows no keyword.

use num_complex::Complex64;

use super::super::sweep::{POINTS_MAX, PORTS_MAX};
use super::header::{Header, Matrix, Options};
use super::{NoisePoint, TouchstoneRefused, cut};

/// How many numbers a noise record has: frequency, minimum, two of the reflection, resistance.
const NOISE_NUMBERS: usize = 5;

/// The records read so far.
pub(super) struct Records {
    pub(super) options: Options,
    pub(super) ports: usize,
    pub(super) frequencies_hz: Vec<f64>,
    pub(super) values: Vec<Complex64>,
    pub(super) noise: Vec<NoisePoint>,
    version_2: bool,
    matrix: Matrix,
    order_12_21: bool,
    in_noise: bool,
    record: Record,
}

/// The record being read.
struct Record {
    /// The line it begins on.
    begins: usize,
    found: usize,
    expected: usize,
    first_of_pair: f64,
    values: [Complex64; PORTS_MAX * PORTS_MAX],
}

impl Records {
    pub(super) fn new(options: Options, ports: usize, header: &Header) -> Self {
        let pairs = match header.matrix {
            Matrix::Full => ports * ports,
            Matrix::Lower | Matrix::Upper => ports * (ports + 1) / 2,
        };
        Self {
            options,
            ports,
            frequencies_hz: Vec::new(),
            values: Vec::new(),
            noise: Vec::new(),
            version_2: header.version_2,
            matrix: header.matrix,
            // Version 1 knows the other order only.
            order_12_21: header.order_12_21 == Some(true),
            in_noise: false,
            record: Record {
                begins: 0,
                found: 0,
                expected: 1 + 2 * pairs,
                first_of_pair: 0.0,
                values: [Complex64::new(0.0, 0.0); PORTS_MAX * PORTS_MAX],
            },
        }
    }

    /// Takes the next number, which stands in the file as `word`.
    pub(super) fn number(
        &mut self,
        line: usize,
        word: &str,
        value: f64,
        first_on_line: bool,
    ) -> Result<(), TouchstoneRefused> {
        if self.in_noise {
            return self.noise_number(line, value, first_on_line);
        }
        if self.record.found == 0 {
            if !first_on_line {
                return Err(self.long(line));
            }
            return self.record_begins(line, value * self.options.unit_hz);
        }
        self.record.found += 1;
        if self.record.found.is_multiple_of(2) {
            self.record.first_of_pair = value;
            return Ok(());
        }
        let value = self.options.format.value(self.record.first_of_pair, value);
        if !value.is_finite() {
            return Err(TouchstoneRefused::NotANumber { line, found: cut(word) });
        }
        self.record.values[(self.record.found - 3) / 2] = value;
        if self.record.found == self.record.expected {
            self.record_ends();
        }
        Ok(())
    }

    fn record_begins(&mut self, line: usize, frequency_hz: f64) -> Result<(), TouchstoneRefused> {
        self.record.begins = line;
        let before_hz = self.frequencies_hz.last().copied().unwrap_or(-1.0);
        if frequency_hz <= before_hz && !self.version_2 && self.ports == 2 {
            // In version 1 nothing else says that noise data begins.
            self.noise_begins(line)?;
            return self.noise_frequency(line, frequency_hz);
        }
        if frequency_hz < 0.0 || frequency_hz <= before_hz {
            return Err(TouchstoneRefused::FrequencyOrder { line, frequency_hz, before_hz });
        }
        if self.frequencies_hz.len() == POINTS_MAX {
            return Err(TouchstoneRefused::TooManyPoints { line });
        }
        self.frequencies_hz.push(frequency_hz);
        self.record.found = 1;
        Ok(())
    }

    /// Puts a complete record where it belongs in the matrix.
    fn record_ends(&mut self) {
        self.record.found = 0;
        let (ports, start) = (self.ports, self.values.len());
        self.values.extend_from_slice(&self.record.values[..ports * ports]);
        let matrix = &mut self.values[start..];
        if self.matrix == Matrix::Full {
            if ports == 2 && !self.order_12_21 {
                matrix.swap(1, 2);
            }
            return;
        }
        let mut read = self.record.values.iter();
        for row in 0..ports {
            let columns = if self.matrix == Matrix::Lower { 0..row + 1 } else { row..ports };
            for (column, value) in columns.zip(read.by_ref()) {
                matrix[row * ports + column] = *value;
                matrix[column * ports + row] = *value;
            }
        }
    }

    /// From here on the numbers are noise records.
    pub(super) fn noise_begins(&mut self, line: usize) -> Result<(), TouchstoneRefused> {
        if self.ports != 2 || self.in_noise {
            return Err(TouchstoneRefused::Misplaced {
                line,
                found: "noise data",
                why: "belongs to a two-port only, once",
            });
        }
        self.in_noise = true;
        self.record.found = 0;
        self.record.expected = NOISE_NUMBERS;
        Ok(())
    }

    fn noise_number(
        &mut self,
        line: usize,
        value: f64,
        first_on_line: bool,
    ) -> Result<(), TouchstoneRefused> {
        if self.record.found == 0 {
            if !first_on_line {
                return Err(self.no_noise(line));
            }
            self.record.begins = line;
            return self.noise_frequency(line, value * self.options.unit_hz);
        }
        let normalised_to_ohm = if self.version_2 { 1.0 } else { self.options.reference_ohm };
        let point = self.noise.last_mut().expect("its frequency came first");
        match self.record.found {
            1 => point.minimum_db = value,
            2 => self.record.first_of_pair = value,
            3 => {
                let magnitude = self.record.first_of_pair;
                point.source_reflection = Complex64::from_polar(magnitude, value.to_radians());
            }
            _ => point.resistance_ohm = value * normalised_to_ohm,
        }
        self.record.found = (self.record.found + 1) % NOISE_NUMBERS;
        Ok(())
    }

    fn noise_frequency(&mut self, line: usize, frequency_hz: f64) -> Result<(), TouchstoneRefused> {
        let before_hz = self.noise.last().map_or(-1.0, |point| point.frequency_hz);
        if frequency_hz < 0.0 || frequency_hz <= before_hz {
            return Err(TouchstoneRefused::FrequencyOrder { line, frequency_hz, before_hz });
        }
        if self.noise.len() == POINTS_MAX {
            return Err(TouchstoneRefused::TooManyPoints { line });
        }
        self.noise.push(NoisePoint {
            frequency_hz,
            minimum_db: 0.0,
            source_reflection: Complex64::new(0.0, 0.0),
            resistance_ohm: 0.0,
        });
        self.record.found = 1;
        Ok(())
    }

    /// A noise record is one line; a shorter one is refused at its end.
    pub(super) fn line_ended(&self) -> Result<(), TouchstoneRefused> {
        match self.in_noise && self.record.found > 0 {
            true => Err(self.no_noise(self.record.begins)),
            false => Ok(()),
        }
    }

    /// Refuses a record that is not complete.
    pub(super) fn complete(&self) -> Result<(), TouchstoneRefused> {
        match self.record.found {
            0 => Ok(()),
            _ => Err(self.short()),
        }
    }

    /// A line that is no noise record. The first in version 1 is taken for what it more likely is:
    /// network data whose frequency does not rise.
    fn no_noise(&self, line: usize) -> TouchstoneRefused {
        match (self.version_2, self.noise.as_slice(), self.frequencies_hz.last()) {
            (false, [point], Some(&before_hz)) => {
                let frequency_hz = point.frequency_hz;
                TouchstoneRefused::FrequencyOrder { line, frequency_hz, before_hz }
            }
            _ if self.record.found > 0 => self.short(),
            _ => self.long(line),
        }
    }

    fn short(&self) -> TouchstoneRefused {
        let Record { begins, found, expected, .. } = self.record;
        TouchstoneRefused::RecordShort { begins, found, expected }
    }

    fn long(&self, line: usize) -> TouchstoneRefused {
        let Record { begins, expected, .. } = self.record;
        TouchstoneRefused::RecordLong { line, begins, expected }
    }
}

/// A finite number, as it stands in the file.
pub(super) fn number(line: usize, word: &str) -> Result<f64, TouchstoneRefused> {
    match word.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err(TouchstoneRefused::NotANumber { line, found: cut(word) }),
    }
}
