//! Reading a WAV recording: bytes in, one channel's samples out, full scale being 1.
//!
//! PCM of 8, 16, 24 and 32 bits and 32 bit float; no more than [`BYTES_MAX`] bytes. A recording
//! that is silent is refused; one that is clipped is read, and says so.
//!
//!   level\[dBFS\] = 10·log10(2·mean(x²))     a sine that just reaches full scale is 0 dBFS
//!
//! The reference to a full-scale sine: AES17, from memory, unverified.

use std::io::Cursor;

use hound::{SampleFormat, WavReader};

use super::{AudioRefused, SILENT_MEAN_SQUARE, Samples, at_most};

/// The most bytes that are taken for one recording.
pub const BYTES_MAX: usize = 64 << 20;

/// One channel of a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// The samples of the channel, full scale being 1.
    pub samples: Samples,
    /// How wide a sample was in the file.
    pub bits: u16,
    /// How many channels the file has.
    pub channels: u16,
    /// How many samples stand at full scale or beyond: what lay above them is lost.
    pub clipped: usize,
}

/// The level of a mean square, 0 dBFS being a sine that just reaches full scale.
pub fn level_dbfs(mean_square: f64) -> f64 {
    10.0 * (2.0 * mean_square).log10()
}

/// Reads one channel of a WAV file; channels count from 1.
pub fn read_wav(bytes: &[u8], channel: u64) -> Result<Recording, AudioRefused> {
    if bytes.len() > BYTES_MAX {
        return Err(AudioRefused::TooLarge { bytes: bytes.len(), most: BYTES_MAX });
    }
    let mut reader = WavReader::new(Cursor::new(bytes)).map_err(|error| refused(&error, 0))?;
    let spec = reader.spec();
    let asked = u16::try_from(channel).unwrap_or(0);
    if !(1..=spec.channels).contains(&asked) {
        return Err(AudioRefused::NoChannel { asked: channel, channels: spec.channels });
    }
    // The head may promise any number: only what the bytes can hold is believed.
    let promised = usize::try_from(reader.duration()).unwrap_or(usize::MAX);
    at_most(promised.min(bytes.len()), Samples::COUNT_MAX)?;
    let place = usize::from(asked) - 1;
    let (values, full_scale) = match spec.sample_format {
        SampleFormat::Float => (picked(&mut reader, place, |x: f32| f64::from(x))?, 1.0),
        SampleFormat::Int => {
            let step = 2f64.powi(1 - i32::from(spec.bits_per_sample));
            (picked(&mut reader, place, |x: i32| f64::from(x) * step)?, 1.0 - step)
        }
    };
    let clipped = values.iter().filter(|value| value.abs() >= full_scale).count();
    let samples = Samples::new(values, f64::from(spec.sample_rate))?;
    if samples.mean_square() <= SILENT_MEAN_SQUARE {
        return Err(AudioRefused::Silent { level_dbfs: level_dbfs(SILENT_MEAN_SQUARE) });
    }
    Ok(Recording { samples, bits: spec.bits_per_sample, channels: spec.channels, clipped })
}

/// Every sample of the channel at this place of a frame.
fn picked<S: hound::Sample>(
    reader: &mut WavReader<Cursor<&[u8]>>,
    place: usize,
    number: impl Fn(S) -> f64,
) -> Result<Vec<f64>, AudioRefused> {
    let (bits, channels) = (reader.spec().bits_per_sample, usize::from(reader.spec().channels));
    let promised = usize::try_from(reader.duration()).unwrap_or(usize::MAX);
    let mut values = Vec::new();
    for (n, sample) in reader.samples::<S>().enumerate() {
        let sample = sample.map_err(|error| match error {
            hound::Error::IoError(_) => AudioRefused::CutShort { read: values.len(), promised },
            other => refused(&other, bits),
        })?;
        if n % channels == place {
            values.push(number(sample));
        }
    }
    Ok(values)
}

fn refused(error: &hound::Error, bits: u16) -> AudioRefused {
    match error {
        hound::Error::FormatError(what) => AudioRefused::NotWav { what },
        hound::Error::IoError(_) => AudioRefused::NotWav { what: "it ends within its head" },
        hound::Error::UnfinishedSample => AudioRefused::NotWav { what: "a sample is unfinished" },
        hound::Error::TooWide | hound::Error::Unsupported | hound::Error::InvalidSampleFormat => {
            AudioRefused::KindUnknown { bits }
        }
    }
}

#[cfg(test)]
mod tests {
    use hound::{WavSpec, WavWriter};
    use proptest::prelude::*;

    use super::*;

    fn spec(channels: u16, bits_per_sample: u16, sample_format: SampleFormat) -> WavSpec {
        WavSpec { channels, sample_rate: 8000, bits_per_sample, sample_format }
    }

    fn pcm(spec: WavSpec, samples: &[i32]) -> Vec<u8> {
        let mut bytes = Cursor::new(Vec::new());
        let mut writer = WavWriter::new(&mut bytes, spec).unwrap();
        samples.iter().for_each(|&sample| writer.write_sample(sample).unwrap());
        writer.finalize().unwrap();
        bytes.into_inner()
    }

    fn floats(samples: &[f32]) -> Vec<u8> {
        let mut bytes = Cursor::new(Vec::new());
        let spec = spec(1, 32, SampleFormat::Float);
        let mut writer = WavWriter::new(&mut bytes, spec).unwrap();
        samples.iter().for_each(|&sample| writer.write_sample(sample).unwrap());
        writer.finalize().unwrap();
        bytes.into_inner()
    }

    #[test]
    fn every_width_reads_half_of_full_scale_as_a_half() {
        for bits in [8, 16, 24, 32] {
            let half = 1 << (bits - 2);
            let samples: Vec<i32> =
                (0..100).map(|n| if n % 2 == 0 { half } else { -half }).collect();
            let file = pcm(spec(1, bits, SampleFormat::Int), &samples);
            let read = read_wav(&file, 1).unwrap();
            assert!((read.samples.values()[0] - 0.5).abs() < 1e-15, "{bits} bits");
            assert!((read.samples.values()[1] + 0.5).abs() < 1e-15, "{bits} bits");
            assert_eq!((read.bits, read.clipped, read.samples.values().len()), (bits, 0, 100));
        }
        let read = read_wav(&floats(&[0.5; 99].map(|x| -x)), 1);
        assert!(matches!(read, Err(AudioRefused::Silent { .. })), "an offset is no sound");
    }

    #[test]
    fn channels_are_told_apart_and_count_from_one() {
        let frames: Vec<i32> = (0..100).flat_map(|n| [1000 * (n % 2), -2000 * (n % 2)]).collect();
        let file = pcm(spec(2, 16, SampleFormat::Int), &frames);
        let read = |channel| read_wav(&file, channel).map(|r| r.samples.values()[1] * 32768.0);
        assert!((read(1).unwrap() - 1000.0).abs() < 1e-9);
        assert!((read(2).unwrap() + 2000.0).abs() < 1e-9);
        for asked in [0, 3, u64::MAX] {
            assert_eq!(read(asked), Err(AudioRefused::NoChannel { asked, channels: 2 }));
        }
    }

    #[test]
    fn clipping_is_counted_at_both_rails() {
        let mut samples = [1000, -1000].repeat(50);
        samples[..5].copy_from_slice(&[32767, -32768, -32767, 32766, -32766]);
        let read = read_wav(&pcm(spec(1, 16, SampleFormat::Int), &samples), 1).unwrap();
        assert_eq!(read.clipped, 3);
        let loud: Vec<f32> = (0..100).map(|n| if n % 2 == 0 { 1.25 } else { 0.1 }).collect();
        assert_eq!(read_wav(&floats(&loud), 1).unwrap().clipped, 50);
    }

    #[test]
    fn what_is_no_recording_is_refused_by_name() {
        let tone: Vec<i32> = (0..100).map(|n| (n % 7) * 1000).collect();
        let file = pcm(spec(1, 16, SampleFormat::Int), &tone);
        let refused = |bytes: &[u8]| read_wav(bytes, 1).unwrap_err();
        assert!(matches!(refused(b"RIFX"), AudioRefused::NotWav { .. }));
        assert!(matches!(refused(&file[..30]), AudioRefused::NotWav { .. }));
        let cut = AudioRefused::CutShort { read: 90, promised: 100 };
        assert_eq!(refused(&file[..file.len() - 20]), cut);
        let silent = pcm(spec(1, 16, SampleFormat::Int), &[0; 100]);
        assert_eq!(refused(&silent).to_string(), "recording is silent: -117 dBFS or less");
        let short = pcm(spec(1, 16, SampleFormat::Int), &tone[..50]);
        assert!(matches!(refused(&short), AudioRefused::TooShort { samples: 50, .. }));
        let mut nan = vec![0.1; 100];
        nan[3] = f32::NAN;
        assert!(matches!(refused(&floats(&nan)), AudioRefused::NotANumber { at: 3, .. }));
        let mut adpcm = file.clone();
        adpcm[20] = 2;
        assert!(matches!(refused(&adpcm), AudioRefused::KindUnknown { .. }));
        let large = vec![0; BYTES_MAX + 1];
        assert!(matches!(refused(&large), AudioRefused::TooLarge { .. }));
    }

    proptest! {
        #[test]
        fn no_bytes_panic(at in 0usize..60, byte: u8, cut in 0usize..244, more: Vec<u8>) {
            let tone: Vec<i32> = (0..100).map(|n| (n % 7) * 1000).collect();
            let mut file = pcm(spec(1, 16, SampleFormat::Int), &tone);
            file[at.min(43)] = byte;
            file.truncate(244 - cut);
            file.extend(more);
            if let Ok(read) = read_wav(&file, 1) {
                prop_assert!(read.samples.values().len() <= file.len());
            }
        }
    }
}
