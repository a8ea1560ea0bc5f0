//! One luma picture at halved sizes.

use super::cells::Cells;
use crate::error::Result;
use crate::wide::widely;
use image::GrayImage;
use std::cell::OnceCell;

/// Luma at full size (level 0), half, quarter, ... down to 96 px.
/// Each level is the mean of 2 x 2 pixels of the one above, made when it is first asked for:
/// where a display is followed, most never are.
pub struct Pyramid {
    full: GrayImage,
    halved: Vec<OnceCell<GrayImage>>,
    /// What the finder says of each level, whole: a coarse look goes over those of a broad one.
    cells: Vec<OnceCell<Cells>>,
}

impl Pyramid {
    /// No level has a longer side below this.
    const SMALLEST_PX: u32 = 96;

    pub fn new(luma: GrayImage) -> Self {
        let (mut w, mut h) = luma.dimensions();
        let mut halved = Vec::new();
        while w.max(h) >= 2 * Self::SMALLEST_PX && w.min(h) >= 4 {
            halved.push(OnceCell::new());
            (w, h) = (w / 2, h / 2);
        }
        let cells = (0..=halved.len()).map(|_| OnceCell::new()).collect();
        Self {
            full: luma,
            halved,
            cells,
        }
    }

    /// What the finder says of a level, by `look` if nobody asked before.
    pub(super) fn cells(
        &self,
        level: usize,
        look: impl FnOnce(&GrayImage) -> Result<Cells>,
    ) -> Result<&Cells> {
        let level = level.min(self.halved.len());
        if self.cells[level].get().is_none() {
            let _ = self.cells[level].set(look(self.level(level).0)?);
        }
        Ok(self.cells[level].get().expect("it was set"))
    }

    /// The picture reduced `2^level` times; the smallest one if there is no such level.
    pub fn level(&self, level: usize) -> (&GrayImage, f32) {
        let level = level.min(self.halved.len());
        let mut picture = &self.full;
        for halved in &self.halved[..level] {
            picture = halved.get_or_init(|| halve(picture));
        }
        (picture, (1u32 << level) as f32)
    }

    pub fn depth(&self) -> usize {
        self.halved.len() + 1
    }

    pub fn into_full(self) -> GrayImage {
        self.full
    }

    /// The full picture.
    pub fn full(&self) -> &GrayImage {
        &self.full
    }

    /// The level at which something `height_px` tall in the full picture is between
    /// `wanted_px` and twice that, or the nearest there is.
    pub fn level_for(&self, height_px: f32, wanted_px: f32) -> usize {
        let level = (height_px / wanted_px).log2().floor().max(0.0) as usize;
        level.min(self.halved.len())
    }
}

fn halve(image: &GrayImage) -> GrayImage {
    let (w, h) = (image.width() as usize / 2, image.height() as usize / 2);
    let stride = image.width() as usize;
    let src = image.as_raw();
    let mut out = vec![0u8; w * h];
    for (y, row) in out.chunks_exact_mut(w).enumerate() {
        let upper = &src[2 * y * stride..][..2 * w];
        let lower = &src[(2 * y + 1) * stride..][..2 * w];
        widely(|| halve_row(row, upper, lower));
    }
    GrayImage::from_raw(w as u32, h as u32, out).expect("sizes agree by construction")
}

/// The mean of each two pixels of `upper` and the two below.
#[inline(always)]
fn halve_row(row: &mut [u8], upper: &[u8], lower: &[u8]) {
    for ((px, a), b) in row
        .iter_mut()
        .zip(upper.as_chunks::<2>().0)
        .zip(lower.as_chunks::<2>().0)
    {
        // Two neighbours as one number: compilers do this for many pixels at once.
        let (a, b) = (u16::from_le_bytes(*a), u16::from_le_bytes(*b));
        let sum = (a & 0xff) + (a >> 8) + (b & 0xff) + (b >> 8);
        *px = ((sum + 2) >> 2) as u8;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_level_is_the_mean_of_four() {
        let luma = GrayImage::from_fn(400, 300, |x, y| image::Luma([((x + 2 * y) % 256) as u8]));
        let pyramid = Pyramid::new(luma.clone());
        let (half, factor) = pyramid.level(1);
        assert_eq!((half.width(), half.height(), factor), (200, 150, 2.0));
        let mean = (0..2)
            .flat_map(|dy| (0..2).map(move |dx| (dx, dy)))
            .map(|(dx, dy)| u16::from(luma.get_pixel(20 + dx, 40 + dy)[0]))
            .sum::<u16>();
        assert_eq!(u16::from(half.get_pixel(10, 20)[0]), (mean + 2) / 4);
    }

    #[test]
    fn the_level_fits_the_digit_height() {
        let pyramid = Pyramid::new(GrayImage::new(1920, 1080));
        assert_eq!(pyramid.level_for(12.0, 10.0), 0);
        assert_eq!(pyramid.level_for(45.0, 10.0), 2);
        assert_eq!(pyramid.level_for(5000.0, 10.0), pyramid.depth() - 1);
    }
}
