//! Audio: from the samples of a recording to the numbers a receiver or transmitter is judged by.
//!
//! In: bytes of a recording, or samples with their rate. Out: dB, percent, hertz. It opens no file
//! and knows no limit. [`recording`] and [`iq`] read recordings, [`sine_fit`] finds the test tone,
//! [`sinad`] says how clean it is, [`weighting`] is what the ear would make of the rest, [`tones`]
//! and [`dcs`] find what lies below the voice, [`deviation`] turns a carrier into audio.

pub mod baseband;
pub mod dcs;
pub mod deviation;
pub mod iq;
pub mod recording;
pub mod sinad;
pub mod sine_fit;
pub mod tones;
pub mod weighting;

use std::ops::RangeInclusive;

use crate::units::{OutOfRange, in_range};

/// The mean square at or below which a recording holds nothing: −120 dB re 1, a tenth of the last
/// step of 16 bits. For a demodulated carrier it is a millionth of a hertz.
pub const SILENT_MEAN_SQUARE: f64 = 1e-12;

/// Samples at an even rate: finite, and few enough to be held.
#[derive(Clone, Debug, PartialEq)]
pub struct Samples {
    values: Vec<f64>,
    rate_hz: f64,
}

impl Samples {
    /// What a sound card or a receiver's recorder may run at, in hertz.
    pub const RATE_RANGE: RangeInclusive<f64> = 4e3..=1e7;
    /// The fewest samples that anything is said of.
    pub const COUNT_MIN: usize = 64;
    /// The most samples that are taken: nearly three minutes at 48 kHz, 64 MiB of numbers.
    pub const COUNT_MAX: usize = 1 << 23;
    /// The largest number a sample may be, in its own unit.
    pub const VALUE_MAX: f64 = 1e9;

    /// Refuses a rate outside [`Samples::RATE_RANGE`], too few or too many samples, and numbers
    /// that are none.
    pub fn new(values: Vec<f64>, rate_hz: f64) -> Result<Self, AudioRefused> {
        in_range("sample rate", rate_hz, Self::RATE_RANGE, "Hz")?;
        enough(values.len(), Self::COUNT_MIN)?;
        at_most(values.len(), Self::COUNT_MAX)?;
        match values.iter().position(|value| value.is_nan() || value.abs() > Self::VALUE_MAX) {
            Some(at) => Err(AudioRefused::NotANumber { at, value: values[at] }),
            None => Ok(Self { values, rate_hz }),
        }
    }

    /// The samples.
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// How many a second.
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// How long they last.
    pub fn duration_s(&self) -> f64 {
        self.values.len() as f64 / self.rate_hz
    }

    /// The mean, which a sound card adds and no ear hears.
    pub fn mean(&self) -> f64 {
        self.values.iter().sum::<f64>() / self.values.len() as f64
    }

    /// The mean square about the mean: the power of what is heard.
    pub fn mean_square(&self) -> f64 {
        let mean = self.mean();
        let squares = self.values.iter().map(|value| (value - mean).powi(2));
        squares.sum::<f64>() / self.values.len() as f64
    }

    /// How far the samples reach from zero.
    pub fn peak(&self) -> f64 {
        self.values.iter().fold(0.0, |peak: f64, value| peak.max(value.abs()))
    }
}

pub(crate) fn enough(samples: usize, wanted: usize) -> Result<(), AudioRefused> {
    if samples < wanted { Err(AudioRefused::TooShort { samples, wanted }) } else { Ok(()) }
}

pub(crate) fn at_most(samples: usize, most: usize) -> Result<(), AudioRefused> {
    if samples > most { Err(AudioRefused::TooLong { samples, most }) } else { Ok(()) }
}

/// Why a recording says nothing.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum AudioRefused {
    /// A number that the quantity cannot have.
    #[error(transparent)]
    Number(#[from] OutOfRange),
    /// Fewer samples than the measurement needs.
    #[error("recording of {samples} samples is too short; at least {wanted} are wanted")]
    TooShort {
        /// How many there are.
        samples: usize,
        /// How many it takes.
        wanted: usize,
    },
    /// More samples than are held in memory.
    #[error("recording of {samples} samples is too long; at most {most} are taken")]
    TooLong {
        /// How many there are.
        samples: usize,
        /// How many are taken.
        most: usize,
    },
    /// More bytes than a recording of a test tone needs.
    #[error("recording of {bytes} bytes is too large; at most {most} are taken")]
    TooLarge {
        /// How many there are.
        bytes: usize,
        /// How many are taken.
        most: usize,
    },
    /// NaN, an infinity, or a number no sample has.
    #[error("sample {at} is {value}, which is no sample")]
    NotANumber {
        /// Its place, from 0.
        at: usize,
        /// What it is.
        value: f64,
    },
    /// Nothing was recorded.
    #[error("recording is silent: {level_dbfs:.0} dBFS or less")]
    Silent {
        /// The level below which nothing is measured.
        level_dbfs: f64,
    },
    /// The bytes are no WAV file.
    #[error("recording is no WAV file: {what}")]
    NotWav {
        /// What is wrong with it.
        what: &'static str,
    },
    /// A WAV file with samples of another kind.
    #[error(
        "samples of this kind ({bits} bits) are not read; PCM of 8 to 32 bits and 32 bit float are"
    )]
    KindUnknown {
        /// The width it names; 0 where it names a kind of its own.
        bits: u16,
    },
    /// The file ends before the samples it promises.
    #[error("recording ends after {read} of {promised} samples: it was cut short")]
    CutShort {
        /// How many are there.
        read: usize,
        /// How many the head promises.
        promised: usize,
    },
    /// There is no such channel.
    #[error("recording has {channels} channels; there is no channel {asked}, they count from 1")]
    NoChannel {
        /// What was asked for.
        asked: u64,
        /// How many there are.
        channels: u16,
    },
    /// No tone stands within the window about the one that was asked for.
    #[error("no tone was found within {window_hz:.1} Hz of {wanted_hz} Hz")]
    NoTone {
        /// The tone asked for.
        wanted_hz: f64,
        /// How far to either side was looked.
        window_hz: f64,
    },
    /// A filter that is not known.
    #[error("no weighting {name:?} is known; known: {known}")]
    NoWeighting {
        /// What was asked for.
        name: String,
        /// The filters there are.
        known: String,
    },
    /// Something that is no code of digital squelch.
    #[error("{text:?} is no squelch code; a code is three digits from 0 to 7, like 023")]
    NotACode {
        /// What was given.
        text: String,
    },
    /// No carrier null of this number is known.
    #[error("there is no carrier null {asked}; they count from 1 to 5")]
    NoNull {
        /// What was asked for.
        asked: u64,
    },
    /// A recording's meta data that cannot be used.
    #[error(transparent)]
    Meta(#[from] iq::MetaRefused),
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_recording_is_refused_by_name() {
        let refused = |values: Vec<f64>, rate| Samples::new(values, rate).unwrap_err();
        assert!(matches!(refused(vec![0.1; 100], 3999.0), AudioRefused::Number(_)));
        assert!(matches!(refused(vec![0.1; 100], 1.1e7), AudioRefused::Number(_)));
        assert!(matches!(refused(vec![0.1; 100], f64::NAN), AudioRefused::Number(_)));
        let short = AudioRefused::TooShort { samples: 63, wanted: 64 };
        assert_eq!(refused(vec![0.1; 63], 8e3), short);
        let long = refused(vec![0.0; Samples::COUNT_MAX + 1], 8e3);
        assert!(matches!(long, AudioRefused::TooLong { .. }), "{long}");
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1.1e9] {
            let mut values = vec![0.1; 100];
            values[7] = value;
            let refused = refused(values, 8e3);
            assert!(matches!(refused, AudioRefused::NotANumber { at: 7, .. }), "{refused}");
        }
    }

    #[test]
    fn power_is_told_apart_from_the_offset() {
        let values = (0..100).map(|n| if n % 2 == 0 { 0.75 } else { 0.25 }).collect();
        let samples = Samples::new(values, 8e3).unwrap();
        assert!((samples.mean() - 0.5).abs() < 1e-12);
        assert!((samples.mean_square() - 0.0625).abs() < 1e-12);
        assert!((samples.peak() - 0.75).abs() < 1e-12);
        assert!((samples.duration_s() - 0.0125).abs() < 1e-12);
    }
}
