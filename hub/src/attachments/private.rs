//! What a photograph tells beside its picture is left out: where it was taken, with whose camera of
//! which number, an earlier picture of the same, a film behind its end.
//!
//! In: the bytes of a JPEG or PNG. Out: the same picture, pixel for pixel (no pixel is decoded),
//! with only those parts that are needed to show it, and which way is up. What is kept is listed
//! here, not what is thrown away, so that no part anybody invents later comes through.

use exif::{In, Reader, Tag, Value};
use image::ImageFormat;

use super::Unfit;

/// The photograph without what it tells beside its picture.
pub fn picture_only(bytes: &[u8], format: ImageFormat) -> Result<Vec<u8>, Unfit> {
    match format {
        ImageFormat::Jpeg => jpeg(bytes),
        ImageFormat::Png => png(bytes),
        _ => Ok(bytes.to_vec()),
    }
}

/// Reads on from a place, or says that the image is cut short there.
fn part(bytes: &[u8], from: usize, count: usize) -> Result<&[u8], Unfit> {
    let end = from.saturating_add(count);
    bytes.get(from..end).ok_or_else(|| Unfit::Unreadable(format!("it is cut short at byte {from}")))
}

/// Which way is up: 1 where a photograph does not say or says nonsense (Exif 2.32, 4.6.4, 0x0112).
fn upright(tiff: &[u8]) -> u16 {
    let Ok(read) = Reader::new().read_raw(tiff.to_vec()) else { return 1 };
    let Some(field) = read.get_field(Tag::Orientation, In::PRIMARY) else { return 1 };
    let Value::Short(turns) = &field.value else { return 1 };
    turns.first().copied().filter(|turn| (1..=8).contains(turn)).unwrap_or(1)
}

/// A directory that says which way is up and nothing else (TIFF 6.0, section 2).
fn only_upright(turned: u16) -> Vec<u8> {
    let mut tiff = b"MM\0\x2a\0\0\0\x08\0\x01".to_vec();
    tiff.extend([0x01, 0x12, 0, 3, 0, 0, 0, 1]);
    tiff.extend(turned.to_be_bytes());
    tiff.extend([0, 0, 0, 0, 0, 0]);
    tiff
}

/// ITU-T T.81, annex B: marker by marker.
fn jpeg(bytes: &[u8]) -> Result<Vec<u8>, Unfit> {
    let mut kept: Vec<&[u8]> = Vec::new();
    let mut jfif: Option<&[u8]> = None;
    let mut turned = 1;
    let mut at = 2;
    loop {
        let Marker { code, start } = marker(bytes, at)?;
        if code == 0xd9 {
            break;
        }
        let length = part(bytes, start, 2)?;
        let length = usize::from(u16::from_be_bytes([length[0], length[1]]));
        let whole = part(bytes, start - 2, length.max(2) + 2)?;
        let said = &whole[4..];
        at = start + length.max(2);
        match code {
            0xe0 if said.starts_with(b"JFIF\0") => jfif = jfif.or(Some(whole)),
            0xe1 if said.starts_with(b"Exif\0\0") && turned == 1 => turned = upright(&said[6..]),
            // Tables, frames, restart intervals; the colours' profile; how colours are coded.
            0xc0..=0xcf | 0xdb | 0xdc | 0xdd => kept.push(whole),
            0xe2 if said.starts_with(b"ICC_PROFILE\0") => kept.push(whole),
            0xee if said.starts_with(b"Adobe") => kept.push(whole),
            0xda => {
                let end = scan_end(bytes, at)?;
                kept.push(&bytes[start - 2..end]);
                at = end;
            }
            _ => {}
        }
    }
    let mut out = vec![0xff, 0xd8];
    out.extend(jfif.unwrap_or_default());
    if turned != 1 {
        let said = [b"Exif\0\0".as_slice(), &only_upright(turned)].concat();
        out.extend([0xff, 0xe1]);
        out.extend((said.len() as u16 + 2).to_be_bytes());
        out.extend(said);
    }
    kept.into_iter().for_each(|part| out.extend(part));
    out.extend([0xff, 0xd9]);
    Ok(out)
}

/// A marker, and where what it says starts.
struct Marker {
    code: u8,
    start: usize,
}

/// The next marker; any number of fill bytes may stand before its code.
fn marker(bytes: &[u8], at: usize) -> Result<Marker, Unfit> {
    if part(bytes, at, 1)? != [0xff] {
        return Err(Unfit::Unreadable(format!("no marker stands at byte {at}")));
    }
    let mut start = at + 1;
    while part(bytes, start, 1)? == [0xff] {
        start += 1;
    }
    let code = bytes[start];
    if code < 0xc0 || (0xd0..=0xd8).contains(&code) {
        return Err(Unfit::Unreadable(format!("marker {code:#04x} stands at byte {at}")));
    }
    // A fill byte is dropped with the segments it stands before: `start - 2` is then the last one.
    Ok(Marker { code, start: start + 1 })
}

/// Where the coded picture of a scan ends: at what is neither a stuffed byte nor a restart.
fn scan_end(bytes: &[u8], from: usize) -> Result<usize, Unfit> {
    let mut at = from;
    loop {
        match part(bytes, at, 2)? {
            [0xff, 0x00 | 0xd0..=0xd7] => at += 2,
            [0xff, 0xff] => at += 1,
            [0xff, _] => return Ok(at),
            _ => at += 1,
        }
    }
}

/// The chunks that are needed to show a picture as it is (W3C PNG, third edition, 5.6 and 11).
const PNG_KEPT: [&[u8; 4]; 13] = [
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT",
    b"bKGD", b"pHYs", b"cICP",
];

fn png(bytes: &[u8]) -> Result<Vec<u8>, Unfit> {
    let mut kept: Vec<&[u8]> = Vec::new();
    let mut turned = 1;
    let mut at = 8;
    loop {
        let head = part(bytes, at, 8)?;
        let length = u32::from_be_bytes([head[0], head[1], head[2], head[3]]) as usize;
        let whole = part(bytes, at, length.saturating_add(12))?;
        let name = &whole[4..8];
        if name == b"eXIf" && turned == 1 {
            turned = upright(&whole[8..8 + length]);
        }
        if PNG_KEPT.iter().any(|kept| kept.as_slice() == name) {
            kept.push(whole);
        }
        if name == b"IEND" {
            break;
        }
        at += whole.len();
    }
    let mut out = bytes[..8].to_vec();
    for part in kept {
        // It must stand before the picture; the first chunk is the image's head.
        let first_of_picture = &part[4..8] == b"IDAT" && turned != 1;
        if first_of_picture {
            out.extend(chunk(b"eXIf", &only_upright(turned)));
            turned = 1;
        }
        out.extend(part);
    }
    Ok(out)
}

/// A PNG chunk with its check sum.
fn chunk(name: &[u8; 4], said: &[u8]) -> Vec<u8> {
    let summed = [name.as_slice(), said].concat();
    let mut whole = (said.len() as u32).to_be_bytes().to_vec();
    whole.extend(&summed);
    whole.extend(crc32(&summed).to_be_bytes());
    whole
}

/// The check sum of a PNG chunk (W3C PNG, third edition, annex D).
pub(super) fn crc32(bytes: &[u8]) -> u32 {
    let mut sum = u32::MAX;
    for byte in bytes {
        sum ^= u32::from(*byte);
        for _ in 0..8 {
            sum = if sum & 1 == 1 { (sum >> 1) ^ 0xedb8_8320 } else { sum >> 1 };
        }
    }
    !sum
}

#[cfg(test)]
#[path = "private_tests.rs"]
mod tests;
