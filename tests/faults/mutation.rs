//! Changes a sound input at random: bytes turned, pieces dropped, doubled, moved, or put in from a
//! list of words that readers trip over. Seeded, so that a case comes back.

/// Numbers and signs that readers trip over.
const WORDS: [&str; 26] = [
    "NaN",
    "inf",
    "-1",
    "0",
    "1e308",
    "-1e308",
    "1e-320",
    "18446744073709551616",
    "9007199254740993",
    "null",
    "[]",
    "{}",
    "\"\"",
    "[[[[[[[[",
    "\u{0}",
    "\u{fffd}",
    "#",
    "!",
    "[Version] 3.0",
    "R 0",
    "\n",
    ",",
    "-",
    ".",
    "µ",
    "\u{202e}",
];
/// No input grows beyond this.
const BYTES_MAX: usize = 1 << 16;

/// SplitMix64 (Steele, Lea and Flood).
pub(crate) struct Seeded(pub(crate) u64);

impl Seeded {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// From 0 to `bound` − 1; 0 where that is nothing.
    pub(crate) fn below(&mut self, bound: usize) -> usize {
        (self.next() % bound.max(1) as u64) as usize
    }

    fn piece(&mut self, length: usize) -> std::ops::Range<usize> {
        let start = self.below(length);
        let most = (length - start).min(1 + self.below(64));
        start..start + most
    }
}

/// The input with one to three changes.
pub(crate) fn mutated(sound: &[u8], chance: &mut Seeded) -> Vec<u8> {
    let mut bytes = sound.to_vec();
    for _ in 0..=chance.below(3) {
        change(&mut bytes, chance);
        bytes.truncate(BYTES_MAX.max(sound.len()));
    }
    bytes
}

fn change(bytes: &mut Vec<u8>, chance: &mut Seeded) {
    let length = bytes.len();
    if length == 0 {
        bytes.push(chance.below(256) as u8);
        return;
    }
    match chance.below(12) {
        0 => bytes[chance.below(length)] ^= 1 << chance.below(8),
        1 => bytes[chance.below(length)] = chance.below(256) as u8,
        2 => bytes.truncate(chance.below(length)),
        3 => drop(bytes.drain(chance.piece(length))),
        4 => {
            let (piece, at) = (bytes[chance.piece(length)].to_vec(), chance.below(length));
            bytes.splice(at..at, piece);
        }
        5 => {
            let (at, word) = (chance.below(length), WORDS[chance.below(WORDS.len())]);
            bytes.splice(at..at, word.bytes());
        }
        6 | 7 => {
            // A count or a length of a binary head, taken to its ends.
            let ends = [0, 1, 0x7f, 0xff, 0x7fff, 0xffff, 0x7fff_ffff, 0x8000_0000, u32::MAX];
            let number = ends[chance.below(ends.len())].to_le_bytes();
            let wide = if chance.below(2) == 0 { 2 } else { 4 };
            let at = chance.below(length);
            let end = length.min(at + wide);
            bytes[at..end].copy_from_slice(&number[..end - at]);
        }
        _ => {
            // A number is where readers reckon: one is put in the place of another.
            let digits: Vec<usize> = (0..length).filter(|at| bytes[*at].is_ascii_digit()).collect();
            if let Some(&start) = digits.get(chance.below(digits.len())) {
                let end = (start..length).find(|at| !bytes[*at].is_ascii_digit()).unwrap_or(length);
                bytes.splice(start..end, WORDS[chance.below(9)].bytes());
            }
        }
    }
}
