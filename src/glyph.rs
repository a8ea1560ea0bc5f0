//! What stood at one digit place of a display, as a small picture: what a reader that knows many
//! fonts is in doubt of, the digits of the same clock may tell.

use std::fmt;

/// Size of a [`Glyph`], px.
const WIDTH: usize = 20;
const HEIGHT: usize = 28;
/// Px by which two glyphs are shifted against each other, at most, along and across the line. Further
/// along, what is left of a 0 whose other half is hidden is a 1.
const SHIFT_X: usize = 2;
const SHIFT_Y: usize = 2;
/// What is left of a glyph whichever way it is shifted.
const INNER: usize = (WIDTH - 2 * SHIFT_X) * (HEIGHT - 2 * SHIFT_Y);
/// Shapes less apart than this (one less their correlation) are as good as one.
const LEAST_APART: f32 = 0.02;

/// Luma around one digit place, upright, however the display lay in the frame: 20 px for six fifths
/// of the step to the next place, and 28 px for seven fifths of a digit's height.
#[derive(Clone, PartialEq)]
pub struct Glyph(Box<[u8; WIDTH * HEIGHT]>);

impl Glyph {
    /// Asks for each pixel; `at` takes shares of the width and the height.
    pub fn from_fn(at: impl Fn(f32, f32) -> u8) -> Self {
        let share = |i: usize, of: usize| (i as f32 + 0.5) / of as f32;
        Self(Box::new(std::array::from_fn(|i| {
            at(share(i % WIDTH, WIDTH), share(i / WIDTH, HEIGHT))
        })))
    }
}

impl fmt::Debug for Glyph {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Glyph")
    }
}

/// The mean of glyphs that show one character, each with brightness and contrast evened out.
#[derive(Clone, Debug, Default)]
pub struct Shape {
    sum: Vec<f32>,
    /// Glyphs that it is made of.
    pub looks: usize,
}

/// How one shape lies between two others, at the shift at which it is most like one of them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Between {
    /// Correlation with the first, -1..=1.
    pub likeness: f32,
    /// 1 where it is the first, -1 where it is the second, 0 half way from one to the other.
    pub nearness: f32,
}

impl Shape {
    pub fn add(&mut self, glyph: &Glyph) {
        self.sum.resize(WIDTH * HEIGHT, 0.0);
        let luma: Vec<f32> = glyph.0.iter().map(|&v| f32::from(v)).collect();
        for (sum, value) in self.sum.iter_mut().zip(evened(luma)) {
            *sum += value;
        }
        self.looks += 1;
    }

    /// Correlation with another shape, -1..=1, at the shift at which they are most alike.
    ///
    /// # Panics
    /// If one of the two is made of no glyph.
    pub fn likeness(&self, other: &Self) -> f32 {
        let own = self.inner(SHIFT_X, SHIFT_Y);
        let at = |(x, y)| correlation(&own, &other.inner(x, y));
        shifts().map(at).fold(f32::MIN, f32::max)
    }

    /// Where this shape lies between `one` and `other`.
    ///
    /// # Panics
    /// If any of the three is made of no glyph.
    pub fn between(&self, one: &Self, other: &Self) -> Between {
        let own = self.inner(SHIFT_X, SHIFT_Y);
        let (mut most, mut found) = (f32::MIN, None);
        for (x, y) in shifts() {
            let (a, b) = (one.inner(x, y), other.inner(x, y));
            let like = (correlation(&own, &a), correlation(&own, &b));
            if like.0.max(like.1) > most {
                most = like.0.max(like.1);
                found = Some((like, correlation(&a, &b)));
            }
        }
        let ((to_one, to_other), of_both) = found.expect("there is a shift");
        Between {
            likeness: to_one,
            nearness: (to_one - to_other) / (1.0 - of_both).max(LEAST_APART),
        }
    }

    /// What lies `x` and `y` px from the upper left corner on, evened out.
    fn inner(&self, x: usize, y: usize) -> Vec<f32> {
        let rows = self.sum.chunks_exact(WIDTH).skip(y);
        let values = rows
            .take(HEIGHT - 2 * SHIFT_Y)
            .flat_map(|row| &row[x..x + WIDTH - 2 * SHIFT_X]);
        evened(values.map(|sum| sum / self.looks as f32).collect())
    }
}

/// Where the upper left corner of what is compared may lie, px.
fn shifts() -> impl Iterator<Item = (usize, usize)> {
    (0..=2 * SHIFT_Y).flat_map(|y| (0..=2 * SHIFT_X).map(move |x| (x, y)))
}

/// Mean 0 and deviation 1; all 0 if they are all the same.
fn evened(mut values: Vec<f32>) -> Vec<f32> {
    let n = values.len() as f32;
    let mean = values.iter().sum::<f32>() / n;
    let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f32>() / n;
    let scale = 1.0 / variance.sqrt().max(1e-6);
    values.iter_mut().for_each(|v| *v = (*v - mean) * scale);
    values
}

fn correlation(a: &[f32], b: &[f32]) -> f32 {
    a.iter().zip(b).map(|(a, b)| a * b).sum::<f32>() / INNER as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A ring, or a bar down its middle, moved by some px, in some light.
    fn drawn(is_ring: bool, (right, down): (f32, f32), (dark, bright): (u8, u8)) -> Glyph {
        Glyph::from_fn(|x, y| {
            let (x, y) = (x * 20.0 - 10.0 - right, y * 28.0 - 14.0 - down);
            let inside =
                |half_width: f32, half_height: f32| x.abs() < half_width && y.abs() < half_height;
            match is_ring {
                true if inside(5.0, 9.0) && !inside(2.0, 6.0) => bright,
                false if inside(1.5, 9.0) => bright,
                _ => dark,
            }
        })
    }

    fn shape(glyphs: &[Glyph]) -> Shape {
        let mut shape = Shape::default();
        glyphs.iter().for_each(|glyph| shape.add(glyph));
        shape
    }

    #[test]
    fn a_shape_is_known_again_in_other_light_and_some_px_away() {
        let (ring, bar) = (
            shape(&[drawn(true, (0.0, 0.0), (10, 200))]),
            shape(&[drawn(false, (0.0, 0.0), (10, 200))]),
        );
        for moved in [(0.0, 0.0), (2.0, -1.0), (-2.0, 2.0)] {
            for light in [(10, 200), (60, 90)] {
                let again = shape(&[drawn(true, moved, light)]);
                let found = again.between(&ring, &bar);
                assert!(found.likeness > 0.95 && found.nearness > 0.9, "{found:?}");
                assert!(again.likeness(&ring) > 0.95 && again.likeness(&bar) < 0.6);
                let swapped = again.between(&bar, &ring);
                assert!(
                    (found.nearness + swapped.nearness).abs() < 1e-5,
                    "{swapped:?}"
                );
            }
        }
    }

    #[test]
    fn a_shape_half_way_between_two_is_near_neither_and_an_even_place_is_like_none() {
        let [ring, bar] = [true, false].map(|is_ring| drawn(is_ring, (0.0, 0.0), (10, 200)));
        let both = shape(&[ring.clone(), bar.clone()]);
        let (ring, bar) = (shape(&[ring]), shape(&[bar]));
        assert!(both.between(&ring, &bar).nearness.abs() < 0.2);
        let even = shape(&[Glyph::from_fn(|_, _| 30)]);
        assert!(even.between(&ring, &bar).likeness.abs() < 1e-5);
    }
}
