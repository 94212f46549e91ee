//! What may be attached, and how large: the one place where these limits stand.
//!
//! In: bytes, and perhaps what somebody says they are. Out: the kind they are by their first bytes,
//! or why they are not taken. The content decides, never a name; where both speak they must agree,
//! so that nothing is kept as a photograph that a browser would run as a page.

use std::io::Cursor;

use image::{ImageFormat, ImageReader};

use super::Unfit;

const MIB: u64 = 1024 * 1024;

/// All content of a node together, in bytes: 16 GiB. A device with less disk refuses earlier, with
/// what the system says.
pub const ALL_BYTES_MAX: u64 = 16 * 1024 * MIB;

/// The same in a bucket, which no disk bounds: 1 TiB.
pub const BUCKET_BYTES_MAX: u64 = 1024 * 1024 * MIB;

/// The most pixels of an image: 64 million, four bytes each when it is drawn. A small file can
/// promise far more than any device can draw.
pub const PIXELS_MAX: u64 = 64_000_000;

/// The longest side of an image, in pixels.
pub const SIDE_MAX: u32 = 20_000;

/// A kind of content that may be attached.
#[derive(Clone, Copy, Debug)]
pub struct Kind {
    /// Its media type (RFC 6838), as it is recorded and served.
    pub media_type: &'static str,
    /// The end of a file's name when it leaves the tool.
    pub extension: &'static str,
    /// The most bytes of one.
    pub bytes_max: u64,
    /// How it is drawn, where it is an image.
    pub image: Option<ImageFormat>,
    /// Other names for the same.
    aliases: &'static [&'static str],
    /// Whether these bytes start as this kind does.
    starts: fn(&[u8]) -> bool,
}

/// Every kind that is taken.
pub const KINDS: [Kind; 5] = [
    Kind {
        media_type: "image/jpeg",
        extension: "jpg",
        bytes_max: 24 * MIB,
        image: Some(ImageFormat::Jpeg),
        aliases: &["image/jpg", "image/pjpeg"],
        // ITU-T T.81, B.1.1.3: the start of an image, then another marker.
        starts: |bytes| bytes.starts_with(&[0xff, 0xd8, 0xff]),
    },
    Kind {
        media_type: "image/png",
        extension: "png",
        bytes_max: 24 * MIB,
        image: Some(ImageFormat::Png),
        aliases: &["image/x-png"],
        // W3C PNG (third edition), 5.2.
        starts: |bytes| bytes.starts_with(&[0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a]),
    },
    Kind {
        media_type: "application/pdf",
        extension: "pdf",
        bytes_max: 24 * MIB,
        image: None,
        aliases: &["application/x-pdf"],
        // ISO 32000-2, 7.5.2.
        starts: |bytes| bytes.starts_with(b"%PDF-"),
    },
    Kind {
        media_type: "audio/wav",
        extension: "wav",
        bytes_max: 64 * MIB,
        image: None,
        aliases: &["audio/x-wav", "audio/wave", "audio/vnd.wave"],
        // RIFF (Microsoft and IBM, 1991): the form's type stands at offset 8.
        starts: |bytes| bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WAVE"),
    },
    Kind {
        // No type is registered for it.
        media_type: "text/x-touchstone",
        extension: "s2p",
        bytes_max: 8 * MIB,
        image: None,
        aliases: &["text/plain"],
        starts: is_touchstone,
    },
];

/// Touchstone: text whose first line that is no comment is its option line or its version.
fn is_touchstone(bytes: &[u8]) -> bool {
    let Ok(text) = std::str::from_utf8(bytes) else { return false };
    if text.contains('\0') {
        return false;
    }
    let mut lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
    let first = lines.find(|line| !line.starts_with('!'));
    first.is_some_and(|line| {
        line.starts_with('#') || line.to_ascii_lowercase().starts_with("[version]")
    })
}

/// The kind of this name, by its own name or another one for it.
fn named(media_type: &str) -> Option<&'static Kind> {
    let essence = media_type.split(';').next().unwrap_or_default().trim().to_ascii_lowercase();
    let is_it =
        |kind: &&Kind| kind.media_type == essence || kind.aliases.contains(&essence.as_str());
    KINDS.iter().find(is_it)
}

/// The kind that bytes are by how they start.
pub fn recognise(bytes: &[u8]) -> Option<&'static Kind> {
    KINDS.iter().find(|kind| (kind.starts)(bytes))
}

/// The media type that the end of a file's name stands for; none where it says nothing.
pub fn type_of_name(name: &str) -> Option<&'static str> {
    let (_, end) = name.rsplit_once('.')?;
    let end = end.to_ascii_lowercase();
    let ports = end.strip_prefix('s').and_then(|rest| rest.strip_suffix('p'));
    if ports.is_some_and(|ports| !ports.is_empty() && ports.bytes().all(|b| b.is_ascii_digit())) {
        return Some("text/x-touchstone");
    }
    match end.as_str() {
        "jpg" | "jpeg" => Some("image/jpeg"),
        "png" => Some("image/png"),
        "pdf" => Some("application/pdf"),
        "wav" => Some("audio/wav"),
        "ts" => Some("text/x-touchstone"),
        _ => None,
    }
}

/// The kind of content that was given, where it may be attached. `said` is what somebody says it
/// is: a media type, or nothing.
pub fn admit(bytes: &[u8], said: Option<&str>) -> Result<&'static Kind, Unfit> {
    if bytes.is_empty() {
        return Err(Unfit::Empty);
    }
    let kind = recognise(bytes).ok_or(Unfit::Unknown)?;
    let said = said.filter(|said| !said.is_empty() && *said != "application/octet-stream");
    if let Some(said) = said
        && named(said).is_none_or(|named| named.media_type != kind.media_type)
    {
        let said = said.chars().take(80).collect();
        return Err(Unfit::Otherwise { said, found: kind.media_type });
    }
    let length = bytes.len() as u64;
    if length > kind.bytes_max {
        return Err(Unfit::TooLong { kind: kind.media_type, length, most: kind.bytes_max });
    }
    if let Some(format) = kind.image {
        drawable(bytes, format)?;
    }
    Ok(kind)
}

/// Whether an image's head promises what a device can draw. Reads no pixel.
pub(super) fn drawable(bytes: &[u8], format: ImageFormat) -> Result<(), Unfit> {
    let read = ImageReader::with_format(Cursor::new(bytes), format).into_dimensions();
    let (width, height) = read.map_err(|error| Unfit::Unreadable(error.to_string()))?;
    let pixels = u64::from(width) * u64::from(height);
    if pixels == 0 || pixels > PIXELS_MAX || width.max(height) > SIDE_MAX {
        return Err(Unfit::TooManyPixels { width, height });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const PNG: &[u8] = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR";

    /// A PNG's head with these sides, and a true check sum of it.
    fn png(width: u32, height: u32) -> Vec<u8> {
        let mut image = image::RgbImage::new(1, 1);
        image.put_pixel(0, 0, image::Rgb([1, 2, 3]));
        let mut bytes = Vec::new();
        image.write_to(&mut Cursor::new(&mut bytes), ImageFormat::Png).unwrap();
        bytes[16..20].copy_from_slice(&width.to_be_bytes());
        bytes[20..24].copy_from_slice(&height.to_be_bytes());
        let sum = super::super::private::crc32(&bytes[12..29]);
        bytes[29..33].copy_from_slice(&sum.to_be_bytes());
        bytes
    }

    #[test]
    fn content_is_what_it_starts_as_and_a_name_must_agree() {
        let touchstone: &[u8] = b"! swept on the bench\n# MHz S DB R 50\n150 -20 0\n";
        for (bytes, said, wanted) in [
            (b"%PDF-1.7\n".as_slice(), None, "application/pdf"),
            (b"%PDF-1.7\n", Some("application/pdf"), "application/pdf"),
            (b"RIFF\x04\0\0\0WAVEfmt ", Some("audio/x-wav"), "audio/wav"),
            (touchstone, Some("text/plain"), "text/x-touchstone"),
            (touchstone, Some(""), "text/x-touchstone"),
            (b"[Version] 2.0\n# GHz", None, "text/x-touchstone"),
        ] {
            assert_eq!(admit(bytes, said).unwrap().media_type, wanted);
        }
        for (bytes, said) in [
            (b"<html><script>".as_slice(), None),
            (b"<svg xmlns='http://www.w3.org/2000/svg'/>", Some("image/svg+xml")),
            (b"MZ\x90\0", None),
            (b"RIFF\x04\0\0\0AVI ", Some("audio/wav")),
            (b"a text\n", Some("text/plain")),
            (b"\0\0# MHz", None),
        ] {
            assert!(matches!(admit(bytes, said), Err(Unfit::Unknown)), "{said:?}");
        }
        let otherwise = admit(b"%PDF-1.7\n", Some("image/png")).unwrap_err();
        assert!(matches!(otherwise, Unfit::Otherwise { found: "application/pdf", .. }));
        assert!(matches!(admit(b"", None), Err(Unfit::Empty)));
    }

    #[test]
    fn a_flood_of_pixels_and_a_broken_head_are_refused_before_anything_is_drawn() {
        assert_eq!(admit(&png(1, 1), None).unwrap().media_type, "image/png");
        for (width, height) in [(8_001, 8_000), (20_001, 1), (65_535, 65_535), (0x7fff_ffff, 1)] {
            let refused = admit(&png(width, height), None).unwrap_err();
            assert!(matches!(refused, Unfit::TooManyPixels { .. } | Unfit::Unreadable(_)));
        }
        assert!(matches!(admit(PNG, None), Err(Unfit::Unreadable(_))));
        assert!(matches!(admit(&[0xff, 0xd8, 0xff, 0xe0], None), Err(Unfit::Unreadable(_))));
    }

    #[test]
    fn each_kind_has_its_own_longest() {
        let mut long = b"%PDF-1.7\n".to_vec();
        long.resize(24 * MIB as usize + 1, b' ');
        let refused = admit(&long, None).unwrap_err();
        assert!(matches!(refused, Unfit::TooLong { kind: "application/pdf", .. }), "{refused}");
        let longest = KINDS.iter().map(|kind| kind.bytes_max).max().unwrap();
        assert!(longest <= guyline_core::record::attachment::CONTENT_BYTES_MAX);
    }

    #[test]
    fn the_end_of_a_name_says_a_type_or_nothing() {
        assert_eq!(type_of_name("a.JPEG"), Some("image/jpeg"));
        assert_eq!(type_of_name("duplexer.s2p"), Some("text/x-touchstone"));
        assert_eq!(type_of_name("x.sp"), None);
        assert_eq!(type_of_name("README"), None);
    }
}
