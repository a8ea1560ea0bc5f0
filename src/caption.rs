//! Words in pictures: bitmaps of 8 x 8 pixels, so that no font has to be installed to look at
//! one.

use font8x8::UnicodeFonts;
use image::{Rgb, RgbImage};

/// Edge of a letter at scale 1, px.
pub(crate) const FONT_PX: u32 = 8;

/// Writes a line with its upper left corner at `x`, `y`, `scale` pixels to each of the font's.
/// What does not fit into the picture is left out.
pub(crate) fn text(
    picture: &mut RgbImage,
    x: u32,
    y: u32,
    scale: u32,
    what: &str,
    colour: Rgb<u8>,
) {
    for (at, letter) in (0u32..).zip(what.chars()) {
        let glyph = font8x8::BASIC_FONTS.get(letter).unwrap_or([0x7E; 8]);
        let x = x + at * FONT_PX * scale;
        for (px, py) in
            (0..FONT_PX * scale).flat_map(|py| (0..FONT_PX * scale).map(move |px| (px, py)))
        {
            let is_ink = glyph[(py / scale) as usize] >> (px / scale) & 1 == 1;
            if is_ink && x + px < picture.width() && y + py < picture.height() {
                picture.put_pixel(x + px, y + py, colour);
            }
        }
    }
}
