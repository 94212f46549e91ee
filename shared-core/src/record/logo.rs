//! A shop's sign: a small picture that a report carries at its head.
//!
//! In: the text of the shop's paper. Out: a [`Logo`] whose first bytes say what it is, small in
//! bytes and in pixels, or what is wrong with it. A picture that can hold a script, or that is
//! large once unpacked, is none. The pixels themselves are looked at where they are laid out.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

/// The most bytes of a sign.
pub const BYTES_MAX: usize = 64 * 1024;
/// The most pixels across and down.
pub const PIXELS_MAX: u32 = 1_200;

const PNG: &[u8] = b"\x89PNG\r\n\x1a\n";
const JPEG: &[u8] = b"\xff\xd8\xff";

/// A sign.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Logo {
    /// What it is.
    pub kind: LogoKind,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Its bytes (RFC 4648, section 4).
    pub base64: String,
}

/// Kinds of pictures a sign can be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum LogoKind {
    /// PNG (ISO/IEC 15948).
    Png,
    /// JPEG (ISO/IEC 10918).
    Jpeg,
}

impl LogoKind {
    /// Its media type.
    pub fn media_type(self) -> &'static str {
        match self {
            Self::Png => "image/png",
            Self::Jpeg => "image/jpeg",
        }
    }
}

/// Why a text is no sign.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotALogo {
    /// More bytes than a report should carry on every page of a crew's record.
    #[error("is larger than {} kB: make it smaller", BYTES_MAX / 1024)]
    TooLarge,
    /// It was not written as base64.
    #[error("is no picture's bytes in base64")]
    NotBase64,
    /// Neither PNG nor JPEG.
    #[error("is neither a PNG nor a JPEG picture")]
    Kind,
    /// The head does not say how large it is.
    #[error("is cut short or damaged: its size cannot be read")]
    Damaged,
    /// Too many pixels.
    #[error("has {width} by {height} pixels; at most {PIXELS_MAX} either way are taken")]
    Pixels {
        /// Across.
        width: u32,
        /// Down.
        height: u32,
    },
}

impl Logo {
    /// Reads a sign from its text.
    pub fn read(text: &str) -> Result<Self, NotALogo> {
        // Four letters carry three bytes.
        if text.len() > BYTES_MAX.div_ceil(3) * 4 {
            return Err(NotALogo::TooLarge);
        }
        let bytes = STANDARD.decode(text).map_err(|_| NotALogo::NotBase64)?;
        if bytes.len() > BYTES_MAX {
            return Err(NotALogo::TooLarge);
        }
        let (kind, size) = match () {
            () if bytes.starts_with(PNG) => (LogoKind::Png, png_size(&bytes)),
            () if bytes.starts_with(JPEG) => (LogoKind::Jpeg, jpeg_size(&bytes)),
            () => return Err(NotALogo::Kind),
        };
        let (width, height) = size.ok_or(NotALogo::Damaged)?;
        if width > PIXELS_MAX || height > PIXELS_MAX {
            return Err(NotALogo::Pixels { width, height });
        }
        Ok(Self { kind, width, height, base64: text.to_owned() })
    }

    /// Its bytes; none where the text is no base64.
    pub fn bytes(&self) -> Option<Vec<u8>> {
        STANDARD.decode(&self.base64).ok()
    }
}

fn sized(width: u32, height: u32) -> Option<(u32, u32)> {
    (width > 0 && height > 0).then_some((width, height))
}

/// Width and height stand in the first chunk (ISO/IEC 15948, 11.2.2); the last one ends the file.
fn png_size(bytes: &[u8]) -> Option<(u32, u32)> {
    let head = bytes.get(8..24)?;
    if &head[4..8] != b"IHDR" || !bytes.ends_with(b"IEND\xae\x42\x60\x82") {
        return None;
    }
    let number = |at: usize| head[at..at + 4].try_into().map(u32::from_be_bytes).ok();
    sized(number(8)?, number(12)?)
}

/// Width and height stand in the frame header (ISO/IEC 10918-1, B.2.2), behind other segments.
fn jpeg_size(bytes: &[u8]) -> Option<(u32, u32)> {
    let mut at = 2;
    while let Some(&[0xff, marker]) = bytes.get(at..at + 2) {
        let length = usize::from(u16::from_be_bytes(bytes.get(at + 2..at + 4)?.try_into().ok()?));
        let is_frame = (0xc0..=0xcf).contains(&marker) && ![0xc4, 0xc8, 0xcc].contains(&marker);
        if is_frame {
            let side = |at: usize| {
                let two = bytes.get(at..at + 2)?.try_into().ok()?;
                Some(u32::from(u16::from_be_bytes(two)))
            };
            return sized(side(at + 7)?, side(at + 5)?);
        }
        at += 2 + length.max(2);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One grey pixel, made by hand after ISO/IEC 15948.
    const PIXEL: &str = concat!(
        "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAAAAAA6fptVAAAACklEQVR4nGNgAAAAAgABSK+kcQAAAABJRU5E",
        "rkJggg=="
    );

    fn png(width: u32, height: u32) -> String {
        let mut bytes = STANDARD.decode(PIXEL).unwrap();
        bytes[16..20].copy_from_slice(&width.to_be_bytes());
        bytes[20..24].copy_from_slice(&height.to_be_bytes());
        STANDARD.encode(bytes)
    }

    fn jpeg(width: u16, height: u16) -> String {
        let mut bytes = vec![0xff, 0xd8, 0xff, 0xe0, 0, 4, 0, 0, 0xff, 0xc0, 0, 11, 8];
        bytes.extend(height.to_be_bytes());
        bytes.extend(width.to_be_bytes());
        STANDARD.encode(bytes)
    }

    #[test]
    fn a_small_picture_is_a_sign_and_tells_its_size() {
        let sign = Logo::read(PIXEL).unwrap();
        assert_eq!((sign.kind, sign.width, sign.height), (LogoKind::Png, 1, 1));
        let sign = Logo::read(&jpeg(640, 200)).unwrap();
        assert_eq!((sign.kind, sign.width, sign.height), (LogoKind::Jpeg, 640, 200));
    }

    #[test]
    fn what_is_no_sign_says_why() {
        let svg = STANDARD.encode("<svg xmlns='http://www.w3.org/2000/svg'/>");
        let gif = STANDARD.encode(b"GIF89a\x01\x00\x01\x00");
        for (text, why) in [
            ("%%%", NotALogo::NotBase64),
            (&svg, NotALogo::Kind),
            (&gif, NotALogo::Kind),
            (&STANDARD.encode(PNG), NotALogo::Damaged),
            (&PIXEL[..60], NotALogo::Damaged),
            (&png(0, 5), NotALogo::Damaged),
            (&png(1_201, 5), NotALogo::Pixels { width: 1_201, height: 5 }),
            (&jpeg(9, 65_535), NotALogo::Pixels { width: 9, height: 65_535 }),
            (&"A".repeat(90_000), NotALogo::TooLarge),
        ] {
            assert_eq!(Logo::read(text), Err(why), "{text:.40}");
        }
    }

    #[test]
    fn a_picture_whose_segments_go_nowhere_ends_the_search() {
        for cut in 0..13 {
            let whole = STANDARD.decode(jpeg(9, 9)).unwrap();
            assert!(Logo::read(&STANDARD.encode(&whole[..cut])).is_err());
        }
    }
}
