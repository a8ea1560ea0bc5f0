//! What the finder network says of one picture, cell by cell.
//!
//! The network marks the middle band of every line of digits, cell by cell (4 px of the
//! picture), and tells for each cell the reading direction, the way up, the digit height
//! and how far the line's middle is.
//!
//! A picture is looked at whole, or only in windows around places that a look at half its
//! size hints at: most of most pictures holds no digits, and looking costs by the pixel.

use super::net::Net;
use crate::error::Result;
use crate::geometry::{Point, Quad};
use image::GrayImage;
use ndarray::Array4;
use std::ops::Range;

/// Px per cell of the network's output.
pub(super) const CELL_PX: f32 = 4.0;
/// Side of the blocks of pixels that are planes of the network's input.
pub(super) const BLOCK_PX: usize = 4;
/// Sides of the network's input are multiples of this.
const SIDE_STEP: usize = 32;
/// A line grows from its surest cells over neighbours at least this sure (about 0.27): faint
/// stretches would split it otherwise.
const GROW_LOGIT: f32 = -1.0;
/// Cells above this (about 0.05) hint at digits half as high as the network can see. Of 1,792
/// simulated and drawn frames 1,680 are read at -4 and 1,679 at -3, and ten minutes without a clock
/// take 16.0 and 13.8 s.
const HINT_LOGIT: f32 = -3.0;
/// Side of a window, px; a multiple of `SIDE_STEP`. Hints are scattered: larger windows hold more
/// that nobody asked for (256 px: 39 ms instead of 29).
const WINDOW_PX: u32 = 128;
/// Side of a window in cells.
const WINDOW: usize = WINDOW_PX as usize / CELL_PX as usize;
/// Cells at each side of a window that are only there for the others to be seen whole.
const WINDOW_EDGE: usize = 4;
/// Side of what a window answers for, in cells.
const INNER: usize = WINDOW - 2 * WINDOW_EDGE;

/// One cell of the finder's answer, in pixels of the picture.
#[derive(Clone, Copy)]
pub(super) struct Cell {
    pub(super) at: Point,
    pub(super) logit: f32,
    pub(super) ahead: Point,
    pub(super) up: Point,
    pub(super) height_px: f32,
    /// A point of the line's middle, from this cell.
    pub(super) middle: Point,
}

/// What the finder says of one picture.
pub(super) struct Cells {
    rows: usize,
    pub(super) columns: usize,
    /// Row by row, those that a line may hold.
    pub(super) cells: Vec<Option<Cell>>,
    /// Cells in which there may be digits that are too small to be seen in this size.
    hints: Vec<Place>,
    /// Those that were looked at.
    is_seen: Vec<bool>,
}

/// Row and column of a cell.
type Place = (usize, usize);

impl Cells {
    /// Of the whole picture.
    pub(super) fn of(net: &dyn Net, image: &GrayImage) -> Result<Self> {
        let (w, h) = (image.width() as usize, image.height() as usize);
        let (pw, ph) = (w.next_multiple_of(SIDE_STEP), h.next_multiple_of(SIDE_STEP));
        let planes = net.run(blocks_of(image.as_raw(), w, (pw, ph)))?;
        let mut whole = Self::unseen(image);
        whole.take(&planes, (0, 0), (0..whole.rows, 0..whole.columns));
        Ok(whole)
    }

    /// Of windows of the picture around places that a look at half its size, `smaller`,
    /// hints at and in which no line of `known` lies (px of this picture).
    pub(super) fn hinted_at(
        net: &dyn Net,
        image: &GrayImage,
        smaller: &Self,
        known: &[Quad],
    ) -> Result<Self> {
        let mut seen = Self::unseen(image);
        let (rows, columns) = (seen.rows, seen.columns);
        if rows < WINDOW || columns < WINDOW {
            return Self::of(net, image);
        }
        let is_known = |&(row, column): &Place| {
            let at = middle_of(row, column);
            known.iter().any(|quad| holds(quad, at))
        };
        // Each cell of half the size is four of these.
        let mut wanted: Vec<Place> = (smaller.hints.iter())
            .flat_map(|&(row, column)| {
                [(0, 0), (0, 1), (1, 0), (1, 1)].map(|(r, c)| (2 * row + r, 2 * column + c))
            })
            .filter(|place| place.0 < rows && place.1 < columns && !is_known(place))
            .collect();
        let mut windows_left = rows * columns / (WINDOW * WINDOW);
        while let Some((top, left)) = seen.next_window(&mut wanted) {
            if windows_left == 0 {
                return Self::of(net, image);
            }
            windows_left -= 1;
            let px = |cells: usize| (cells * CELL_PX as usize) as i64;
            let window = cut(image, px(left), px(top), WINDOW_PX);
            let planes = net.run(blocks_of(
                window.as_raw(),
                window.width() as usize,
                (WINDOW_PX as usize, WINDOW_PX as usize),
            ))?;
            // At its edges a window shows too little of what is around a cell.
            let inner = |start: usize, all: usize| {
                let end = start + WINDOW;
                let first = if start == 0 { 0 } else { start + WINDOW_EDGE };
                first..if end == all { all } else { end - WINDOW_EDGE }
            };
            let inner = (inner(top, rows), inner(left, columns));
            seen.take(&planes, (top, left), inner.clone());
            wanted.extend(seen.cut_off_by(&inner));
        }
        Ok(seen)
    }

    fn unseen(image: &GrayImage) -> Self {
        let (rows, columns) = (
            image.height().div_ceil(CELL_PX as u32) as usize,
            image.width().div_ceil(CELL_PX as u32) as usize,
        );
        Self {
            rows,
            columns,
            cells: vec![None; rows * columns],
            hints: Vec::new(),
            is_seen: vec![false; rows * columns],
        }
    }

    /// Row and column at which the next window begins: as many of the `wanted` cells as can be
    /// lie in its inner part, the uppermost among them. Those seen already are struck off.
    fn next_window(&self, wanted: &mut Vec<Place>) -> Option<Place> {
        wanted.retain(|&(row, column)| !self.is_seen[row * self.columns + column]);
        let first = *wanted.iter().min()?;
        let near: Vec<Place> = (wanted.iter().copied())
            .filter(|place| place.0 < first.0 + INNER && place.1.abs_diff(first.1) < INNER)
            .collect();
        let start = |mean: usize, first: usize, all: usize| {
            let inner = mean
                .saturating_sub(INNER / 2)
                .clamp((first + 1).saturating_sub(INNER), first);
            inner.saturating_sub(WINDOW_EDGE).min(all - WINDOW)
        };
        let mean = |of: fn(&Place) -> usize| near.iter().map(of).sum::<usize>() / near.len();
        Some((
            start(mean(|p| p.0), first.0, self.rows),
            start(mean(|p| p.1), first.1, self.columns),
        ))
    }

    /// Takes over what the network says of the rows and columns `inner`; its first cell stands
    /// at `origin`.
    fn take(&mut self, planes: &Array4<f32>, origin: Place, inner: (Range<usize>, Range<usize>)) {
        for row in inner.0 {
            for column in inner.1.clone() {
                let i = row * self.columns + column;
                if std::mem::replace(&mut self.is_seen[i], true) {
                    continue;
                }
                let said =
                    |value: usize| said_of(planes, (row - origin.0, column - origin.1), value);
                let logit = said(0);
                if logit > HINT_LOGIT {
                    self.hints.push((row, column));
                }
                if logit >= GROW_LOGIT {
                    self.cells[i] = Some(Cell::new(middle_of(row, column), said));
                }
            }
        }
    }

    /// Cells right outside a part that was seen, beside one in it that may belong to a line.
    fn cut_off_by(&self, part: &(Range<usize>, Range<usize>)) -> Vec<Place> {
        let mut outside = Vec::new();
        for row in part.0.clone() {
            for column in part.1.clone() {
                let is_inside = row > part.0.start
                    && row + 1 < part.0.end
                    && column > part.1.start
                    && column + 1 < part.1.end;
                if is_inside || self.cells[row * self.columns + column].is_none() {
                    continue;
                }
                outside.extend(
                    self.around(row, column)
                        .filter(|&(r, c)| !self.is_seen[r * self.columns + c]),
                );
            }
        }
        outside
    }

    /// A cell's neighbours, and itself.
    pub(super) fn around(&self, row: usize, column: usize) -> impl Iterator<Item = Place> + use<> {
        let columns = column.saturating_sub(1)..(column + 2).min(self.columns);
        (row.saturating_sub(1)..(row + 2).min(self.rows))
            .flat_map(move |r| columns.clone().map(move |c| (r, c)))
    }
}

fn middle_of(row: usize, column: usize) -> Point {
    Point::new(
        (column as f32 + 0.5) * CELL_PX,
        (row as f32 + 0.5) * CELL_PX,
    )
}

/// True if the point lies in the quad, or up to half its height beside it.
fn holds(quad: &Quad, at: Point) -> bool {
    let ((along, aside), height) = (quad.along_and_aside(at), quad.height_px());
    along.abs() < (quad.length_px() + height) / 2.0 && aside.abs() < height
}

/// A square of the picture that may reach beyond it, where its edges go on.
pub(super) fn cut(image: &GrayImage, left: i64, top: i64, side_px: u32) -> GrayImage {
    GrayImage::from_fn(side_px, side_px, |x, y| {
        let sx = (left + i64::from(x)).clamp(0, i64::from(image.width()) - 1) as u32;
        let sy = (top + i64::from(y)).clamp(0, i64::from(image.height()) - 1) as u32;
        *image.get_pixel(sx, sy)
    })
}

/// The picture, `w` px wide, as planes: pixel (x, y) of each 4 x 4 block is plane 4 y + x.
/// Its last column fills up to `size` on the right; below is mid grey.
pub(super) fn blocks_of(luma: &[u8], w: usize, size: (usize, usize)) -> Array4<f32> {
    let (columns, rows) = (size.0 / BLOCK_PX, size.1 / BLOCK_PX);
    let mut planes = Array4::<f32>::zeros((1, BLOCK_PX * BLOCK_PX, rows, columns));
    let flat = planes.as_slice_mut().expect("a fresh array is contiguous");
    for (y, row) in luma.chunks_exact(w).enumerate() {
        for x in 0..BLOCK_PX {
            let plane = (y % BLOCK_PX) * BLOCK_PX + x;
            let out = &mut flat[(plane * rows + y / BLOCK_PX) * columns..][..columns];
            for (i, value) in out.iter_mut().enumerate() {
                *value = f32::from(row[(i * BLOCK_PX + x).min(w - 1)]) / 127.5 - 1.0;
            }
        }
    }
    planes
}

/// One of the seven values that the network has for each cell.
fn said_of(planes: &Array4<f32>, (row, column): Place, value: usize) -> f32 {
    let cell = (row % 2) * 2 + column % 2;
    planes[[0, value * 4 + cell, row / 2, column / 2]]
}

impl Cell {
    /// The cell around `at`, from the values that the network has for it.
    fn new(at: Point, said: impl Fn(usize) -> f32) -> Self {
        let height_px = 12.0 * said(5).clamp(-2.0, 2.0).exp2();
        let up = Point::new(said(3), said(4)).unit();
        let off = said(6).clamp(-0.6, 0.6) * height_px;
        Self {
            at,
            logit: said(0),
            ahead: Point::new(said(1), said(2)).unit(),
            up,
            height_px,
            middle: Point::new(at.x - up.x * off, at.y - up.y * off),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};

    #[test]
    fn pixels_become_planes_block_by_block() {
        let image = GrayImage::from_fn(10, 8, |x, y| image::Luma([(x + 16 * y) as u8]));
        let planes = blocks_of(image.as_raw(), 10, (32, 32));
        let value = |v: u8| f32::from(v) / 127.5 - 1.0;
        // Third row and second column of the block that is second from the left, second down.
        approx::assert_relative_eq!(planes[[0, 9, 1, 1]], value(5 + 16 * 6));
        // Right of the picture its last column goes on.
        approx::assert_relative_eq!(planes[[0, 0, 0, 5]], value(9));
        approx::assert_relative_eq!(planes[[0, 0, 3, 0]], 0.0);
    }
    /// Takes white for the middle of digits that run level, grey for what may be digits.
    struct ByLight(AtomicUsize);

    impl Net for ByLight {
        fn run(&self, input: Array4<f32>) -> Result<Array4<f32>> {
            self.0.fetch_add(1, Ordering::Relaxed);
            let (_, _, rows, columns) = input.dim();
            Ok(Array4::from_shape_fn(
                (1, 28, rows / 2, columns / 2),
                |(_, plane, y, x)| {
                    let (row, column) = (2 * y + plane % 4 / 2, 2 * x + plane % 2);
                    let light = input[[0, 0, row, column]];
                    match plane / 4 {
                        0 if light > 0.9 => 4.0,
                        0 if light > -0.1 => -2.0,
                        0 => -9.0,
                        1 => 1.0,
                        4 => -1.0,
                        _ => 0.0,
                    }
                },
            ))
        }
    }

    /// A black picture with a level bar of a light.
    fn bar(size: (u32, u32), x: Range<u32>, y: Range<u32>, light: u8) -> GrayImage {
        GrayImage::from_fn(size.0, size.1, |px, py| {
            image::Luma([if x.contains(&px) && y.contains(&py) {
                light
            } else {
                0
            }])
        })
    }

    #[test]
    fn a_line_is_followed_from_window_to_window_as_far_as_it_goes() {
        let net = ByLight(AtomicUsize::new(0));
        let picture = bar((960, 540), 200..640, 300..308, 255);
        let whole = Cells::of(&net, &picture).unwrap();
        // Half the size hints at its middle only.
        let smaller = Cells::of(&net, &bar((480, 270), 208..212, 152..156, 128)).unwrap();
        net.0.store(0, Ordering::Relaxed);
        let seen = Cells::hinted_at(&net, &picture, &smaller, &[]).unwrap();
        let windows = net.0.load(Ordering::Relaxed);
        assert!((5..=9).contains(&windows), "{windows} windows");
        let [line] = &super::super::lines::lines_of(&seen)[..] else {
            panic!("one line");
        };
        assert_eq!(line.quad, super::super::lines::lines_of(&whole)[0].quad);
    }

    #[test]
    fn windows_are_left_out_where_a_line_is_known_and_none_lies_beyond_the_picture() {
        let net = ByLight(AtomicUsize::new(0));
        let picture = GrayImage::new(300, 270);
        for (x, y) in [(0, 0), (144, 0), (0, 128), (144, 128), (72, 64)] {
            let smaller = Cells::of(&net, &bar((150, 135), x..x + 4, y..y + 4, 128)).unwrap();
            net.0.store(0, Ordering::Relaxed);
            Cells::hinted_at(&net, &picture, &smaller, &[]).unwrap();
            assert_eq!(net.0.load(Ordering::Relaxed), 1, "a hint at {x}, {y}");
            let (x, y) = (2.0 * x as f32, 2.0 * y as f32);
            let corners = [(-30.0, -6.0), (40.0, -6.0), (40.0, 14.0), (-30.0, 14.0)];
            let known = Quad::from_corners(corners.map(|(dx, dy)| Point::new(x + dx, y + dy)));
            Cells::hinted_at(&net, &picture, &smaller, &[known]).unwrap();
            assert_eq!(net.0.load(Ordering::Relaxed), 1, "a known line at {x}, {y}");
        }
    }

    #[test]
    fn a_picture_full_of_hints_is_looked_at_whole() {
        let net = ByLight(AtomicUsize::new(0));
        let smaller = Cells::of(&net, &bar((480, 270), 0..480, 0..270, 128)).unwrap();
        net.0.store(0, Ordering::Relaxed);
        let seen = Cells::hinted_at(&net, &GrayImage::new(960, 540), &smaller, &[]).unwrap();
        assert!(seen.is_seen.iter().all(|is_seen| *is_seen));
        // No more in windows than the whole takes.
        assert!(net.0.load(Ordering::Relaxed) <= 960 * 540 / 128 / 128 + 1);
    }
}
