//! What lens and sensor do to a whole picture of light: stray light, and the mosaic of
//! colour filters.

use super::canvas::{Canvas, Light};

/// Pixels of the picture per pixel of the halo, which is smooth.
const HALO_STEP: usize = 8;
/// Standard deviations of the halo in shares of the picture's width, and what part of the
/// stray light each has: a tight one from the sensor's cover glass, a wide one from the
/// lens. Measured lenses have long tails of about this kind; the figures are from memory.
const HALOS: [(f32, f32); 2] = [(0.01, 0.65), (0.06, 0.35)];

/// Scatters `share` of all light around where it fell; the sum stays, but for what leaves
/// the picture.
pub fn bloom(light: &mut [Light], width_px: usize, share: f32) {
    if share <= 0.0 || light.is_empty() {
        return;
    }
    let height_px = light.len() / width_px;
    let (w, h) = (width_px.div_ceil(HALO_STEP), height_px.div_ceil(HALO_STEP));
    let small = Canvas::from_fn(w, h, |bx, by| {
        let xs = bx * HALO_STEP..((bx + 1) * HALO_STEP).min(width_px);
        let ys = by * HALO_STEP..((by + 1) * HALO_STEP).min(height_px);
        let count = (xs.len() * ys.len()) as f32;
        let mut sum = [0.0; 4];
        for y in ys {
            for part in &light[y * width_px..][xs.clone()] {
                for c in 0..3 {
                    sum[c] += part[c] / count;
                }
            }
        }
        sum
    });
    let mut halo = Canvas::new(w, h, [0.0; 4]);
    for (reach, part) in HALOS {
        halo.add(
            &small.blurred(reach * width_px as f32 / HALO_STEP as f32),
            part,
        );
    }
    let step = HALO_STEP as f32;
    for (y, row) in light.chunks_exact_mut(width_px).enumerate() {
        for (x, light) in row.iter_mut().enumerate() {
            let around = halo.sample_clamped((x as f32 + 0.5) / step, (y as f32 + 0.5) / step);
            for c in 0..3 {
                light[c] += (around[c] - light[c]) * share;
            }
        }
    }
}

/// What a sensor with one colour filter per pixel (red, green over green, blue) makes of the
/// light: each colour is measured on its own grid, and the others in between are the means
/// of their neighbours. What is finer than a grid comes back as stripes of wrong colours.
pub fn mosaic(light: &mut Vec<Light>, width_px: usize) {
    let height_px = light.len() / width_px.max(1);
    if width_px < 2 || height_px < 2 {
        return;
    }
    let colour_at = |x: usize, y: usize| (x & 1) + (y & 1);
    let out = (0..light.len())
        .map(|i| {
            let (x, y) = (i % width_px, i / width_px);
            let mut sum = [0.0f32; 3];
            let mut count = [0.0f32; 3];
            for ny in y.saturating_sub(1)..=(y + 1).min(height_px - 1) {
                for nx in x.saturating_sub(1)..=(x + 1).min(width_px - 1) {
                    let c = colour_at(nx, ny);
                    // The pixel's own colour is measured, not averaged.
                    let is_here = nx == x && ny == y;
                    if c == colour_at(x, y) && !is_here {
                        continue;
                    }
                    sum[c] += light[ny * width_px + nx][c];
                    count[c] += 1.0;
                }
            }
            let mut out = light[i];
            for c in 0..3 {
                if count[c] > 0.0 {
                    out[c] = sum[c] / count[c];
                }
            }
            out
        })
        .collect();
    *light = out;
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    const W: usize = 400;
    const H: usize = 240;

    fn lamp() -> Vec<Light> {
        let mut light = vec![[0.0, 0.0, 0.0, 1.0]; W * H];
        for y in 116..124 {
            for x in 196..204 {
                light[y * W + x] = [50.0, 50.0, 50.0, 1.0];
            }
        }
        light
    }

    #[test]
    fn stray_light_spreads_and_is_not_made() {
        let (before, mut after) = (lamp(), lamp());
        bloom(&mut after, W, 0.2);
        let sum = |light: &[Light]| light.iter().map(|l| f64::from(l[0])).sum::<f64>();
        assert_relative_eq!(sum(&after), sum(&before), max_relative = 0.01);
        let at = |x: usize| after[120 * W + x][0];
        // Four fifths stay, and the halo falls off to the sides.
        assert!((40.0..42.0).contains(&at(200)), "{}", at(200));
        assert!(at(206) > 5.0 * at(220) && at(220) > at(260) && at(260) > 0.0);
    }

    #[test]
    fn even_light_is_not_touched() {
        let grey = vec![[0.3, 0.5, 0.7, 1.0]; W * H];
        let mut after = grey.clone();
        bloom(&mut after, W, 0.3);
        mosaic(&mut after, W);
        for (a, b) in after.iter().zip(&grey) {
            for c in 0..4 {
                assert_relative_eq!(a[c], b[c], epsilon = 1e-4);
            }
        }
    }

    /// Columns that alternate between dark and bright fall on red one way and on blue the
    /// other: grey comes out in colour.
    #[test]
    fn the_finest_stripes_come_out_in_colour() {
        let mut light: Vec<Light> = (0..W * H)
            .map(|i| {
                let l = if i % 2 == 0 { 0.8 } else { 0.2 };
                [l, l, l, 1.0]
            })
            .collect();
        mosaic(&mut light, W);
        for y in 10..H - 10 {
            for x in 10..W - 10 {
                let [r, g, b, _] = light[y * W + x];
                assert_relative_eq!(r, 0.8, epsilon = 1e-5);
                assert_relative_eq!(b, 0.2, epsilon = 1e-5);
                assert!((0.19..0.81).contains(&g));
            }
        }
    }
}
