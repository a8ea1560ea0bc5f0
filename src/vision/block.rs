//! Blocks of digits that the finder took from the side: two pairs over two pairs look alike
//! in columns and in rows.

use super::display::LEAST_LEGIBLE_ROW;
use super::eye::Eye;
use super::lines::Line;
use super::pyramid::Pyramid;
use super::read::Columns;
use super::rectify::{Lie, Strip};
use crate::error::Result;
use crate::geometry::{Point, Quad};

/// Blocks of digits that are tried from the side in one frame, their longest side in digit
/// heights, and the steps in which rows are tried: the reader bears a third of a height.
const MOST_BLOCKS: usize = 2;
const MOST_BLOCK_HEIGHTS: f32 = 6.0;
/// Lines this near to each other, in digit heights from middle to middle, may be one block.
const BESIDE: f32 = 3.0;
/// Digit heights by which a block may be wider than the lines seen of it.
const BLOCK_MARGIN: f32 = 0.75;
const ROW_SEARCH_STEP: f32 = 0.5;

impl Eye {
    /// Reads the blocks that `unread` lines may be part of, a few of them: rows that read well.
    pub(super) fn look_at_blocks(
        &self,
        frame: &Pyramid,
        unread: &[Quad],
        lines: &[Line],
    ) -> Result<Vec<(Strip, Columns)>> {
        let mut views = Vec::new();
        let mut blocks: Vec<&Quad> = Vec::new();
        for quad in unread {
            let is_beside = |b: &&Quad| b.centre().distance(quad.centre()) < BESIDE * b.height_px();
            if blocks.len() < MOST_BLOCKS && !blocks.iter().any(is_beside) {
                views.extend(self.look_across(frame, quad, lines)?);
                blocks.push(quad);
            }
        }
        Ok(views)
    }

    /// Reads the rows of a block of digits whose columns the finder took for lines: two pairs
    /// over two pairs look alike from the side. It sees their height all the same, so rows of
    /// that height are tried all along the line that could not be read, and across the lines
    /// beside it.
    fn look_across(
        &self,
        frame: &Pyramid,
        unread: &Quad,
        lines: &[Line],
    ) -> Result<Vec<(Strip, Columns)>> {
        let (ahead, height) = (unread.direction(), unread.height_px());
        let side = Point::new(-ahead.y, ahead.x);
        let (mut ahead_of, mut aside) = (Span::NOTHING, Span::NOTHING);
        for line in lines {
            let step = line.quad.direction();
            let apart = line.quad.centre().distance(unread.centre());
            let is_beside = (step.x * ahead.x + step.y * ahead.y).abs() > 0.9
                && apart < BESIDE * height
                && (0.6..1.6).contains(&(line.quad.height_px() / height));
            for p in line.quad.corners().into_iter().filter(|_| is_beside) {
                ahead_of.take(p.x * ahead.x + p.y * ahead.y);
                let across = p.x * side.x + p.y * side.y;
                aside.take(across - BLOCK_MARGIN * height);
                aside.take(across + BLOCK_MARGIN * height);
            }
        }
        if ahead_of.length() > MOST_BLOCK_HEIGHTS * height {
            return Ok(Vec::new());
        }
        let mut rows: Vec<(Strip, Columns)> = Vec::new();
        let mut middle = ahead_of.low + 0.5 * height;
        while middle < ahead_of.high {
            let at = |along: f32, across: f32| {
                Point::new(
                    ahead.x * along + side.x * across,
                    ahead.y * along + side.y * across,
                )
            };
            let (top, base) = (middle - 0.5 * height, middle + 0.5 * height);
            let quad = Quad::from_corners([
                at(top, aside.high),
                at(top, aside.low),
                at(base, aside.low),
                at(base, aside.high),
            ]);
            // A row of two pairs shows digits also where it lies a little beside.
            if self
                .look_as_it_is(frame, &quad)?
                .is_some_and(|columns| columns.shows_digits())
            {
                let upright = self.look_with_room(frame, &quad)?;
                rows.extend(self.look_every_way(frame, &quad, upright)?);
            }
            middle += ROW_SEARCH_STEP * height;
        }
        rows.retain(|row| row.1.legibility() >= LEAST_LEGIBLE_ROW);
        rows.sort_by(|a, b| b.1.legibility().total_cmp(&a.1.legibility()));
        let mut kept: Vec<(Strip, Columns)> = Vec::new();
        for row in rows {
            let place = |r: &(Strip, Columns)| {
                let lie = r.1.lie().unwrap_or(Lie::STRAIGHT);
                let p = r.0.to_frame(lie.x_px, lie.middle_at(lie.x_px));
                p.x * ahead.x + p.y * ahead.y
            };
            let is_known = |k: &(Strip, Columns)| {
                let (a, b) = (k.0.quad().direction(), row.0.quad().direction());
                a.x * b.x + a.y * b.y > 0.0 && (place(k) - place(&row)).abs() < 0.5 * height
            };
            if !kept.iter().any(is_known) {
                kept.push(row);
            }
        }
        Ok(kept)
    }
}

/// A range of places along an axis, px.
struct Span {
    low: f32,
    high: f32,
}

impl Span {
    const NOTHING: Self = Self {
        low: f32::MAX,
        high: f32::MIN,
    };

    fn take(&mut self, at: f32) {
        self.low = self.low.min(at);
        self.high = self.high.max(at);
    }

    fn length(&self) -> f32 {
        self.high - self.low
    }
}
