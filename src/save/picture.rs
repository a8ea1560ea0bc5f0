//! Stage pictures: PNG files with a mark, so that a later run knows its own.

use super::{cannot_write, write};
use crate::error::{Error, ErrorKind, Result};
use image::RgbImage;
use std::io;
use std::path::Path;

/// Where the first chunk behind the image header says what it is, and what ours is: behind an 8-byte
/// signature, the header's 25 bytes and the chunk's own length (PNG specification, third edition,
/// 5.2, 5.3 and 11.2.1). `Software` is a keyword of the specification (11.3.3.1).
const MARK_AT: usize = 8 + 25 + 4;
const MARK: &[u8] = b"tEXtSoftware\0Rollmark";

/// Writes a stage picture as PNG to `file`, whose folders are made if missing.
/// Replaces an older stage picture.
///
/// # Errors
/// [`ErrorKind::WouldReplace`] if `file` holds anything but a picture that this
/// function wrote; [`ErrorKind::CannotWrite`] if writing fails.
pub fn picture(picture: &RgbImage, file: &Path) -> Result<()> {
    let png = encoded(picture).map_err(|e| cannot_write(file, io::Error::other(e)))?;
    let may_replace = |old: &[u8]| {
        let is_ours = old
            .get(MARK_AT..)
            .is_some_and(|rest| rest.starts_with(MARK));
        is_ours.then_some(()).ok_or_else(|| {
            Error::new(
                ErrorKind::WouldReplace,
                "this file is not a picture that Rollmark made",
            )
        })
    };
    write(file, &png, may_replace, || Ok(()))
}

fn encoded(picture: &RgbImage) -> std::result::Result<Vec<u8>, png::EncodingError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, picture.width(), picture.height());
    encoder.set_color(png::ColorType::Rgb);
    encoder.add_text_chunk("Software".into(), "Rollmark".into())?;
    let mut writer = encoder.write_header()?;
    writer.write_image_data(picture.as_raw())?;
    writer.finish()?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn small_picture(grey: u8) -> RgbImage {
        RgbImage::from_pixel(3, 2, image::Rgb([grey; 3]))
    }

    #[test]
    fn our_picture_is_a_png_that_others_open_and_that_we_may_replace() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("1-candidates.png");
        picture(&small_picture(10), &file).unwrap();
        picture(&small_picture(200), &file).unwrap();
        // The decoder checks the CRC of every chunk, ours too.
        let back = image::open(&file).unwrap().into_rgb8();
        assert_eq!(back, small_picture(200));
    }

    #[test]
    fn a_picture_of_another_program_is_kept() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("1-candidates.png");
        small_picture(10).save(&file).unwrap();
        let before = fs::read(&file).unwrap();
        let error = picture(&small_picture(200), &file).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::WouldReplace);
        assert_eq!(fs::read(&file).unwrap(), before);
    }
}
