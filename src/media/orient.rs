//! How the stored picture is turned and mirrored to be presented.

/// One of the eight ways to lay a picture on a screen at right angles.
///
/// Stored pixel `(x, y)` is presented at `(x, y)`, or at `(y, x)` when
/// `is_transposed`; then counted from the other side where flipped.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Orientation {
    is_transposed: bool,
    is_flipped_x: bool,
    is_flipped_y: bool,
}

/// Pixels of a tile edge when transposing: 64 rows of one cache line each stay
/// in the first-level cache.
const TILE_PX: usize = 64;

impl Orientation {
    /// From the matrix of a track header (ISO/IEC 14496-12, 8.3.2): `a b u, c d
    /// v, x y w`; stored `(p, q)` is presented at `(a p + c q + x, b p + d q + y)`.
    /// A turn that is no multiple of 90 degrees goes to the nearest that is; a
    /// matrix of zeros, which some writers leave, means as stored.
    pub(super) fn from_matrix(matrix: &[i32; 9]) -> Self {
        let [a, b, _, c, d, ..] = matrix.map(i64::from);
        if b.abs() + c.abs() > a.abs() + d.abs() {
            Self {
                is_transposed: true,
                is_flipped_x: c < 0,
                is_flipped_y: b < 0,
            }
        } else {
            Self {
                is_transposed: false,
                is_flipped_x: a < 0,
                is_flipped_y: d < 0,
            }
        }
    }

    /// From a clockwise turn of 0, 90, 180 or 270 degrees; `None` for others.
    pub(super) const fn from_degrees(clockwise: u16) -> Option<Self> {
        let (is_transposed, is_flipped_x, is_flipped_y) = match clockwise {
            0 => (false, false, false),
            90 => (true, true, false),
            180 => (false, true, true),
            270 => (true, false, true),
            _ => return None,
        };
        Some(Self {
            is_transposed,
            is_flipped_x,
            is_flipped_y,
        })
    }

    /// The track header matrix for stored pictures of this size, presented in
    /// the quadrant right and below of the origin.
    pub(super) fn to_matrix(self, width_px: u32, height_px: u32) -> [i32; 9] {
        const ONE: i32 = 1 << 16;
        let sign = |is_flipped: bool| if is_flipped { -ONE } else { ONE };
        let (sx, sy) = (sign(self.is_flipped_x), sign(self.is_flipped_y));
        let (width_px, height_px) = self.presented_size(width_px, height_px);
        let shift = |is_flipped: bool, length_px: u32| {
            if is_flipped {
                i32::try_from(length_px << 16).unwrap_or(i32::MAX)
            } else {
                0
            }
        };
        let (x, y) = (
            shift(self.is_flipped_x, width_px),
            shift(self.is_flipped_y, height_px),
        );
        if self.is_transposed {
            [0, sy, 0, sx, 0, 0, x, y, 1 << 30]
        } else {
            [sx, 0, 0, 0, sy, 0, x, y, 1 << 30]
        }
    }

    pub(super) const fn is_mirrored(self) -> bool {
        self.is_transposed ^ self.is_flipped_x ^ self.is_flipped_y
    }

    /// Clockwise turn in degrees, made after the left-right mirroring if there is one.
    pub(super) const fn clockwise_degrees(self) -> u16 {
        match (self.is_transposed, self.is_flipped_x, self.is_flipped_y) {
            (true, true, _) => 90,
            (true, false, _) => 270,
            (false, _, true) => 180,
            (false, _, false) => 0,
        }
    }

    /// Presented width and height of a stored picture.
    pub(super) const fn presented_size(self, width_px: u32, height_px: u32) -> (u32, u32) {
        if self.is_transposed {
            (height_px, width_px)
        } else {
            (width_px, height_px)
        }
    }

    /// The presented picture. `stored` holds `height_px` rows of `width_px` bytes.
    pub(super) fn present(self, mut stored: Vec<u8>, width_px: usize, height_px: usize) -> Vec<u8> {
        debug_assert_eq!(stored.len(), width_px * height_px);
        if !self.is_transposed {
            match (self.is_flipped_x, self.is_flipped_y) {
                (false, false) => {}
                (true, true) => stored.reverse(),
                (true, false) => stored.chunks_mut(width_px).for_each(<[u8]>::reverse),
                (false, true) => {
                    stored.reverse();
                    stored.chunks_mut(width_px).for_each(<[u8]>::reverse);
                }
            }
            return stored;
        }
        let mut presented = vec![0; stored.len()];
        for top in (0..height_px).step_by(TILE_PX) {
            let bottom = (top + TILE_PX).min(height_px);
            for left in (0..width_px).step_by(TILE_PX) {
                for x in left..(left + TILE_PX).min(width_px) {
                    let row = if self.is_flipped_y {
                        width_px - 1 - x
                    } else {
                        x
                    };
                    let row = &mut presented[row * height_px..(row + 1) * height_px];
                    let row = if self.is_flipped_x {
                        &mut row[height_px - bottom..height_px - top]
                    } else {
                        &mut row[top..bottom]
                    };
                    let column = stored[top * width_px + x..].iter().step_by(width_px);
                    if self.is_flipped_x {
                        row.iter_mut()
                            .rev()
                            .zip(column)
                            .for_each(|(to, from)| *to = *from);
                    } else {
                        row.iter_mut()
                            .zip(column)
                            .for_each(|(to, from)| *to = *from);
                    }
                }
            }
        }
        presented
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ONE: i32 = 65536;

    /// Matrices as phones and editors write them, with the turn they mean.
    const KNOWN: [([i32; 4], u16, bool); 8] = [
        ([ONE, 0, 0, ONE], 0, false),
        ([0, ONE, -ONE, 0], 90, false),
        ([-ONE, 0, 0, -ONE], 180, false),
        ([0, -ONE, ONE, 0], 270, false),
        ([-ONE, 0, 0, ONE], 0, true),
        ([0, -ONE, -ONE, 0], 90, true),
        ([ONE, 0, 0, -ONE], 180, true),
        ([0, ONE, ONE, 0], 270, true),
    ];

    fn from_parts([a, b, c, d]: [i32; 4]) -> Orientation {
        Orientation::from_matrix(&[a, b, 0, c, d, 0, 0, 0, 1 << 30])
    }

    #[test]
    fn matrices_mean_turns_and_mirrors() {
        for (parts, degrees, is_mirrored) in KNOWN {
            let orientation = from_parts(parts);
            assert_eq!(orientation.clockwise_degrees(), degrees, "{parts:?}");
            assert_eq!(orientation.is_mirrored(), is_mirrored, "{parts:?}");
        }
        assert_eq!(from_parts([0; 4]), Orientation::default());
        let two_degrees = [65496, 2287, -2287, 65496];
        assert_eq!(from_parts(two_degrees), Orientation::default());
    }

    /// Moves pixel by pixel as the matrix says; sizes straddle the tiles.
    #[test]
    fn presented_pixels_lie_where_the_matrix_puts_them() {
        for (parts, degrees, is_mirrored) in KNOWN {
            for (width, height) in [(1, 1), (3, 5), (64, 64), (130, 67), (67, 130)] {
                let stored: Vec<u8> = (0..width * height).map(|i| (i * 7 % 251) as u8).collect();
                let orientation = from_parts(parts);
                let (pw, ph) = orientation.presented_size(width as u32, height as u32);
                let got = orientation.present(stored.clone(), width, height);
                let [a, b, c, d] = parts.map(|v| i64::from(v / ONE));
                let side = |v: i64, length: u32| if v < 0 { v + i64::from(length) } else { v };
                for y in 0..height {
                    for x in 0..width {
                        // Pixel centres, doubled to stay whole, then back to corners.
                        let (p, q) = (2 * x as i64 + 1, 2 * y as i64 + 1);
                        let px = side((a * p + c * q - 1).div_euclid(2), pw);
                        let py = side((b * p + d * q - 1).div_euclid(2), ph);
                        let at = py as usize * pw as usize + px as usize;
                        assert_eq!(
                            got[at],
                            stored[y * width + x],
                            "{degrees} {is_mirrored} {width}x{height} {x},{y}"
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn a_matrix_that_is_written_reads_back() {
        for degrees in [0, 90, 180, 270] {
            let orientation = Orientation::from_degrees(degrees).unwrap();
            let matrix = orientation.to_matrix(640, 360);
            assert_eq!(Orientation::from_matrix(&matrix), orientation);
            assert_eq!(orientation.clockwise_degrees(), degrees);
        }
        assert_eq!(Orientation::from_degrees(45), None);
        // Turned clockwise by 90: the picture's height moves it back to the right of 0.
        let turned = Orientation::from_degrees(90).unwrap().to_matrix(640, 360);
        assert_eq!(turned, [0, ONE, 0, -ONE, 0, 0, 360 << 16, 0, 1 << 30]);
    }
}
