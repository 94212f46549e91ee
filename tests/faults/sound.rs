//! Sound inputs of every kind that a reader takes: small, so that many changes can be tried.

use std::io::Cursor;

use guyline_core::bench::{Topic, topics};
use hound::{SampleFormat, WavSpec, WavWriter};

/// The example question of a topic of the bench.
pub(crate) fn example(name: &str) -> &'static Topic {
    topics().iter().find(|topic| topic.name == name).expect("the topic is listed")
}

/// A text of an example.
pub(crate) fn text_of(name: &str, field: &str) -> String {
    example(name).example[field].as_str().expect("the field is text").to_owned()
}

/// Touchstone texts of both versions, in several parameters.
pub(crate) fn touchstone() -> Vec<Vec<u8>> {
    let version_2 = "[Version] 2.0\n# GHz S MA R 50\n[Number of Ports] 2\n\
                     [Two-Port Data Order] 21_12\n[Number of Frequencies] 2\n[Reference] 50 25\n\
                     [Network Data]\n2 .95 -26 3.57 157 .04 76 .66 -14\n\
                     22 .60 -144 1.30 40 .14 40 .56 -85\n[End]\n";
    vec![
        text_of("sweep", "touchstone").into_bytes(),
        version_2.as_bytes().to_vec(),
        b"# MHz Z RI R 75\n100 1 2 3 4 5 6 7 8\n".to_vec(),
    ]
}

/// A hundred samples that swing between two values.
fn swing() -> impl Iterator<Item = f64> {
    (0..100).map(|n| if n % 2 == 0 { 0.5 } else { -0.5 })
}

/// A WAV file of every width and form, with one channel and with two.
pub(crate) fn wavs() -> Vec<Vec<u8>> {
    let kinds = [8, 16, 24, 32].map(|bits| (bits, SampleFormat::Int));
    let kinds = kinds.into_iter().chain([(32, SampleFormat::Float)]);
    let kinds = kinds.flat_map(|kind| [1, 2].map(|channels| (kind, channels)));
    kinds.map(|((bits, form), channels)| wav(bits, form, channels)).collect()
}

fn wav(bits_per_sample: u16, sample_format: SampleFormat, channels: u16) -> Vec<u8> {
    let spec = WavSpec { channels, sample_rate: 48_000, bits_per_sample, sample_format };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = WavWriter::new(&mut bytes, spec).expect("memory takes a WAV file");
    let full = 2f64.powi(i32::from(bits_per_sample) - 1);
    for value in swing().flat_map(|value| std::iter::repeat_n(value, usize::from(channels))) {
        match sample_format {
            SampleFormat::Float => writer.write_sample(value as f32),
            SampleFormat::Int => writer.write_sample((value * full) as i32),
        }
        .expect("memory takes a sample");
    }
    writer.finalize().expect("memory takes a WAV file");
    bytes.into_inner()
}

/// A SigMF recording (meta data and data) of every kind of number.
pub(crate) fn sigmf() -> Vec<(String, Vec<u8>)> {
    let little = |form: &str, value: f64| match form {
        "cf32_le" => (value as f32).to_le_bytes().to_vec(),
        "cf64_le" => value.to_le_bytes().to_vec(),
        "ci32_le" => ((value * 2f64.powi(31)) as i32).to_le_bytes().to_vec(),
        "ci16_le" => ((value * 32_768.0) as i16).to_le_bytes().to_vec(),
        "ci8" => ((value * 128.0) as i8).to_le_bytes().to_vec(),
        _ => vec![(value * 128.0 + 128.0) as u8],
    };
    let recording = |form: &str| {
        let meta = format!(
            r#"{{"global": {{"core:datatype": "{form}", "core:sample_rate": 48000,
                "core:num_channels": 1, "core:version": "1.2.0"}},
                "captures": [{{"core:sample_start": 0, "core:frequency": 155000000}},
                             {{"core:sample_start": 90, "core:header_bytes": 0}}]}}"#
        );
        (meta, swing().flat_map(|value| [value, -value]).flat_map(|v| little(form, v)).collect())
    };
    ["cf32_le", "cf64_le", "ci32_le", "ci16_le", "ci8", "cu8"].map(recording).into()
}
