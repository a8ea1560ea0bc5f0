//! A seven-segment display drawn as rectangles, as raw grey frames for FFmpeg.

/// Segments in the usual order, a at the top, clockwise, g in the middle:
/// left, top, right, bottom in a cell of 26 by 48 units.
const BARS: [[usize; 4]; 7] = [
    [4, 0, 22, 4],
    [22, 4, 26, 22],
    [22, 26, 26, 44],
    [4, 44, 22, 48],
    [0, 26, 4, 44],
    [0, 4, 4, 22],
    [4, 22, 22, 26],
];

/// Lit segments of each digit, bit 0 for a.
const USUAL: [u8; 10] = [
    0b011_1111, 0b000_0110, 0b101_1011, 0b100_1111, 0b110_0110, 0b110_1101, 0b111_1101, 0b000_0111,
    0b111_1111, 0b110_1111,
];

/// 6 without its top, 7 with a hook, 9 without its tail, as some makers have them.
const UNUSUAL: [u8; 10] = {
    let mut shapes = USUAL;
    shapes[6] = 0b111_1100;
    shapes[7] = 0b010_0111;
    shapes[9] = 0b110_0111;
    shapes
};

/// Brightness of a lit and of a dark segment and of the case.
const LIT: u8 = 230;
const DARK: u8 = 14;
const CASE: u8 = 6;

/// A display of `HH:MM:SS:FF`, eight digits with colons.
#[derive(Clone, Copy)]
pub struct Display {
    /// Pixels per unit: digits are 48 units high, the picture is 320 by 90.
    pub scale: usize,
    pub has_unusual_shapes: bool,
}

impl Display {
    pub const fn width(self) -> usize {
        320 * self.scale
    }

    pub const fn height(self) -> usize {
        90 * self.scale
    }

    /// One frame. `lit[i]` is false where digit `i` has no power.
    pub fn frame(self, digits: [u8; 8], lit: [bool; 8]) -> Vec<u8> {
        let mut pixels = vec![CASE; self.width() * self.height()];
        let shapes = if self.has_unusual_shapes {
            UNUSUAL
        } else {
            USUAL
        };
        let (mut x, y) = (14, 20);
        for (place, (&digit, &has_power)) in digits.iter().zip(&lit).enumerate() {
            for (bit, &[left, top, right, bottom]) in BARS.iter().enumerate() {
                let is_on = has_power && shapes[usize::from(digit)] >> bit & 1 == 1;
                let level = if is_on { LIT } else { DARK };
                self.fill(
                    &mut pixels,
                    [x + left, y + top, x + right, y + bottom],
                    level,
                );
            }
            x += 32;
            if matches!(place, 1 | 3 | 5) {
                for dot in [14, 32] {
                    self.fill(&mut pixels, [x + 1, y + dot, x + 5, y + dot + 4], LIT);
                }
                x += 10;
            }
        }
        pixels
    }

    fn fill(self, pixels: &mut [u8], [left, top, right, bottom]: [usize; 4], level: u8) {
        for row in top * self.scale..bottom * self.scale {
            let start = row * self.width();
            pixels[start + left * self.scale..start + right * self.scale].fill(level);
        }
    }
}

/// The digits of a 25-count clock `count` after midnight.
pub fn digits_at_25(count: u32) -> [u8; 8] {
    let seconds = count / 25;
    let fields = [seconds / 3600, seconds / 60 % 60, seconds % 60, count % 25];
    let mut digits = [0; 8];
    for (pair, field) in digits.chunks_exact_mut(2).zip(fields) {
        pair.copy_from_slice(&[(field / 10) as u8, (field % 10) as u8]);
    }
    digits
}
