//! A reader's memory goes by what it is given, not by what a head promises.
//!
//! Goal: reading an input takes no more memory at any moment than [`TIMES`] its size and
//! [`BESIDES`]. Method: an allocator that counts; one test in a binary of its own, so that nothing
//! else allocates meanwhile; heads that promise the most a field can say, and changed sound inputs
//! from a seed (`GUYLINE_CASES`). The most that was held is printed for each reader. What comes
//! from another node has a bound of its own: `hub/src/sync/wire.rs`.

mod mutation;
mod sound;

use guyline_core::limits::LimitTable;
use guyline_core::record::Shop;
use guyline_core::rf::audio::iq::read_sigmf;
use guyline_core::rf::audio::recording::read_wav;
use guyline_core::rf::touchstone;
use mutation::{Seeded, mutated};
use peak_alloc::PeakAlloc;

#[global_allocator]
static COUNTED: PeakAlloc = PeakAlloc;

/// The most memory for a byte of input: a sample of one byte becomes a number of eight, twice while
/// a growing list moves, and a table of text becomes a value a cell.
const TIMES: usize = 64;
/// And what any reader may take besides, however little it is given.
const BESIDES: usize = 16 * 1024;

/// The most that was held at once while `read` ran, beyond what was held before.
fn peak(read: impl FnOnce()) -> usize {
    let before = COUNTED.current_usage();
    COUNTED.reset_peak_usage();
    read();
    COUNTED.peak_usage().saturating_sub(before)
}

fn bounded(reader: &str, inputs: &[Vec<u8>], read: impl Fn(&[u8])) {
    // What is made once and kept is not the input's.
    inputs.iter().for_each(|input| read(input));
    let mut worst = (0, 0);
    let mut held = |input: &[u8]| {
        let bytes = peak(|| read(input));
        let most = TIMES * input.len() + BESIDES;
        assert!(bytes <= most, "{reader}: {bytes} bytes held for an input of {}", input.len());
        if bytes > worst.0 {
            worst = (bytes, input.len());
        }
    };
    inputs.iter().for_each(|input| held(input));
    for case in 0..guyline_tests::asked("GUYLINE_CASES", 3_000) / 10 {
        let mut chance = Seeded(0x6d65_6d6f_7279_0000 ^ case as u64);
        held(&mutated(&inputs[chance.below(inputs.len())], &mut chance));
    }
    println!("{reader}: at most {} bytes held, for an input of {}", worst.0, worst.1);
}

/// The head of a WAV file that says what it likes, with 200 bytes behind it.
fn promising_wav(channels: u16, rate: u32, bits: u16, data: u32) -> Vec<u8> {
    let frame = u32::from(channels) * u32::from(bits / 8);
    let head: [&[u8]; 13] = [
        b"RIFF",
        &u32::MAX.to_le_bytes(),
        b"WAVEfmt ",
        &16u32.to_le_bytes(),
        &1u16.to_le_bytes(),
        &channels.to_le_bytes(),
        &rate.to_le_bytes(),
        &rate.saturating_mul(frame).to_le_bytes(),
        &u16::try_from(frame).unwrap_or(u16::MAX).to_le_bytes(),
        &bits.to_le_bytes(),
        b"data",
        &data.to_le_bytes(),
        &[0x5a; 200],
    ];
    head.concat()
}

fn wavs() -> Vec<Vec<u8>> {
    let mut inputs = sound::wavs();
    for channels in [1, 2, u16::MAX] {
        for bits in [8, 16, 32] {
            inputs.push(promising_wav(channels, u32::MAX, bits, u32::MAX));
            inputs.push(promising_wav(channels, 48_000, bits, u32::MAX));
        }
    }
    // A chunk before the data that says it is as long as a length can be.
    let mut long_chunk = promising_wav(1, 48_000, 16, 200);
    long_chunk.splice(36..36, [&b"LIST"[..], &u32::MAX.to_le_bytes()].concat());
    inputs.push(long_chunk);
    inputs
}

fn touchstones() -> Vec<Vec<u8>> {
    let mut inputs = sound::touchstone();
    for (ports, frequencies) in [("32", "4000000000"), ("4000000000", "2"), ("1", "1000000000")] {
        let text = format!(
            "[Version] 2.0\n# Hz S RI R 50\n[Number of Ports] {ports}\n\
             [Number of Frequencies] {frequencies}\n[Number of Noise Frequencies] 4000000000\n\
             [Network Data]\n1 0.5 0.5\n[End]\n"
        );
        inputs.push(text.into_bytes());
    }
    inputs.push(b"# Hz S RI R 50\n".repeat(500));
    inputs.push([b"# Hz S RI R 50\n".to_vec(), b"1 2 3\n".repeat(500)].concat());
    inputs
}

#[test]
fn memory_goes_by_the_input_not_by_its_promises() {
    bounded("wav", &wavs(), |input| {
        for channel in [1, 2] {
            drop(read_wav(input, channel));
        }
    });
    bounded("touchstone", &touchstones(), |input| {
        for ports in [None, Some(1), Some(2)] {
            drop(touchstone::read(input, ports));
        }
    });
    for (meta, data) in sound::sigmf() {
        bounded("sigmf meta", &[meta.clone().into_bytes()], |input| {
            drop(read_sigmf(&String::from_utf8_lossy(input), &data));
        });
        bounded("sigmf data", &[data], |input| drop(read_sigmf(&meta, input)));
    }
    let rows = b"[[deviation]]\nchannel_hz = 30_000\ndeviation_max_hz = 6_000\n\
                 source = \"s\"\ntext_date = \"d\"\n";
    bounded("shop's rows", &[rows.to_vec(), b"[[[[[[[[".repeat(2_000)], |input| {
        let table = LimitTable::shipped("us").expect("it is shipped");
        drop(table.with_shop_rows(&String::from_utf8_lossy(input)));
    });
    let shop = std::fs::read(guyline_tests::demo_data().join("shop.json")).expect("it is there");
    bounded("shop as JSON", &[shop, b"[".repeat(5_000), b"{\"a\":".repeat(5_000)], |input| {
        drop(serde_json::from_slice::<Shop>(input));
    });
}
