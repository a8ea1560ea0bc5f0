//! Rows of digits that stand close together: the finder took them from the side, saw them askew, or
//! saw some of them only.

use super::display::{
    Display, LEAST_LEGIBLE_ROW, clarity_of, displays_in, is_one_kind, may_be_above, step_in_a_stack,
};
use super::eye::{DISCOVERING, Eye};
use super::ground::is_even_behind;
use super::layout::{is_clock, last_pair_in, stretches};
use super::lines::Line;
use super::pyramid::Pyramid;
use super::read::Columns;
use super::rectify::{Lie, Strip};
use super::row::{Beside, Row};
use crate::error::Result;
use crate::geometry::{Point, Quad};
use crate::reading::Layout;
use std::collections::VecDeque;

/// Blocks of digits that are tried otherwise in one frame, their longest side in digit
/// heights, and the steps in which rows are tried: the reader bears a third of a height.
const MOST_BLOCKS: usize = 2;
const MOST_BLOCK_HEIGHTS: f32 = 6.0;
/// The longest side of one of two rows that is tried along the picture, as the finder sees it askew;
/// its digits are no higher than this in the finest picture looked at, px: larger ones are seen in
/// two, and seldom askew in both.
const MOST_LEVEL_HEIGHTS: f32 = 4.5;
const SMALL_PX: f32 = 20.0;
/// A column of two-digit numbers is so many times as long as wide at least where the finder takes it for
/// one line from the side: four rows 1.2 heights apart of pairs 1.6 heights wide are 2.9. And the digits'
/// height against that width: fonts' pairs are 1.2 to 1.8 heights wide, and the reader bears a third.
const LEAST_COLUMN: f32 = 2.5;
const HEIGHT_OF_A_PAIR: f32 = 0.65;
/// Lines this near to each other, in digit heights from middle to middle, may be one block.
const BESIDE: f32 = 3.0;
/// Digit heights by which a block may be wider than the lines seen of it.
const BLOCK_MARGIN: f32 = 0.75;
const ROW_SEARCH_STEP: f32 = 0.5;
/// Where second rows stand: distance between the rows' middles in digit heights of the
/// first, and size against it. The reader bears a tenth of a height up or down.
pub(super) const SECOND_ROWS: [(f32, f32); 6] = [
    (1.2, 1.0),
    (1.4, 1.0),
    (1.6, 1.0),
    (1.85, 1.0),
    (1.15, 0.65),
    (1.4, 0.65),
];
/// Where the first of two rows of one size stands, seen from the second.
const FIRST_ROWS: [(f32, f32); 4] = [(-1.2, 1.0), (-1.4, 1.0), (-1.6, 1.0), (-1.85, 1.0)];
/// Where smaller frames stand behind hours, minutes and seconds: along from the end of their row, and
/// from and to how far below its upper edge, on its base line, in the middle or at its top. The reader
/// bears a third up or down in size: two fifths to two thirds of the others'.
const SMALLER_ALONG: (f32, f32) = (0.2, 1.1);
const SMALLER_ACROSS: [(f32, f32); 3] = [(0.5, 1.0), (0.25, 0.75), (0.0, 0.5)];
/// ... and their heights against the others', as far as outlines are guesses.
const SMALLER: std::ops::Range<f32> = 0.33..0.8;
/// Rows of a clock whose hours, minutes, seconds and frames stand one below the other, how many
/// pairs of rows are tried for such a clock in one frame, and how far, in digit heights, a row may
/// stand from where it must be.
const STACKED: usize = 4;
const MOST_STACKS: usize = 4;
const MOST_OFF: f32 = 0.6;
/// Down the picture: most displays are held upright, or upside down.
const DOWN: Point = Point::new(0.0, 1.0);

/// A line of the finder's that does not read well.
pub(super) struct Unread {
    pub quad: Quad,
    /// Three digits or so can be made out in it all the same, whichever way they face.
    pub shows_digits: bool,
}

/// Where the rows of a block may lie.
struct Block {
    /// From row to row, as a unit vector, and the digits' height.
    down: Point,
    height_px: f32,
    /// How far it reaches that way, and across, px.
    downwards: Span,
    across: Span,
}

impl Eye {
    /// Reads the blocks that `unread` lines may be part of, a few of them: rows that read well.
    /// Two pairs over two pairs look alike from the side, so rows are tried across the lines. The
    /// smaller the block, the more its rows and columns grow together for the finder, which then
    /// sees it askew: it knows where the digits are and how tall, and nothing of how they run. If
    /// some can be made out all the same, rows are tried along the picture, too; of one block only,
    /// small and no longer than two rows are: what the finder sees in scenery seldom is. A pixel of
    /// the finest picture looked at is `finest_px` wide. A column of pairs is one line from the side,
    /// as high as a pair is wide: of one line in which digits can be made out, rows of such digits are
    /// tried.
    pub(super) fn look_at_blocks(
        &self,
        frame: &Pyramid,
        unread: &[Unread],
        lines: &[Line],
        finest_px: f32,
    ) -> Result<Vec<(Strip, Columns)>> {
        let mut views = Vec::new();
        let mut blocks: Vec<&Quad> = Vec::new();
        let (mut has_tried_level, mut has_tried_column) = (false, false);
        for Unread { quad, .. } in unread {
            let is_beside = |b: &&Quad| b.centre().distance(quad.centre()) < BESIDE * b.height_px();
            if blocks.len() == MOST_BLOCKS || blocks.iter().any(is_beside) {
                continue;
            }
            blocks.push(quad);
            let across = Block::across(quad, lines);
            let mut rows = Vec::new();
            if across.downwards.length() <= MOST_BLOCK_HEIGHTS * across.height_px {
                rows = self.rows_of(frame, &across)?;
            }
            let level = Block::level(quad, lines);
            let shows_digits = |line: &Unread| {
                line.shows_digits
                    && line.quad.centre().distance(quad.centre()) < BESIDE * quad.height_px()
            };
            if rows.is_empty()
                && !has_tried_level
                && level.height_px < SMALL_PX * finest_px
                && level.downwards.length() <= MOST_LEVEL_HEIGHTS * level.height_px
                && unread.iter().any(shows_digits)
            {
                has_tried_level = true;
                rows = self.rows_of(frame, &level)?;
            }
            if rows.is_empty()
                && !has_tried_column
                && across.downwards.length() >= LEAST_COLUMN * across.height_px
                && unread.iter().any(shows_digits)
            {
                has_tried_column = true;
                rows = self.rows_of(frame, &across.of_pairs())?;
            }
            views.extend(rows);
        }
        Ok(views)
    }

    /// Reads the rows of a block: tries rows of its height all along it, and keeps those that
    /// read well, each once.
    fn rows_of(&self, frame: &Pyramid, block: &Block) -> Result<Vec<(Strip, Columns)>> {
        let (down, height) = (block.down, block.height_px);
        let mut rows: Vec<(Strip, Columns)> = Vec::new();
        let mut middle = block.downwards.low + 0.5 * height;
        while middle < block.downwards.high {
            // A row of two pairs shows digits also where it lies a little beside.
            let quad = block.row(middle);
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
                p.dot(down)
            };
            let is_known = |k: &(Strip, Columns)| {
                let (a, b) = (k.0.quad().direction(), row.0.quad().direction());
                a.dot(b) > 0.0 && (place(k) - place(&row)).abs() < 0.5 * height
            };
            if !kept.iter().any(is_known) {
                kept.push(row);
            }
        }
        Ok(kept)
    }

    /// Looks for the other row of displays of which one was read, under it, behind it, or else over
    /// it: the finder loses rows that stand close together more often than single ones, but one row
    /// tells where the other must be.
    pub(super) fn other_rows(
        &self,
        frame: &Pyramid,
        pieces: &[(Row, f32)],
    ) -> Result<Vec<(Row, f32)>> {
        let mut found = Vec::new();
        for (row, clarity) in pieces {
            if *clarity < LEAST_LEGIBLE_ROW {
                continue;
            }
            let mut other = None;
            if matches!(row.groups[..], [2, 2] | [2, 2, 2]) {
                other = self.other_row(frame, row, &SECOND_ROWS)?;
            }
            let may_go_on = match row.groups[..] {
                // A mark tells hours and minutes from other numbers of a line.
                [1 | 2, 2] => !row.marks.is_empty(),
                [2, 2, 2] => !is_even_behind(frame, row),
                _ => false,
            };
            if other.is_none() && may_go_on {
                other = self.smaller_behind(frame, row)?;
            }
            if other.is_none() && matches!(row.groups[..], [2, 1..=3]) {
                other = self.other_row(frame, row, &FIRST_ROWS)?;
            }
            found.extend(other);
        }
        Ok(found)
    }

    /// Two digits that stand behind a row and are much smaller, if some do: the finder, which sees them
    /// as a part of the line, takes them for no digits of it. A strip of them shows a part of the row's
    /// last digit, too.
    fn smaller_behind(&self, frame: &Pyramid, row: &Row) -> Result<Option<(Row, f32)>> {
        let mut best: Option<(Row, f32)> = None;
        for across in SMALLER_ACROSS {
            let place = row.beside(&Beside {
                along: SMALLER_ALONG,
                across,
            });
            let Some((strip, columns)) = self.look(frame, &place, DISCOVERING)? else {
                continue;
            };
            let lie = columns.lie().unwrap_or(Lie::STRAIGHT);
            let pairs = stretches(&columns.characters());
            let pairs = pairs.iter().filter_map(last_pair_in).map(|pair| [pair]);
            let is_smaller = |q: &Quad| SMALLER.contains(&(q.height_px() / row.quad.height_px()));
            let found = pairs
                .filter_map(|pair| {
                    Some((Row::new(&strip, &lie, &pair)?, clarity_of(&columns, &pair)))
                })
                .filter(|(other, clarity)| {
                    *clarity >= LEAST_LEGIBLE_ROW && is_smaller(&other.quad)
                });
            best = best
                .into_iter()
                .chain(found)
                .max_by(|a, b| a.1.total_cmp(&b.1));
        }
        Ok(best)
    }

    /// Clocks of four rows of two digits, as a narrow upright screen shows them largest, of which two
    /// that follow each other are among `pieces`: they tell where the others must be. Both ways up,
    /// where the digits make sense upside down, too.
    pub(super) fn stacks(&self, frame: &Pyramid, pieces: &[(Row, f32)]) -> Result<Vec<Display>> {
        let pairs: Vec<&(Row, f32)> = pieces
            .iter()
            .filter(|(row, clarity)| row.groups == [2] && *clarity >= LEAST_LEGIBLE_ROW)
            .collect();
        let mut found: Vec<Display> = Vec::new();
        let mut tried = 0;
        for first in &pairs {
            for second in &pairs {
                let step = step_in_a_stack(&first.0.quad, &second.0.quad);
                let mut rows = found.iter().flat_map(|display| &display.rows);
                let mut is_known = || rows.any(|row| first.0.quad.lies_on(&row.quad));
                let Some(step) = step.filter(|_| tried < MOST_STACKS && !is_known()) else {
                    continue;
                };
                tried += 1;
                found.extend(self.stack(frame, first, second, step)?);
            }
        }
        Ok(found)
    }

    /// The clock of which two rows, each with its clarity, are known, `step` heights apart. Of a
    /// column of more numbers, none is one.
    fn stack(
        &self,
        frame: &Pyramid,
        first: &(Row, f32),
        second: &(Row, f32),
        step: f32,
    ) -> Result<Option<Display>> {
        let mut rows = VecDeque::from([first.clone(), second.clone()]);
        while rows.len() <= STACKED
            && let Some(above) = self.pair_beside(frame, &rows[0].0, -step)?
        {
            rows.push_front(above);
        }
        while rows.len() <= STACKED
            && let Some(below) = self.pair_beside(frame, &rows[rows.len() - 1].0, step)?
        {
            rows.push_back(below);
        }
        Ok((rows.len() == STACKED).then(|| Display {
            presence: rows.iter().map(|row| row.1).fold(1.0, f32::min),
            rows: rows.into_iter().map(|(row, _)| row).collect(),
        }))
    }

    /// Two digits that stand `step` heights below a row, if they do.
    fn pair_beside(&self, frame: &Pyramid, row: &Row, step: f32) -> Result<Option<(Row, f32)>> {
        let place = row.row_beside(step, 1.0);
        let Some((strip, columns)) = self.look(frame, &place, DISCOVERING)? else {
            return Ok(None);
        };
        let (_, rows) = displays_in(&strip, &columns);
        let off = |other: &Row| other.quad.centre().distance(place.centre());
        // A strip is led to digits beside it: to the row from which this one was looked for.
        let found = rows.into_iter().filter(|(other, clarity)| {
            other.groups == [2]
                && *clarity >= LEAST_LEGIBLE_ROW
                && off(other) < MOST_OFF * place.height_px()
                && is_one_kind(&row.quad, &other.quad)
        });
        Ok(found.min_by(|a, b| off(&a.0).total_cmp(&off(&b.0))))
    }

    /// The fullest row at one of `places` below or above `row` that makes a clock with it.
    fn other_row(
        &self,
        frame: &Pyramid,
        row: &Row,
        places: &[(f32, f32)],
    ) -> Result<Option<(Row, f32)>> {
        let mut best: Option<(Row, f32)> = None;
        for &(step, size) in places {
            let Some((strip, columns)) = self.look_with_room(frame, &row.row_beside(step, size))?
            else {
                continue;
            };
            let (_, rows) = displays_in(&strip, &columns);
            for candidate in rows {
                let in_order = if step > 0.0 {
                    [row, &candidate.0]
                } else {
                    [&candidate.0, row]
                };
                let groups = in_order.iter().flat_map(|row| &row.groups);
                let joint = Layout {
                    groups: groups.copied().collect(),
                };
                let fullness = |c: &(Row, f32)| c.1 * c.0.places.len() as f32;
                if is_clock(&joint)
                    && may_be_above(in_order[0], in_order[1])
                    && candidate.1 >= LEAST_LEGIBLE_ROW
                    && best
                        .as_ref()
                        .is_none_or(|b| fullness(&candidate) > fullness(b))
                {
                    best = Some(candidate);
                }
            }
        }
        Ok(best)
    }
}

impl Block {
    /// Rows across a line, as far as the lines beside it reach that run along it.
    fn across(unread: &Quad, lines: &[Line]) -> Self {
        let ahead = unread.direction();
        Self::of(unread, lines, ahead, |line| {
            let step = line.direction();
            step.dot(ahead).abs() > 0.9
        })
    }

    /// Rows along the picture, as far as the lines beside one reach, however they run.
    fn level(unread: &Quad, lines: &[Line]) -> Self {
        Self::of(unread, lines, DOWN, |_| true)
    }

    /// The same, as high as a pair of digits is that fills it from side to side.
    fn of_pairs(self) -> Self {
        Self {
            height_px: HEIGHT_OF_A_PAIR * self.height_px,
            ..self
        }
    }

    fn of(unread: &Quad, lines: &[Line], down: Point, runs_alike: impl Fn(&Quad) -> bool) -> Self {
        let height_px = unread.height_px();
        let mut block = Self {
            down,
            height_px,
            downwards: Span::NOTHING,
            across: Span::NOTHING,
        };
        for Line { quad, .. } in lines {
            let is_beside = runs_alike(quad)
                && quad.centre().distance(unread.centre()) < BESIDE * height_px
                && (0.6..1.6).contains(&(quad.height_px() / height_px));
            for p in quad.corners().into_iter().filter(|_| is_beside) {
                block.downwards.take(p.dot(down));
                let across = p.y * down.x - p.x * down.y;
                block.across.take(across - BLOCK_MARGIN * height_px);
                block.across.take(across + BLOCK_MARGIN * height_px);
            }
        }
        block
    }

    /// The row whose middle lies so far down.
    fn row(&self, middle: f32) -> Quad {
        let down = self.down;
        let at = |along: f32, across: f32| {
            Point::new(
                down.x * along - down.y * across,
                down.y * along + down.x * across,
            )
        };
        let (top, base) = (middle - 0.5 * self.height_px, middle + 0.5 * self.height_px);
        Quad::from_corners([
            at(top, self.across.high),
            at(top, self.across.low),
            at(base, self.across.low),
            at(base, self.across.high),
        ])
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

#[cfg(test)]
mod tests {
    use super::super::find::Sharpness;
    use super::super::follow::Search;
    use super::super::lettering::Lettering;
    use super::*;
    use crate::frame::Stamp;
    use crate::rehearse::{Film, Shoot};
    use crate::timecode::{ClockForm, Rate, Ratio};

    /// What is read of a display with digits of 12 px, and what it shows, but for what changes from
    /// frame to frame.
    fn read_and_shown(seed: u64) -> (String, String) {
        let forms = [
            ClockForm::frames(Rate::F25, false).unwrap(),
            ClockForm::frames(Rate::F29_97, true).unwrap(),
            ClockForm::Hundredths,
        ];
        let form = forms[(seed % 3) as usize];
        let mut shoot = Shoot::ordinary(seed, form, Rate::F25);
        let staged = shoot.staged.as_mut().unwrap();
        staged.pose.digit_px = 12.0;
        let middle_s = f64::midpoint(staged.hold.from_s.max(0.0), staged.hold.to_s);
        let index = (middle_s * 25.0).round() as u64;
        let mut film = Film::new(shoot).unwrap();
        let picture = image::DynamicImage::from(film.frame(index)).into_luma8();
        let pyramid = Pyramid::new(picture);
        let eye = Eye::open().unwrap();
        let stamp = Stamp {
            ticks: 0,
            tick_seconds: Ratio::new(1, 25),
            index: Some(0),
        };
        let look = |sharpness| {
            let found = eye
                .discover(&pyramid, sharpness, &mut Lettering::default(), stamp)
                .unwrap();
            let whole = found
                .displays
                .into_iter()
                .find(|d| d.layout().places() == 8)?;
            let seen = eye
                .follow(&pyramid, &whole, stamp, Search::Around)
                .unwrap()?;
            Some(seen.reading.guess())
        };
        let digits = |text: String| text.chars().filter(char::is_ascii_digit).take(6).collect();
        let read = [Sharpness::Coarse, Sharpness::Fine]
            .into_iter()
            .find_map(look);
        let shown = form.text(film.truth(index).shown.unwrap());
        (digits(read.unwrap_or_default()), digits(shown))
    }

    /// The finder sees lines through two pairs over two pairs that run to a corner.
    #[test]
    fn a_small_block_that_the_finder_sees_askew_is_read_along_the_picture() {
        let (read, shown) = read_and_shown(430_327);
        assert_eq!(read, shown);
    }

    /// Of these the finder sees the second row.
    #[test]
    fn a_first_row_is_looked_for_over_a_second_one() {
        for seed in [430_302, 430_445] {
            let (read, shown) = read_and_shown(seed);
            assert_eq!(read, shown, "{seed}");
        }
    }
}
