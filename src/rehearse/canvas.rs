//! A picture in linear light, and the few shapes that displays are drawn with.

/// Linear light, premultiplied: red, green, blue, cover. 1.0 is the white of a
/// screen at full brightness; emitters may go above.
pub type Light = [f32; 4];

pub const CLEAR: Light = [0.0; 4];

/// Linear light of an opaque sRGB colour (IEC 61966-2-1 transfer curve).
pub fn srgb(code: [u8; 3]) -> Light {
    let [r, g, b] = code.map(|c| srgb_to_linear(f32::from(c) / 255.0));
    [r, g, b, 1.0]
}

/// IEC 61966-2-1, code 0.0..=1.0 to light 0.0..=1.0.
pub fn srgb_to_linear(code: f32) -> f32 {
    if code <= 0.04045 {
        code / 12.92
    } else {
        ((code + 0.055) / 1.055).powf(2.4)
    }
}

/// IEC 61966-2-1, light 0.0..=1.0 to code 0.0..=1.0.
pub fn linear_to_srgb(light: f32) -> f32 {
    if light <= 0.003_130_8 {
        light * 12.92
    } else {
        1.055 * light.powf(1.0 / 2.4) - 0.055
    }
}

/// Scales a light, its cover excepted: dims or brightens it.
pub fn dimmed(light: Light, by: f32) -> Light {
    [light[0] * by, light[1] * by, light[2] * by, light[3]]
}

/// Linear blend, `share` 0.0 gives `a`, 1.0 gives `b`.
pub fn mix(a: Light, b: Light, share: f32) -> Light {
    std::array::from_fn(|i| a[i] + (b[i] - a[i]) * share)
}

/// How much of each pixel a shape covers, 0.0..=1.0, and where the shape lies
/// from its pen position (baseline, left).
#[derive(Clone, Debug)]
pub struct Mask {
    pub width_px: usize,
    pub height_px: usize,
    /// Pen position to the left edge of the mask; negative to the left.
    pub left_px: i32,
    /// Baseline to the top edge of the mask; negative above the baseline.
    pub top_px: i32,
    pub cover: Vec<f32>,
}

impl Mask {
    /// Cover of the pixel `x` right of the pen and `y` below the baseline; 0 beside the mask.
    pub fn cover_at(&self, x: i32, y: i32) -> f32 {
        let column = usize::try_from(x - self.left_px).ok();
        let row = usize::try_from(y - self.top_px).ok();
        match (column, row) {
            (Some(column), Some(row)) if column < self.width_px && row < self.height_px => {
                self.cover[row * self.width_px + column]
            }
            _ => 0.0,
        }
    }
}

/// Axis-aligned box in pixels, right and bottom excluded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Area {
    pub left: f32,
    pub top: f32,
    pub right: f32,
    pub bottom: f32,
}

impl Area {
    pub const fn new(left: f32, top: f32, right: f32, bottom: f32) -> Self {
        Self {
            left,
            top,
            right,
            bottom,
        }
    }

    pub fn width(&self) -> f32 {
        self.right - self.left
    }

    pub fn height(&self) -> f32 {
        self.bottom - self.top
    }

    /// Grown by `by_px` on all sides.
    pub fn grown(&self, by_px: f32) -> Self {
        Self::new(
            self.left - by_px,
            self.top - by_px,
            self.right + by_px,
            self.bottom + by_px,
        )
    }

    /// The smallest area that holds both.
    pub fn joined(&self, other: &Self) -> Self {
        Self::new(
            self.left.min(other.left),
            self.top.min(other.top),
            self.right.max(other.right),
            self.bottom.max(other.bottom),
        )
    }
}

/// A picture in linear light.
#[derive(Clone, Debug)]
pub struct Canvas {
    width_px: usize,
    height_px: usize,
    px: Vec<Light>,
}

impl Canvas {
    pub fn new(width_px: usize, height_px: usize, fill: Light) -> Self {
        Self {
            width_px,
            height_px,
            px: vec![fill; width_px * height_px],
        }
    }

    pub fn from_fn(
        width_px: usize,
        height_px: usize,
        mut f: impl FnMut(usize, usize) -> Light,
    ) -> Self {
        let mut px = Vec::with_capacity(width_px * height_px);
        for y in 0..height_px {
            for x in 0..width_px {
                px.push(f(x, y));
            }
        }
        Self {
            width_px,
            height_px,
            px,
        }
    }

    pub const fn width_px(&self) -> usize {
        self.width_px
    }

    pub const fn height_px(&self) -> usize {
        self.height_px
    }

    pub fn at(&self, x: usize, y: usize) -> Light {
        self.px[y * self.width_px + x]
    }

    fn over(&mut self, x: usize, y: usize, paint: Light, cover: f32) {
        let dst = &mut self.px[y * self.width_px + x];
        let keep = 1.0 - paint[3] * cover;
        for (d, p) in dst.iter_mut().zip(paint) {
            *d = *d * keep + p * cover;
        }
    }

    /// The pixels that an area touches, cut to the canvas.
    fn span(&self, area: &Area) -> (std::ops::Range<usize>, std::ops::Range<usize>) {
        let cut = |low: f32, high: f32, size: usize| {
            let low = low.floor().clamp(0.0, size as f32) as usize;
            let high = high.ceil().clamp(0.0, size as f32) as usize;
            low..high.max(low)
        };
        (
            cut(area.left, area.right, self.width_px),
            cut(area.top, area.bottom, self.height_px),
        )
    }

    /// Fills a box with rounded corners; `paint` is asked per pixel centre, so
    /// that gradients need no shape of their own.
    pub fn rounded_box(&mut self, area: Area, radius_px: f32, paint: impl Fn(f32, f32) -> Light) {
        let radius = radius_px.min(area.width() / 2.0).min(area.height() / 2.0);
        let (mx, my) = (
            (area.left + area.right) / 2.0,
            (area.top + area.bottom) / 2.0,
        );
        let (hx, hy) = (area.width() / 2.0 - radius, area.height() / 2.0 - radius);
        let (xs, ys) = self.span(&area.grown(1.0));
        for y in ys {
            for x in xs.clone() {
                let (px, py) = (x as f32 + 0.5, y as f32 + 0.5);
                let dx = ((px - mx).abs() - hx).max(0.0);
                let dy = ((py - my).abs() - hy).max(0.0);
                let inside = ((px - mx).abs() - hx).max((py - my).abs() - hy).min(0.0);
                let cover = (radius + 0.5 - dx.hypot(dy) - inside).clamp(0.0, 1.0);
                if cover > 0.0 {
                    self.over(x, y, paint(px, py), cover);
                }
            }
        }
    }

    /// Paints through a mask whose pen stands at (`x`, `y`).
    pub fn stamp(&mut self, mask: &Mask, x: i32, y: i32, paint: Light) {
        for row in 0..mask.height_px {
            let Ok(ty) = usize::try_from(y + mask.top_px + row as i32) else {
                continue;
            };
            if ty >= self.height_px {
                break;
            }
            for column in 0..mask.width_px {
                let cover = mask.cover[row * mask.width_px + column];
                if cover <= 0.0 {
                    continue;
                }
                match usize::try_from(x + mask.left_px + column as i32) {
                    Ok(tx) if tx < self.width_px => self.over(tx, ty, paint, cover),
                    _ => {}
                }
            }
        }
    }

    /// Adds light without covering what is there: glow.
    pub fn add(&mut self, other: &Self, by: f32) {
        for (a, b) in self.px.iter_mut().zip(&other.px) {
            for i in 0..3 {
                a[i] += b[i] * by;
            }
        }
    }

    /// A part of the canvas; what lies outside is clear.
    pub fn crop(&self, left: i32, top: i32, width_px: usize, height_px: usize) -> Self {
        Self::from_fn(width_px, height_px, |x, y| {
            match (
                usize::try_from(left + x as i32),
                usize::try_from(top + y as i32),
            ) {
                (Ok(x), Ok(y)) if x < self.width_px && y < self.height_px => self.at(x, y),
                _ => CLEAR,
            }
        })
    }

    /// Gaussian blur; the border repeats its outermost pixel.
    pub fn blurred(&self, sigma_px: f32) -> Self {
        if sigma_px < 0.2 || self.px.is_empty() {
            return self.clone();
        }
        let radius = (3.0 * sigma_px).ceil() as usize;
        let weights: Vec<f32> = (0..=2 * radius)
            .map(|i| (-0.5 * ((i as f32 - radius as f32) / sigma_px).powi(2)).exp())
            .collect();
        let sum: f32 = weights.iter().sum();
        let weights: Vec<f32> = weights.iter().map(|w| w / sum).collect();
        let pass = |src: &[Light], dst: &mut [Light], size: usize, step: usize, start: usize| {
            for i in 0..size {
                let mut total = CLEAR;
                for (k, w) in weights.iter().enumerate() {
                    let j = (i + k).saturating_sub(radius).min(size - 1);
                    let p = src[start + j * step];
                    for c in 0..4 {
                        total[c] += p[c] * w;
                    }
                }
                dst[start + i * step] = total;
            }
        };
        let mut across = self.px.clone();
        for y in 0..self.height_px {
            pass(&self.px, &mut across, self.width_px, 1, y * self.width_px);
        }
        let mut px = across.clone();
        for x in 0..self.width_px {
            pass(&across, &mut px, self.height_px, self.width_px, x);
        }
        Self { px, ..*self }
    }

    /// Bilinear sample at (`x`, `y`), pixel centres at .5; clear outside.
    #[inline]
    pub fn sample(&self, x: f32, y: f32) -> Light {
        let (x, y) = (x - 0.5, y - 0.5);
        // Written so that NaN falls outside.
        let is_inside =
            x > -1.0 && y > -1.0 && x < self.width_px as f32 && y < self.height_px as f32;
        if !is_inside {
            return CLEAR;
        }
        // Above -1, cutting after a shift by one is flooring, and much faster.
        let (x0, y0) = ((x + 1.0) as i32 - 1, (y + 1.0) as i32 - 1);
        let (fx, fy) = (x - x0 as f32, y - y0 as f32);
        let (x0, y0) = (x0 as isize, y0 as isize);
        if x0 >= 0 && y0 >= 0 && x0 + 1 < self.width_px as isize && y0 + 1 < self.height_px as isize
        {
            let i = y0 as usize * self.width_px + x0 as usize;
            let (top, bottom) = (&self.px[i..i + 2], &self.px[i + self.width_px..][..2]);
            return bilinear(top[0], top[1], bottom[0], bottom[1], fx, fy);
        }
        let get = |x: isize, y: isize| {
            if x < 0 || y < 0 || x >= self.width_px as isize || y >= self.height_px as isize {
                CLEAR
            } else {
                self.px[y as usize * self.width_px + x as usize]
            }
        };
        bilinear(
            get(x0, y0),
            get(x0 + 1, y0),
            get(x0, y0 + 1),
            get(x0 + 1, y0 + 1),
            fx,
            fy,
        )
    }

    /// Like [`Canvas::sample`], but the border goes on outside.
    #[inline]
    pub fn sample_clamped(&self, x: f32, y: f32) -> Light {
        // Half a thousandth inside the last centre keeps all four taps inside.
        let x = x.clamp(0.5, self.width_px as f32 - 0.5005);
        let y = y.clamp(0.5, self.height_px as f32 - 0.5005);
        self.sample(x, y)
    }
}

#[inline(always)]
fn bilinear(tl: Light, tr: Light, bl: Light, br: Light, fx: f32, fy: f32) -> Light {
    let mut out = CLEAR;
    for c in 0..4 {
        let top = tl[c] + (tr[c] - tl[c]) * fx;
        let bottom = bl[c] + (br[c] - bl[c]) * fx;
        out[c] = top + (bottom - top) * fy;
    }
    out
}
