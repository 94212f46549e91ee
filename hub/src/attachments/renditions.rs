//! Photographs made smaller, to look at and to print: upright, without anything beside the picture.
//!
//! In: checked content. Out: a JPEG of at most so many pixels a side, the same bytes each time, so
//! that a report can be made again. The last ones are kept in memory, up to a bound; nothing of
//! this is on disk.

use std::io::Cursor;
use std::sync::{Arc, Mutex, PoisonError};

use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits};

use super::{AttachmentError, ContentHash, Contents, Unfit, limits};

/// The longest side of one among others on a screen, in pixels.
pub const SMALL: u32 = 400;
/// The longest side of one in a report, in pixels: about 200 to the inch in half a sheet's width.
pub const PRINTED: u32 = 1_000;
/// How much of a JPEG's detail is kept, of 100.
const QUALITY: u8 = 82;
/// The most bytes of renditions kept in memory.
const KEPT_BYTES_MAX: usize = 32 * 1024 * 1024;

/// A content, how wide it was made, and its bytes.
type Rendition = (ContentHash, u32, Arc<Vec<u8>>);

/// The last renditions, oldest first, and the turn to draw one: a large photograph is half a
/// gigabyte while it is drawn, so that only one is at a time.
#[derive(Debug, Default)]
pub(super) struct Kept {
    made: Mutex<Vec<Rendition>>,
    turn: Mutex<()>,
}

impl Kept {
    fn find(&self, hash: ContentHash, side: u32) -> Option<Arc<Vec<u8>>> {
        let kept = self.made.lock().unwrap_or_else(PoisonError::into_inner);
        let found = kept.iter().find(|(of, at, _)| *of == hash && *at == side);
        found.map(|(_, _, bytes)| bytes.clone())
    }

    fn keep(&self, hash: ContentHash, side: u32, bytes: Arc<Vec<u8>>) {
        let mut kept = self.made.lock().unwrap_or_else(PoisonError::into_inner);
        kept.push((hash, side, bytes));
        while kept.iter().map(|(_, _, bytes)| bytes.len()).sum::<usize>() > KEPT_BYTES_MAX {
            kept.remove(0);
        }
    }
}

impl Contents {
    /// A photograph made smaller, as JPEG. What is no image is refused.
    pub fn smaller(&self, hash: ContentHash, side: u32) -> Result<Arc<Vec<u8>>, AttachmentError> {
        if let Some(kept) = self.kept.find(hash, side) {
            return Ok(kept);
        }
        let _turn = self.kept.turn.lock().unwrap_or_else(PoisonError::into_inner);
        // Somebody else's turn may have made it meanwhile.
        if let Some(kept) = self.kept.find(hash, side) {
            return Ok(kept);
        }
        let bytes = self.read(hash)?;
        let format = limits::recognise(&bytes).and_then(|kind| kind.image).ok_or(Unfit::Unknown)?;
        let made = Arc::new(smaller(&bytes, format, side)?);
        self.kept.keep(hash, side, made.clone());
        Ok(made)
    }
}

/// Draws an image upright and no larger than so many pixels a side.
fn smaller(bytes: &[u8], format: ImageFormat, side: u32) -> Result<Vec<u8>, Unfit> {
    limits::drawable(bytes, format)?;
    let unreadable = |error: image::ImageError| Unfit::Unreadable(error.to_string());
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    let mut bounds = Limits::default();
    bounds.max_alloc = Some(limits::PIXELS_MAX * 8);
    reader.limits(bounds);
    let mut decoder = reader.into_decoder().map_err(unreadable)?;
    let upright = decoder.orientation().map_err(unreadable)?;
    let mut image = DynamicImage::from_decoder(decoder).map_err(unreadable)?;
    // Small first: turning costs by the pixel.
    if image.width().max(image.height()) > side {
        image = image.thumbnail(side, side);
    }
    image.apply_orientation(upright);
    let mut out = Vec::new();
    let encoder = JpegEncoder::new_with_quality(&mut out, QUALITY);
    on_white(&image).write_with_encoder(encoder).map_err(unreadable)?;
    Ok(out)
}

/// Without see-through: a JPEG has none, and black would stand where a screen showed white.
fn on_white(image: &DynamicImage) -> DynamicImage {
    if !image.color().has_alpha() {
        return DynamicImage::from(image.to_rgb8());
    }
    let mut seen = image.to_rgba8();
    for pixel in seen.pixels_mut() {
        let [r, g, b, a] = pixel.0.map(u32::from);
        let on = |value: u32| ((value * a + 255 * (255 - a)) / 255) as u8;
        pixel.0 = [on(r), on(g), on(b), 255];
    }
    DynamicImage::from(DynamicImage::from(seen).to_rgb8())
}

#[cfg(test)]
mod tests {
    use image::{Rgba, RgbaImage};

    use super::*;

    fn encoded(image: RgbaImage, format: ImageFormat) -> Vec<u8> {
        let mut bytes = Vec::new();
        let image = DynamicImage::from(image);
        let image = match format {
            ImageFormat::Jpeg => DynamicImage::from(image.to_rgb8()),
            _ => image,
        };
        image.write_to(&mut Cursor::new(&mut bytes), format).unwrap();
        bytes
    }

    #[test]
    fn a_photograph_is_made_smaller_keeps_its_shape_and_is_the_same_each_time() {
        let folder = tempfile::tempdir().unwrap();
        let contents = Contents::beside(folder.path());
        let large = RgbaImage::from_pixel(900, 300, Rgba([200, 30, 30, 255]));
        let hash = contents.put(&encoded(large, ImageFormat::Jpeg)).unwrap();
        let small = contents.smaller(hash, 90).unwrap();
        let seen = image::load_from_memory(&small).unwrap();
        assert_eq!((seen.width(), seen.height()), (90, 30));
        assert_eq!(contents.smaller(hash, 90).unwrap(), small);
        let again = Contents::beside(folder.path()).smaller(hash, 90).unwrap();
        assert_eq!(again, small, "a report can be made again");
    }

    #[test]
    fn what_is_see_through_is_white_and_what_is_no_image_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let contents = Contents::beside(folder.path());
        let clear = RgbaImage::from_pixel(4, 4, Rgba([0, 0, 0, 0]));
        let hash = contents.put(&encoded(clear, ImageFormat::Png)).unwrap();
        let seen = image::load_from_memory(&contents.smaller(hash, 400).unwrap()).unwrap();
        assert!(seen.to_rgb8().pixels().all(|pixel| pixel.0.iter().all(|value| *value > 250)));
        let paper = contents.put(b"%PDF-1.7\n").unwrap();
        assert!(contents.smaller(paper, 400).is_err());
        let broken = contents.put(&[0xff, 0xd8, 0xff, 0xe0, 0]).unwrap();
        assert!(contents.smaller(broken, 400).is_err());
    }
}
