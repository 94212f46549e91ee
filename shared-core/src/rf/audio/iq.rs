//! Reading a SigMF recording of a carrier: meta data and bytes in, in-phase and quadrature out.
//!
//! Core fields only: `core:datatype` (complex, 8 to 64 bits, either byte order),
//! `core:sample_rate`, `core:num_channels` (one), and of the first capture `core:sample_start`,
//! `core:frequency` and `core:header_bytes`. Whatever else stands there is passed over. Where a
//! second capture begins, reading ends: the receiver may have been tuned elsewhere. An unsigned
//! number stands for the middle of its step. SigMF 1.x, "Global Object" and "Captures Array", from
//! memory, unverified.

use serde::Deserialize;

use super::{AudioRefused, SILENT_MEAN_SQUARE, Samples, at_most, enough};
use crate::units::in_range;

/// The most bytes of data that are taken.
pub const BYTES_MAX: usize = 64 << 20;
/// The most bytes of meta data that are taken.
pub const META_BYTES_MAX: usize = 1 << 20;
/// The most samples that are taken: over a second at 2.4 MHz, over a minute at 48 kHz.
pub const COUNT_MAX: usize = 1 << 22;

/// Why the meta data cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MetaRefused {
    /// It is longer than any meta data of a capture is.
    #[error("meta data of {bytes} bytes is too large; at most {META_BYTES_MAX} are taken")]
    TooLarge {
        /// How many there are.
        bytes: usize,
    },
    /// It is not the JSON that SigMF asks for.
    #[error("meta data is not SigMF: {why}")]
    Shape {
        /// What is wrong, with line and column.
        why: String,
    },
    /// A kind of sample that is not read.
    #[error("samples of type {datatype:?} are not read; cf32_le, ci16_le, cu8 and the like are")]
    Datatype {
        /// What `core:datatype` says.
        datatype: String,
    },
    /// More than one receiver's samples in one file.
    #[error("the data holds {count} channels; one is read")]
    Channels {
        /// What `core:num_channels` says.
        count: u64,
    },
    /// The data ends within a sample.
    #[error("data of {bytes} bytes is no whole number of samples of {width} bytes")]
    PartialSample {
        /// How many bytes of samples there are.
        bytes: usize,
        /// How many one sample takes.
        width: usize,
    },
    /// A frequency error was asked for and nothing says what the receiver was tuned to.
    #[error("the capture names no core:frequency, so the carrier's frequency is not known")]
    NoFrequency,
}

#[derive(Debug, Deserialize)]
struct Meta {
    global: Global,
    #[serde(default)]
    captures: Vec<Capture>,
}

#[derive(Debug, Deserialize)]
struct Global {
    #[serde(rename = "core:datatype")]
    datatype: String,
    #[serde(rename = "core:sample_rate")]
    sample_rate_hz: f64,
    #[serde(rename = "core:num_channels")]
    channels: Option<u64>,
}

#[derive(Debug, Default, Deserialize)]
struct Capture {
    #[serde(rename = "core:sample_start")]
    start: u64,
    #[serde(rename = "core:frequency")]
    frequency_hz: Option<f64>,
    #[serde(rename = "core:header_bytes", default)]
    header_bytes: u64,
}

/// A carrier as a receiver recorded it.
#[derive(Clone, Debug, PartialEq)]
pub struct IqRecording {
    /// How many samples a second.
    pub rate_hz: f64,
    /// What the receiver was tuned to, if the meta data says so.
    pub centre_hz: Option<f64>,
    /// In phase, full scale being 1.
    pub in_phase: Vec<f64>,
    /// A quarter turn behind.
    pub quadrature: Vec<f64>,
    /// How many samples stand at full scale in either part.
    pub clipped: usize,
}

/// Reads the first capture of a recording.
pub fn read_sigmf(meta: &str, data: &[u8]) -> Result<IqRecording, AudioRefused> {
    if meta.len() > META_BYTES_MAX {
        return Err(MetaRefused::TooLarge { bytes: meta.len() }.into());
    }
    if data.len() > BYTES_MAX {
        return Err(AudioRefused::TooLarge { bytes: data.len(), most: BYTES_MAX });
    }
    let Meta { global, captures } = serde_json::from_str(meta)
        .map_err(|error| MetaRefused::Shape { why: error.to_string() })?;
    in_range("sample rate", global.sample_rate_hz, Samples::RATE_RANGE, "Hz")?;
    if let Some(count) = global.channels.filter(|count| *count != 1) {
        return Err(MetaRefused::Channels { count }.into());
    }
    let kind =
        Kind::parse(&global.datatype).ok_or(MetaRefused::Datatype { datatype: global.datatype })?;
    let samples = first_capture(&captures, data, 2 * kind.width)?;
    enough(samples.len() / (2 * kind.width), Samples::COUNT_MIN)?;
    at_most(samples.len() / (2 * kind.width), COUNT_MAX)?;
    let centre_hz = captures.first().and_then(|capture| capture.frequency_hz);
    let centre_hz = centre_hz.map(|hz| in_range("centre frequency", hz, 0.0..=1e12, "Hz"));
    finite(kind.read(samples, global.sample_rate_hz, centre_hz.transpose()?))
}

/// The bytes from the first capture's start to the second's.
fn first_capture<'d>(
    captures: &[Capture],
    data: &'d [u8],
    width: usize,
) -> Result<&'d [u8], MetaRefused> {
    let place = |capture: &Capture| usize::try_from(capture.start).unwrap_or(usize::MAX);
    let header = captures.first().map_or(0, |capture| capture.header_bytes);
    let header = usize::try_from(header).unwrap_or(usize::MAX).min(data.len());
    let samples = &data[header..];
    let byte = |sample: usize| sample.saturating_mul(width).min(samples.len());
    let from = captures.first().map_or(0, |first| byte(place(first)));
    let to = captures.get(1).map_or(samples.len(), |second| byte(place(second)));
    let samples = &samples[from.min(to)..to];
    if samples.len().is_multiple_of(width) {
        Ok(samples)
    } else {
        Err(MetaRefused::PartialSample { bytes: samples.len(), width })
    }
}

fn finite(read: IqRecording) -> Result<IqRecording, AudioRefused> {
    let parts = read.in_phase.iter().zip(&read.quadrature);
    let bad = |value: f64| value.is_nan() || value.abs() > Samples::VALUE_MAX;
    if let Some(at) = parts.clone().position(|(i, q)| bad(*i) || bad(*q)) {
        let (i, q) = (read.in_phase[at], read.quadrature[at]);
        return Err(AudioRefused::NotANumber { at, value: if bad(i) { i } else { q } });
    }
    let power = parts.map(|(i, q)| i * i + q * q).sum::<f64>() / read.in_phase.len() as f64;
    if power <= SILENT_MEAN_SQUARE {
        return Err(AudioRefused::Silent { level_dbfs: 10.0 * SILENT_MEAN_SQUARE.log10() });
    }
    Ok(read)
}

/// How a number is written.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Kind {
    form: Form,
    width: usize,
    big_endian: bool,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Form {
    Float,
    Signed,
    Unsigned,
}

impl Kind {
    /// The kind that `core:datatype` names, if it is complex and known.
    fn parse(datatype: &str) -> Option<Self> {
        let complex = datatype.strip_prefix('c')?;
        let (name, order) = match complex.split_once('_') {
            Some((name, order)) => (name, Some(order)),
            None => (complex, None),
        };
        let (form, width) = match name {
            "f32" => (Form::Float, 4),
            "f64" => (Form::Float, 8),
            "i32" => (Form::Signed, 4),
            "i16" => (Form::Signed, 2),
            "i8" => (Form::Signed, 1),
            "u32" => (Form::Unsigned, 4),
            "u16" => (Form::Unsigned, 2),
            "u8" => (Form::Unsigned, 1),
            _ => return None,
        };
        let big_endian = match order {
            Some("le") => false,
            Some("be") => true,
            // One byte has no order; of more it must be told.
            None if width == 1 => false,
            _ => return None,
        };
        Some(Self { form, width, big_endian })
    }

    fn read(self, samples: &[u8], rate_hz: f64, centre_hz: Option<f64>) -> IqRecording {
        let count = samples.len() / (2 * self.width);
        let (mut in_phase, mut quadrature) = (Vec::with_capacity(count), Vec::with_capacity(count));
        let mut clipped = 0;
        let full_scale = match self.form {
            Form::Float => 1.0,
            // The last number lies a step below full scale if signed, half a step if not.
            Form::Signed | Form::Unsigned => 1.0 - 1.25 * self.step(),
        };
        for sample in samples.chunks_exact(2 * self.width) {
            let (i, q) = sample.split_at(self.width);
            let (i, q) = (self.number(i), self.number(q));
            clipped += usize::from(i.abs() >= full_scale || q.abs() >= full_scale);
            in_phase.push(i);
            quadrature.push(q);
        }
        IqRecording { rate_hz, centre_hz, in_phase, quadrature, clipped }
    }

    /// One step of an integer, full scale being 1.
    fn step(self) -> f64 {
        0.5f64.powi(8 * self.width as i32 - 1)
    }

    /// A number from its bytes. Unsigned ones swing about the middle between their two halves.
    fn number(self, bytes: &[u8]) -> f64 {
        let mut little = [0; 8];
        little[..self.width].copy_from_slice(bytes);
        if self.big_endian {
            little[..self.width].reverse();
        }
        let bits = u64::from_le_bytes(little);
        let spare = 64 - 8 * self.width as u32;
        match (self.form, self.width) {
            (Form::Float, 8) => f64::from_bits(bits),
            // Four bytes were read, so the upper half is zero.
            (Form::Float, _) => f64::from(f32::from_bits(bits as u32)),
            // Shifted up as bits and down as a number, which carries the sign along.
            (Form::Signed, _) => ((bits << spare) as i64 >> spare) as f64 * self.step(),
            (Form::Unsigned, _) => (bits as f64 + 0.5) * self.step() - 1.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn meta(datatype: &str, more: &str, captures: &str) -> String {
        format!(
            r#"{{"global": {{"core:datatype": "{datatype}", "core:sample_rate": 48000,
                "core:version": "1.2.0", "core:author": "shop" {more}}},
                "captures": [{captures}], "annotations": []}}"#
        )
    }

    const AT_155: &str = r#"{"core:sample_start": 0, "core:frequency": 155000000}"#;

    type Write = fn(f64) -> Vec<u8>;

    #[test]
    fn every_type_reads_the_same_numbers() {
        let halves = [0.5, -0.25];
        let written: [(&str, Write); 10] = [
            ("cf32_le", |x| (x as f32).to_le_bytes().to_vec()),
            ("cf32_be", |x| (x as f32).to_be_bytes().to_vec()),
            ("cf64_le", |x| x.to_le_bytes().to_vec()),
            ("ci32_be", |x| ((x * 2f64.powi(31)) as i32).to_be_bytes().to_vec()),
            ("ci16_le", |x| ((x * 32768.0) as i16).to_le_bytes().to_vec()),
            ("ci16_be", |x| ((x * 32768.0) as i16).to_be_bytes().to_vec()),
            ("ci8", |x| ((x * 128.0) as i8).to_le_bytes().to_vec()),
            ("cu8", |x| vec![(x * 128.0 + 128.0) as u8]),
            ("cu16_le", |x| ((x * 32768.0 + 32768.0) as u16).to_le_bytes().to_vec()),
            ("cu32_le", |x| (((x + 1.0) * 2f64.powi(31)) as u32).to_le_bytes().to_vec()),
        ];
        for (datatype, bytes) in written {
            let data: Vec<u8> = (0..100).flat_map(|_| halves.map(bytes).concat()).collect();
            let read = read_sigmf(&meta(datatype, "", AT_155), &data).unwrap();
            assert_eq!((read.in_phase.len(), read.clipped), (100, 0), "{datatype}");
            // An unsigned number stands for the middle of its step: half a step of eight bits.
            let off = if datatype.starts_with("cu8") { 0.004 } else { 2e-5 };
            assert!((read.in_phase[7] - 0.5).abs() < off, "{datatype}: {}", read.in_phase[7]);
            assert!((read.quadrature[7] + 0.25).abs() < off, "{datatype}");
            assert_eq!(read.centre_hz, Some(155e6));
        }
    }

    #[test]
    fn samples_at_either_rail_are_counted() {
        let mut data = vec![100u8; 200];
        data[..6].copy_from_slice(&[255, 100, 100, 0, 254, 1]);
        let read = read_sigmf(&meta("cu8", "", ""), &data).unwrap();
        assert_eq!((read.clipped, read.centre_hz), (2, None));
    }

    #[test]
    fn only_the_first_capture_is_read() {
        let data: Vec<u8> = (0..200u8).flat_map(|n| [n, 50]).collect();
        let two = r#"{"core:sample_start": 10, "core:header_bytes": 4},
                     {"core:sample_start": 90, "core:frequency": 1e6}"#;
        let read = read_sigmf(&meta("ci8", "", two), &data).unwrap();
        assert_eq!((read.in_phase.len(), read.centre_hz), (80, None));
        assert!((read.in_phase[0] - 12.0 / 128.0).abs() < 1e-12, "two samples of header");
        let backwards = r#"{"core:sample_start": 90}, {"core:sample_start": 10}"#;
        let refused = read_sigmf(&meta("ci8", "", backwards), &data);
        assert!(matches!(refused, Err(AudioRefused::TooShort { samples: 0, .. })));
    }

    #[test]
    fn meta_data_that_cannot_be_used_is_refused_by_name() {
        let data = vec![9; 400];
        let refused = |meta: &str| read_sigmf(meta, &data).unwrap_err();
        let kinds = ["rf32_le", "cf32", "ci16", "cf16_le", "ci8_xe", "c", "", "ci24_le"];
        for datatype in kinds {
            let refused = refused(&meta(datatype, "", ""));
            let wanted = MetaRefused::Datatype { datatype: datatype.to_owned() };
            assert_eq!(refused, AudioRefused::Meta(wanted));
        }
        let shape = refused(r#"{"global": {"core:datatype": "cu8"}}"#).to_string();
        assert!(shape.contains("core:sample_rate"), "{shape}");
        let two = refused(&meta("cu8", r#", "core:num_channels": 2"#, ""));
        assert_eq!(two, AudioRefused::Meta(MetaRefused::Channels { count: 2 }));
        let deep = refused(&"[".repeat(META_BYTES_MAX));
        assert!(matches!(deep, AudioRefused::Meta(MetaRefused::Shape { .. })));
        let large = refused(&" ".repeat(META_BYTES_MAX + 1));
        assert!(matches!(large, AudioRefused::Meta(MetaRefused::TooLarge { .. })));
    }

    #[test]
    fn data_that_is_no_carrier_is_refused_by_name() {
        let read = |datatype: &str, data: &[u8]| read_sigmf(&meta(datatype, "", ""), data);
        let partial = MetaRefused::PartialSample { bytes: 401, width: 4 };
        assert_eq!(read("ci16_le", &[1; 401]), Err(AudioRefused::Meta(partial)));
        let short = read("ci16_le", &[1; 40]);
        assert!(matches!(short, Err(AudioRefused::TooShort { samples: 10, .. })), "{short:?}");
        assert!(matches!(read("ci8", &[0; 400]), Err(AudioRefused::Silent { .. })));
        let nan = read("cf32_le", &[0xFF; 800]);
        assert!(matches!(nan, Err(AudioRefused::NotANumber { at: 0, .. })), "{nan:?}");
        let large = read("ci8", &vec![1; BYTES_MAX + 1]);
        assert!(matches!(large, Err(AudioRefused::TooLarge { .. })));
        let long = read("ci8", &vec![1; 2 * COUNT_MAX + 2]);
        assert!(matches!(long, Err(AudioRefused::TooLong { .. })));
    }

    proptest! {
        #[test]
        fn no_bytes_panic(at in 0usize..220, byte in 32u8..127, data: Vec<u8>) {
            let mut text = meta("ci16_le", "", AT_155).into_bytes();
            let at = at % text.len();
            text[at] = byte;
            if let Ok(read) = read_sigmf(std::str::from_utf8(&text).unwrap(), &data) {
                prop_assert!(read.in_phase.len() <= data.len());
            }
        }
    }
}
