//! The way through a Touchstone file: which words are options, keywords, references or numbers.
//!
//! In: bytes. Out: [`Touchstone`], or a refusal. See the parent module for the rules.

use super::super::sweep::{PORTS_MAX, Sweep};
use super::convert::to_scattering;
use super::header::{Header, Keyword, Kind, Matrix, Options, options, resistance};
use super::records::{Records, number};
use super::scan::{Cursor, Piece};
use super::{BYTES_MAX, Touchstone, TouchstoneRefused, cut};

/// Reads a file. `ports` is what its name says (2 of `.s2p`), where that is known.
pub fn read(bytes: &[u8], ports: Option<usize>) -> Result<Touchstone, TouchstoneRefused> {
    if bytes.len() > BYTES_MAX {
        return Err(TouchstoneRefused::TooLarge { bytes: bytes.len() });
    }
    if let Some(ports) = ports.filter(|ports| !(1..=PORTS_MAX).contains(ports)) {
        return Err(TouchstoneRefused::Ports { ports });
    }
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err(TouchstoneRefused::Utf16);
    }
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    if let Ok(text) = str::from_utf8(bytes) {
        return Reader::new(text, ports).whole();
    }
    // Latin-1 letters stand in comments, where what becomes of them is no matter.
    Reader::new(&String::from_utf8_lossy(bytes), ports).whole()
}

struct Reader<'a> {
    text: &'a str,
    cursor: Cursor<'a>,
    words_on_line: usize,
    ports: Option<usize>,
    options: Option<Options>,
    header: Header,
    /// Between `[Begin Information]` and `[End Information]`, where anything may stand.
    information: bool,
    /// There from the first number of the data on.
    records: Option<Records>,
    /// Behind `[End]`.
    ended: bool,
}

impl<'a> Reader<'a> {
    fn new(text: &'a str, ports: Option<usize>) -> Self {
        Self {
            text,
            cursor: Cursor::new(text),
            words_on_line: 0,
            ports,
            options: None,
            header: Header::default(),
            information: false,
            records: None,
            ended: false,
        }
    }

    fn whole(mut self) -> Result<Touchstone, TouchstoneRefused> {
        loop {
            self.plain_numbers()?;
            match self.cursor.next() {
                Piece::Word(word) => {
                    self.word(word)?;
                    self.words_on_line += 1;
                }
                Piece::LineEnd => {
                    self.words_on_line = 0;
                    self.records.as_ref().map_or(Ok(()), Records::line_ended)?;
                }
                Piece::End => return self.finished(),
            }
        }
    }

    /// The numbers of the data up to whatever else comes: nearly all of a file.
    fn plain_numbers(&mut self) -> Result<(), TouchstoneRefused> {
        let Some(records) = self.records.as_mut().filter(|_| !self.ended) else {
            return Ok(());
        };
        while let Some(value) = self.cursor.decimal() {
            let first_on_line = self.words_on_line == 0;
            records.number(self.cursor.line(), self.cursor.word(), value, first_on_line)?;
            self.words_on_line += 1;
        }
        Ok(())
    }

    fn word(&mut self, word: &'a str) -> Result<(), TouchstoneRefused> {
        let line = self.cursor.line();
        let first_on_line = self.words_on_line == 0;
        match word.as_bytes().first() {
            Some(b'[') if first_on_line => return self.keyword(line, word),
            _ if self.information => return Ok(()),
            Some(b'#') if first_on_line => return self.option_line(line, word),
            _ => {}
        }
        if self.ended {
            let why = "stands behind [End]: expected nothing but comments";
            return Err(TouchstoneRefused::Misplaced { line, found: "this", why });
        }
        if let Some(records) = &mut self.records {
            return records.number(line, word, number(line, word)?, first_on_line);
        }
        if self.header.wants_references() {
            let ohm = resistance(line, Keyword::Reference.name(), word)?;
            self.header.references_ohm.get_or_insert_default().push(ohm);
            return Ok(());
        }
        // What is no number is told so, before anything is said to be missing before it.
        let value = number(line, word)?;
        self.data_begins(line)?.number(line, word, value, first_on_line)
    }

    fn option_line(&mut self, line: usize, word: &'a str) -> Result<(), TouchstoneRefused> {
        let rest = self.cursor.rest();
        // A second option line is ignored (HANDBOOK 5.1 rule 1): the first one holds.
        if self.options.is_none() {
            let first = word.trim_start_matches('#');
            self.options = Some(options(line, &format!("{first} {rest}"))?);
        }
        Ok(())
    }

    fn keyword(&mut self, line: usize, word: &str) -> Result<(), TouchstoneRefused> {
        let named = self.cursor.bracketed().and_then(Keyword::named);
        if self.information {
            self.information = named != Some(Keyword::EndInformation);
            self.cursor.rest();
            return Ok(());
        }
        let Some(keyword) = named else {
            return Err(TouchstoneRefused::UnknownKeyword { line, found: cut(word) });
        };
        let misplaced =
            |why| Err(TouchstoneRefused::Misplaced { line, found: keyword.name(), why });
        match keyword {
            Keyword::Version if self.options.is_some() => {
                return misplaced("comes behind the option line: expected it before all else");
            }
            Keyword::Version => {}
            _ if !self.header.version_2 => return misplaced("comes before [Version] 2.0"),
            _ if self.ended => return misplaced("stands behind [End]"),
            _ => {}
        }
        if let Some(records) = &mut self.records {
            records.complete()?;
            match keyword {
                Keyword::NoiseData => return records.noise_begins(line),
                Keyword::End => self.ended = true,
                _ => return misplaced("comes behind the beginning of the data"),
            }
            return Ok(());
        }
        match keyword {
            Keyword::NetworkData => return self.data_begins(line).map(|_| ()),
            Keyword::BeginInformation => self.information = true,
            Keyword::Reference if self.header.ports.is_none() => {
                return misplaced("comes before [Number of Ports]");
            }
            // Its numbers may stand on the lines below, so they come as words.
            Keyword::Reference if self.header.references_ohm.is_none() => {
                self.header.references_ohm = Some(Vec::new());
            }
            Keyword::Reference | Keyword::EndInformation | Keyword::NoiseData | Keyword::End => {
                return misplaced("does not belong here");
            }
            _ => return self.header.take(line, keyword, self.cursor.rest()),
        }
        Ok(())
    }

    /// Everything the data needs is there, or what is missing is said.
    fn data_begins(&mut self, line: usize) -> Result<&mut Records, TouchstoneRefused> {
        let options = self.options.ok_or(TouchstoneRefused::NoOptionLine { line })?;
        let ports = match (self.header.version_2, self.ports) {
            (true, _) => self.version_2_ports(line, options)?,
            (false, Some(ports)) => ports,
            (false, None) => ports_of_first_record(self.text, line)?,
        };
        let hybrid = matches!(options.kind, Kind::Hybrid | Kind::InverseHybrid);
        if hybrid && (ports != 2 || self.header.matrix != Matrix::Full) {
            return Err(TouchstoneRefused::HybridPorts { line });
        }
        Ok(self.records.insert(Records::new(options, ports, &self.header)))
    }

    fn version_2_ports(&self, line: usize, options: Options) -> Result<usize, TouchstoneRefused> {
        let missing =
            |keyword: Keyword| TouchstoneRefused::Missing { line, keyword: keyword.name() };
        let header = &self.header;
        let found = header.ports.ok_or_else(|| missing(Keyword::Ports))?;
        if let Some(expected) = self.ports.filter(|ports| *ports != found) {
            return Err(TouchstoneRefused::PortsDiffer { line, found, expected });
        }
        if found == 2 && header.order_12_21.is_none() {
            return Err(missing(Keyword::TwoPortOrder));
        }
        if header.frequencies.is_none() {
            return Err(missing(Keyword::Frequencies));
        }
        if header.wants_references() {
            return Err(missing(Keyword::Reference));
        }
        let modes = header.modes.len();
        if modes > 0 && (modes != found || options.kind != Kind::Scattering) {
            return Err(TouchstoneRefused::Misplaced {
                line,
                found: Keyword::MixedModeOrder.name(),
                why: "is read with scattering parameters and one mode a port only",
            });
        }
        Ok(found)
    }

    fn finished(self) -> Result<Touchstone, TouchstoneRefused> {
        let Self { header, records, .. } = self;
        let Some(mut records) = records.filter(|records| !records.frequencies_hz.is_empty()) else {
            return Err(TouchstoneRefused::Empty);
        };
        records.line_ended()?;
        records.complete()?;
        counted(&header, &records)?;
        let (options, ports) = (records.options, records.ports);
        let references_ohm =
            header.references_ohm.unwrap_or_else(|| vec![options.reference_ohm; ports]);
        // Version 1 values are normalised: they are those of the network at 1 Ω.
        let of_values = match header.version_2 {
            true => references_ohm.clone(),
            false => vec![1.0; ports],
        };
        let matrices = records.values.chunks_exact_mut(ports * ports);
        for (&frequency_hz, matrix) in records.frequencies_hz.iter().zip(matrices) {
            to_scattering(options.kind, &of_values, matrix)
                .ok_or(TouchstoneRefused::NoScattering { frequency_hz })?;
        }
        let sweep = Sweep::new(records.frequencies_hz, records.values, references_ohm)?;
        Ok(Touchstone { sweep, noise: records.noise, modes: header.modes })
    }
}

/// A file that was cut off has fewer records than it announces. Announced noise data that is not
/// there at all leaves the network whole.
fn counted(header: &Header, records: &Records) -> Result<(), TouchstoneRefused> {
    let (frequencies, noise) = (records.frequencies_hz.len(), records.noise.len());
    let announced = [
        (Keyword::Frequencies, header.frequencies, frequencies),
        (Keyword::NoiseFrequencies, header.noise_frequencies.filter(|_| noise > 0), noise),
    ];
    for (keyword, expected, found) in announced {
        if let Some(expected) = expected.filter(|expected| *expected != found) {
            let keyword = keyword.name();
            return Err(TouchstoneRefused::Count { keyword, expected, found });
        }
    }
    Ok(())
}

/// The ports of a version 1 file from its first record: the line with the frequency has an odd
/// count of numbers, the lines that go on have an even one.
fn ports_of_first_record(text: &str, line: usize) -> Result<usize, TouchstoneRefused> {
    let most = 1 + 2 * PORTS_MAX * PORTS_MAX;
    let mut cursor = Cursor::new(text);
    let (mut found, mut on_line) = (0, 0);
    while found <= most {
        let piece = cursor.next();
        match piece {
            Piece::Word(word) if on_line == 0 && word.starts_with('#') => {
                cursor.rest();
            }
            Piece::Word(_) => on_line += 1,
            Piece::LineEnd | Piece::End => {
                if found > 0 && on_line % 2 == 1 {
                    break;
                }
                found += on_line;
                on_line = 0;
            }
        }
        if piece == Piece::End {
            break;
        }
    }
    let ports = (1..=PORTS_MAX).find(|ports| found == 1 + 2 * ports * ports);
    ports.ok_or(TouchstoneRefused::PortsUnclear { line, found })
}
