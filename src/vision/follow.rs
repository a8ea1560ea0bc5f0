//! The second gear of seeing: *follow* a display that was found from one frame to the next.

use super::display::{Display, PLAINLY_SEEN};
use super::eye::Eye;
use super::find::find_lines_near;
use super::pyramid::Pyramid;
use super::read::Columns;
use super::rectify::{DIGIT_PX, Lie, Room, Strip};
use super::row::{Alignment, Beyond, Row};
use crate::error::Result;
use crate::frame::Stamp;
use crate::geometry::Quad;
use crate::reading::{DigitOdds, MarkOdds, Reading};
use image::GrayImage;

/// Surroundings of a row that is followed, whose length is known.
const FOLLOWING: Room = Room {
    margin: 1.6,
    step_px: 16,
};
/// Pitches before the first digit of a row that stands behind another, within which their mark stands.
const MARK_BEFORE: f32 = 1.5;
/// Pitches behind the last digit within which a mark stands that leads to more of them.
const MARK_BEHIND: f32 = 1.5;
/// Mean digit probability over the places below which a display counts as lost.
const LEAST_PRESENCE: f32 = 0.35;
/// The same below which the display is taken to be where it was: what was read may lie beside it.
const LEAST_TO_MOVE: f32 = 0.6;
/// Probability of a digit right beside the outermost places from which the row may be
/// looked at one place off.
const MOST_BESIDE: f32 = 0.3;
/// Digit heights to the side that a row may move from one frame to the next.
const MOST_ASIDE: f32 = 1.2;
/// What moving by one digit height takes from the clarity of the row that leads the others.
const MOVES_COUNT: f32 = 0.3;
/// Digit heights between where a row is found and where the leading row says it is, from
/// which it is another row. Rows stand at least one height apart.
const MOST_APART: f32 = 0.6;
/// Clarity above which a row's place is not tried otherwise.
const WELL_SEEN: f32 = 0.75;

/// Where a display is looked for again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Search {
    /// Only where it was, give or take a third of its height.
    Here,
    /// Also around it, but no further than other rows may stand from it.
    Among,
    /// Also around it.
    Around,
}

/// A display found again, and what it shows.
#[derive(Clone, Debug)]
pub struct Followed {
    /// The display at its new place: the argument for the next frame.
    pub display: Display,
    pub reading: Reading,
    /// Digits beside the outermost places: the layout may have left one out.
    pub beyond: Beyond,
    /// How surely a mark stands right behind the last digit, 0..=1: more of them may be out of sight.
    pub mark_behind: f32,
    /// The rectified rows, top row first, for those who want to look.
    pub strips: Vec<GrayImage>,
}

/// A row as one frame shows it.
struct RowView {
    strip: Strip,
    columns: Columns,
    fit: Alignment,
    odds: Vec<DigitOdds>,
}

/// The clarity of a row; 0 of one that is not seen.
fn clarity(view: &Option<RowView>) -> f32 {
    view.as_ref().map_or(0.0, |v| {
        let best: f32 = v.odds.iter().map(|o| o.best().1).sum();
        v.fit.presence * best / v.odds.len().max(1) as f32
    })
}

impl RowView {
    /// Outline of the row in the frame. The display does not change its proportions but by
    /// tilting: its height is taken half from its length, which is measured better.
    fn quad(&self, row: &Row) -> Quad {
        let mut lie = self.columns.lie().unwrap_or(Lie::STRAIGHT);
        lie.height_px = (lie.height_px * DIGIT_PX * self.fit.scale).sqrt();
        self.strip
            .quad_between(self.fit.at(0.0), self.fit.at(row.length), &lie)
    }

    /// What stands between two places (middles in strip px). A comma, which the reader takes for a
    /// semicolon, parts decimals as a dot does.
    fn mark_between(&self, left: f32, right: f32) -> MarkOdds {
        let odds = self.columns.mark_between(left, right);
        let at = self.columns.semicolon_between(left, right);
        if self.strip.has_upper_dot(at) {
            return odds;
        }
        MarkOdds {
            semicolon: 0.0,
            dot: odds.dot + odds.semicolon,
            ..odds
        }
    }

    /// True if no digit stands beside the outermost places.
    fn stands_alone(&self) -> bool {
        self.fit.beyond.most() < MOST_BESIDE
    }
}

impl Eye {
    /// Finds a display again near where it was and reads it. `None` if it is not there.
    /// Around it the finder helps where the reader alone does not see it plainly.
    pub fn follow(
        &self,
        frame: &Pyramid,
        last: &Display,
        stamp: Stamp,
        search: Search,
    ) -> Result<Option<Followed>> {
        let mut views: Vec<Option<RowView>> = Vec::new();
        for row in &last.rows {
            views.push(match search {
                Search::Here => self.view(frame, row, &row.quad)?,
                Search::Among => self.see_again(frame, row, true)?,
                Search::Around => self.see_again(frame, row, last.rows.len() > 1)?,
            });
        }
        self.lead_rows(frame, last, &mut views)?;
        if search != Search::Here {
            self.swap_rows(frame, last, &mut views)?;
        }
        let mut rows = Vec::new();
        let (mut places, mut glyphs, mut strips) = (Vec::new(), Vec::new(), Vec::new());
        let (mut last_mark, mut mark_behind) = (MarkOdds::UNKNOWN, 0.0);
        let (mut total, mut count, mut beyond) = (0.0, 0, Beyond::default());
        let mut digit_px = 0.0f32;
        let goes_on_behind = last.goes_on_behind();
        for (i, (row, view)) in last.rows.iter().zip(views).enumerate() {
            let Some(view) = view else {
                return Ok(None);
            };
            // Beside one half of a line its other half stands.
            let is_behind = goes_on_behind && i > 0;
            total += view.fit.presence * row.places.len() as f32;
            count += row.places.len();
            if !goes_on_behind {
                beyond = beyond.or(view.fit.beyond);
            }
            let xs: Vec<f32> = row.places.iter().map(|&p| view.fit.at(p)).collect();
            places.extend(view.odds.iter().copied());
            glyphs.extend(row.glyphs(&view.strip, &view.fit));
            last_mark = match row.groups[..] {
                [.., _, last] => {
                    let first_of_last = xs.len() - usize::from(last);
                    let (left, right) = (xs[first_of_last - 1], xs[first_of_last]);
                    view.mark_between(left, right)
                }
                _ if is_behind => {
                    let left = view.fit.at(row.places[0] - MARK_BEFORE * row.pitch);
                    view.mark_between(left, xs[0])
                }
                _ => MarkOdds::UNKNOWN,
            };
            let last = row.places[row.places.len() - 1];
            let (from, to) = (
                view.fit.at(last),
                view.fit.at(last + MARK_BEHIND * row.pitch),
            );
            mark_behind = 1.0 - view.columns.mark_between(from, to).none;
            let quad = view.quad(row);
            digit_px = digit_px.max(quad.height_px());
            rows.push(Row {
                quad,
                ..row.clone()
            });
            strips.push(view.strip.luma);
        }
        let presence = total / count.max(1) as f32;
        if presence < LEAST_PRESENCE {
            return Ok(None);
        }
        let mut display = Display { rows, presence };
        if display.has_rows_on_each_other() {
            return Ok(None);
        }
        let quad = display.quad();
        if presence < LEAST_TO_MOVE {
            display.rows.clone_from(&last.rows);
        }
        let reading = Reading {
            stamp,
            places,
            glyphs,
            last_mark,
            quad,
            digit_px,
        };
        Ok(Some(Followed {
            display,
            reading,
            beyond,
            mark_behind,
            strips,
        }))
    }

    /// Rows of one display move together: one that is seen well leads the others. One that went
    /// elsewhere has taken another row for itself, also where it reads well there.
    fn lead_rows(
        &self,
        frame: &Pyramid,
        last: &Display,
        views: &mut [Option<RowView>],
    ) -> Result<()> {
        let lead = (0..views.len()).max_by(|&a, &b| {
            let stays = |i: usize| {
                let moved_px = views[i].as_ref().map_or(f32::MAX, |v| {
                    let row = &last.rows[i].quad;
                    v.quad(&last.rows[i]).centre().distance(row.centre()) / row.height_px()
                });
                clarity(&views[i]) - MOVES_COUNT * moved_px.min(2.0)
            };
            stays(a).total_cmp(&stays(b))
        });
        if let Some((lead, led)) =
            lead.and_then(|i| Some((i, views[i].as_ref()?.quad(&last.rows[i]))))
        {
            for (i, row) in last.rows.iter().enumerate().filter(|(i, _)| *i != lead) {
                let quad = row.moved_like(&last.rows[lead], &led);
                let is_elsewhere = views[i].as_ref().is_some_and(|v| {
                    v.quad(row).centre().distance(quad.centre()) > MOST_APART * quad.height_px()
                });
                if is_elsewhere || clarity(&views[i]) < WELL_SEEN {
                    let view = self.view(frame, row, &quad)?;
                    if is_elsewhere || clarity(&view) > clarity(&views[i]) {
                        views[i] = view;
                    }
                }
            }
        }
        Ok(())
    }

    /// After a jerk of nearly a row's height one row may be taken for the other, which then is
    /// nowhere. Where one row is seen and another is not, tries whether what is seen is that
    /// other one.
    fn swap_rows(
        &self,
        frame: &Pyramid,
        last: &Display,
        views: &mut [Option<RowView>],
    ) -> Result<()> {
        let [first, second] = &last.rows[..] else {
            return Ok(());
        };
        let clear = [clarity(&views[0]), clarity(&views[1])];
        let seen = usize::from(clear[1] > clear[0]);
        let Some(view) = &views[seen] else {
            return Ok(());
        };
        if clear[1 - seen] >= LEAST_PRESENCE || clear[seen] < WELL_SEEN {
            return Ok(());
        }
        let quad = view.quad(&last.rows[seen]);
        let (own, other) = if seen == 0 {
            (first, second)
        } else {
            (second, first)
        };
        let swapped = [
            self.view(frame, other, &quad)?,
            self.view(frame, own, &own.moved_like(other, &quad))?,
        ];
        if swapped.iter().all(|v| clarity(v) >= WELL_SEEN) {
            let [of_other, of_own] = swapped;
            (views[1 - seen], views[seen]) = (of_other, of_own);
        }
        Ok(())
    }

    /// The row where it was, if it reads plainly there: the reader bears a third of a height
    /// and tells where the row lies. Else where the finder sees a line that goes with it, or,
    /// if that does not read well, where the row was after all. Where rows stand close together
    /// the finder may take a bit of both for a line, so `is_crowded` tries both places in any case.
    fn see_again(&self, frame: &Pyramid, row: &Row, is_crowded: bool) -> Result<Option<RowView>> {
        let unmoved = self.view(frame, row, &row.quad)?;
        if clarity(&unmoved) >= PLAINLY_SEEN && unmoved.as_ref().is_some_and(RowView::stands_alone)
        {
            return Ok(unmoved);
        }
        let near = find_lines_near(&*self.finder, frame, &row.quad)?;
        let most_aside = if is_crowded { MOST_APART } else { MOST_ASIDE };
        let best = near
            .iter()
            .filter_map(|line| Some((row.overlap_with(&line.quad, most_aside)?, line)))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        let mut seen = None;
        if let Some((overlap, line)) = best {
            seen = self.view(frame, row, &row.carried_to(&line.quad, overlap))?;
        }
        if (is_crowded || clarity(&seen) < WELL_SEEN) && clarity(&unmoved) > clarity(&seen) {
            seen = unmoved;
        }
        Ok(seen)
    }

    fn view(&self, frame: &Pyramid, row: &Row, quad: &Quad) -> Result<Option<RowView>> {
        let look = self.look_along(frame, quad, FOLLOWING, row.is_in_two_sizes)?;
        Ok(look.map(|(strip, columns)| {
            let fit = row.align(&columns, FOLLOWING.margin * DIGIT_PX);
            let odds = row.odds(&strip, &columns, &fit);
            RowView {
                strip,
                columns,
                fit,
                odds,
            }
        }))
    }
}
