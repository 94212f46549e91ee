//! No place, no camera and no owner is left, the picture is the same; what is broken is refused.
//!
//! That an independent reader finds nothing and sees the same pixels is `tests/reference`'s affair.

use std::io::Cursor;

use image::{DynamicImage, ImageReader, RgbImage};

use super::*;
use crate::fixture::Seeded;

/// What a phone writes: a directory with an owner, a camera, a number, a place, and a turn.
fn told() -> Vec<u8> {
    let mut tiff = b"MM\0\x2a\0\0\0\x08\0\x02".to_vec();
    tiff.extend([0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, 6, 0, 0]);
    // 0x8825: the place, at offset 38.
    tiff.extend([0x88, 0x25, 0, 4, 0, 0, 0, 1, 0, 0, 0, 38, 0, 0, 0, 0]);
    tiff.extend(b"\0\x01\0\x01\0\x02\0\0\0\x02N\0\0\0\0\0\0\0SECRET-OWNER-SERIAL");
    tiff
}

fn picture() -> RgbImage {
    let mut seeded = Seeded(3);
    RgbImage::from_fn(40, 24, |x, y| {
        let noise = seeded.below(40) as u8;
        image::Rgb([x as u8 * 5, y as u8 * 9, noise])
    })
}

fn encoded(format: ImageFormat) -> Vec<u8> {
    let mut bytes = Vec::new();
    DynamicImage::from(picture()).write_to(&mut Cursor::new(&mut bytes), format).unwrap();
    bytes
}

fn segment(code: u8, said: &[u8]) -> Vec<u8> {
    let mut whole = vec![0xff, code];
    whole.extend((said.len() as u16 + 2).to_be_bytes());
    whole.extend(said);
    whole
}

/// A JPEG as a phone leaves it: every place a camera hides words in, and a film behind its end.
fn photograph() -> Vec<u8> {
    let plain = encoded(ImageFormat::Jpeg);
    let exif = [b"Exif\0\0".as_slice(), &told()].concat();
    let mut bytes = plain[..2].to_vec();
    for (code, said) in [
        (0xe1, exif.as_slice()),
        (0xe1, b"http://ns.adobe.com/xap/1.0/\0<x SECRET-PLACE/>"),
        (0xe2, b"MPF\0SECRET"),
        (0xed, b"Photoshop 3.0\0SECRET"),
        (0xe5, b"SECRET"),
        (0xfe, b"SECRET comment"),
    ] {
        bytes.extend(segment(code, said));
    }
    bytes.extend(&plain[2..]);
    bytes.extend(b"SECRET film");
    bytes
}

fn screenshot() -> Vec<u8> {
    let plain = encoded(ImageFormat::Png);
    let head = 8 + 25;
    let mut bytes = plain[..head].to_vec();
    bytes.extend(chunk(b"eXIf", &told()));
    bytes.extend(chunk(b"tEXt", b"Author\0SECRET"));
    bytes.extend(chunk(b"iTXt", b"XML:com.adobe.xmp\0\0\0\0\0SECRET"));
    bytes.extend(chunk(b"tIME", &[7, 234, 5, 14, 10, 0, 0]));
    bytes.extend(chunk(b"prVt", b"SECRET"));
    bytes.extend(&plain[head..]);
    bytes.extend(b"SECRET behind");
    bytes
}

fn pixels(bytes: &[u8], format: ImageFormat) -> DynamicImage {
    ImageReader::with_format(Cursor::new(bytes), format).decode().unwrap()
}

fn says(bytes: &[u8], words: &[u8]) -> bool {
    bytes.windows(words.len()).any(|window| window == words)
}

type Made = fn() -> Vec<u8>;

const BOTH: [(ImageFormat, Made); 2] =
    [(ImageFormat::Jpeg, photograph), (ImageFormat::Png, screenshot)];

#[test]
fn nothing_but_the_picture_and_its_turn_is_left() {
    for (format, made) in BOTH {
        let told = made();
        assert!(says(&told, b"SECRET"));
        let left = picture_only(&told, format).unwrap();
        for words in [b"SECRET".as_slice(), b"adobe.com", b"MPF"] {
            assert!(!says(&left, words), "{format:?}: {words:?}");
        }
        assert_eq!(pixels(&left, format), pixels(&told, format), "{format:?}");
        let read = Reader::new().read_from_container(&mut Cursor::new(&left)).unwrap();
        let fields: Vec<_> = read.fields().map(|field| field.tag).collect();
        assert_eq!(fields, [Tag::Orientation], "{format:?}");
        let turn = read.get_field(Tag::Orientation, In::PRIMARY).unwrap();
        assert_eq!(turn.value.get_uint(0), Some(6));
        assert_eq!(picture_only(&left, format).unwrap(), left, "once is enough");
    }
}

#[test]
fn a_photograph_that_stands_upright_gets_no_directory_at_all() {
    for (format, _) in BOTH {
        let left = picture_only(&encoded(format), format).unwrap();
        assert!(!says(&left, b"Exif") && !says(&left, b"eXIf"), "{format:?}");
        assert_eq!(pixels(&left, format), pixels(&encoded(format), format));
    }
}

#[test]
fn one_that_is_cut_at_any_byte_is_refused_or_tells_nothing() {
    for (format, made) in BOTH {
        let whole = made();
        let end = whole.len() - b"SECRET behind".len().max(b"SECRET film".len());
        for cut in 0..end.saturating_sub(4) {
            if let Ok(left) = picture_only(&whole[..cut], format) {
                panic!("{format:?} cut at {cut} gave {} bytes", left.len());
            }
        }
    }
}

#[test]
fn whatever_comes_nothing_panics() {
    let mut seeded = Seeded(11);
    for (format, made) in BOTH {
        let whole = made();
        for _ in 0..3_000 {
            let mut changed = whole.clone();
            for _ in 0..=seeded.below(4) {
                let at = seeded.below(changed.len());
                changed[at] = seeded.below(256) as u8;
            }
            // A changed length can make anything part of the picture: only panics count here.
            let _told_or_not = picture_only(&changed, format);
        }
    }
}

#[test]
fn the_check_sum_is_the_standards_own() {
    // The check value of CRC-32 (ISO-HDLC) for "123456789"; from memory, unverified.
    assert_eq!(crc32(b"123456789"), 0xcbf4_3926);
    // Every PNG ends so (W3C PNG, third edition, 12.1.3 and others).
    assert_eq!(crc32(b"IEND"), 0xae42_6082);
}
