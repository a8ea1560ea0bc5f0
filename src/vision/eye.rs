//! The two gears of seeing: *discover* displays in a frame; *follow* a known one.

use super::block::Unread;
use super::display::{
    Display, LEAST_LEGIBLE_ROW, PLAINLY_SEEN, displays_in, hour_digits, likeliest, pairs,
    shows_a_time,
};
use super::find::{Sharpness, find_lines, find_lines_near, finest_px, is_same_place};
use super::lettering::Lettering;
use super::lines::Line;
use super::net::{self, Net};
use super::pyramid::Pyramid;
use super::read::{Columns, read_strip};
use super::rectify::{DIGIT_PX, Lie, Room, Strip};
use super::row::{Alignment, Row};
use crate::error::Result;
use crate::frame::Stamp;
use crate::geometry::Quad;
use crate::reading::{DigitOdds, MarkOdds, Reading};
use image::GrayImage;

/// Lines read per frame at most; a frame full of numbers must not stall the search.
const MOST_LINES: usize = 16;
/// Surroundings taken into a strip: of a line that was found, whose last digit the finder may
/// have missed (of 2,048 simulated frames nine more are lost with steps of 16 px).
pub(super) const DISCOVERING: Room = Room {
    margin: 1.0,
    step_px: 64,
};
/// Surroundings of a line whose digits go on to the end of such a strip: the finder saw a part.
pub(super) const WITH_ROOM: Room = Room {
    margin: 4.0,
    ..DISCOVERING
};
/// Surroundings of a row that is followed, whose length is known.
const FOLLOWING: Room = Room {
    margin: 1.6,
    step_px: 16,
};
/// Pitches before the first digit of a row that stands behind another, within which their mark stands.
const MARK_BEFORE: f32 = 1.5;
/// A view of a line this much less legible than the same line upside down is dropped.
const PLAINLY_WORSE: f32 = 0.12;
/// A strip that was cut anew is dropped if it is less legible by so much.
const SLIGHTLY_WORSE: f32 = 0.02;
/// Legibility of a line, with its dark digits, that makes a look at several frames worth it.
const LEAST_LOOSE: f32 = 0.4;
/// Legibility above which a line with a mirrored digit or two is not tried in a mirror.
const LEGIBLE_AT_ONCE: f32 = 0.9;
/// Lines with fewer characters are only read as the finder turned them: they are no half of
/// a clock.
const FEWEST_CHARACTERS: usize = 2;
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

/// What a search of one frame brought.
#[derive(Clone, Debug)]
pub struct Discovery {
    /// Likeliest first.
    pub displays: Vec<Display>,
    /// Lines that read well, clocks or not: some digits of a clock may be dark.
    pub loose_digits: Vec<LooseDigits>,
}

/// A line of digits, as it was read one way.
#[derive(Clone, Debug)]
pub struct LooseDigits {
    pub quad: Quad,
    pub digits: String,
}

/// Where a display is looked for again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Search {
    /// Only where it was, give or take a third of its height.
    Here,
    /// Also around it.
    Around,
}

/// A display found again, and what it shows.
#[derive(Clone, Debug)]
pub struct Followed {
    /// The display at its new place: the argument for the next frame.
    pub display: Display,
    pub reading: Reading,
    /// How clearly a digit stands right beside the outermost places, 0..=1: the layout may
    /// have left out a place.
    pub beyond: f32,
    /// True if letters stand right behind the last place, as AM and PM do.
    pub is_lettered: bool,
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

    /// True if no digit stands beside the outermost places.
    fn stands_alone(&self) -> bool {
        self.fit.beyond < MOST_BESIDE
    }
}

/// The networks, loaded once.
pub struct Eye {
    finder: Box<dyn Net>,
    reader: Box<dyn Net>,
}

impl Eye {
    /// Loads the built-in networks.
    ///
    /// # Errors
    /// [`crate::error::ErrorKind::Model`] if they do not load: a broken build.
    pub fn open() -> Result<Self> {
        Ok(Self {
            finder: net::finder()?,
            reader: net::reader()?,
        })
    }

    /// All lines of digits in the frame, clocks or not: sure ones, seen well at their size, and long
    /// ones first.
    pub fn lines(&self, frame: &Pyramid, sharpness: Sharpness) -> Result<Vec<Line>> {
        find_lines(&*self.finder, frame, sharpness)
    }

    /// Displays in the frame whose digits are grouped like a running clock, likeliest
    /// first. Whether they run is not known yet. What is known as `lettering` by this look at `stamp`
    /// is read as the finder turned it, and neither every way nor for what may lie below; what is
    /// read here is kept there.
    pub fn discover(
        &self,
        frame: &Pyramid,
        sharpness: Sharpness,
        lettering: &mut Lettering,
        stamp: Stamp,
    ) -> Result<Discovery> {
        let mut singles: Vec<Display> = Vec::new();
        let mut pieces: Vec<(Row, f32)> = Vec::new();
        let mut loose_digits = Vec::new();
        let mut lines = self.lines(frame, sharpness)?;
        lines.truncate(MOST_LINES);
        let (mut views, mut legible, mut unread) = (Vec::new(), Vec::new(), Vec::new());
        let (mut shown, mut known) = (Vec::new(), Vec::new());
        for line in &lines {
            let upright = self.look_with_room(frame, &line.quad)?;
            let digits = upright.as_ref().map(|(_, columns)| columns.digits());
            let digits = digits.unwrap_or_default();
            if let Some(stands_upright) = lettering.holds(&digits, stamp) {
                known.extend(upright.filter(|_| stands_upright));
                legible.push(line.quad);
                continue;
            }
            let way = upright.as_ref().map(|(strip, _)| strip.quad());
            let seen = self.look_every_way(frame, &line.quad, upright)?;
            let stands_upright = seen.iter().any(|(strip, _)| Some(strip.quad()) == way);
            shown.push((line.quad, digits, stands_upright));
            if best_legibility(&seen) >= LEAST_LEGIBLE_ROW {
                legible.push(line.quad);
            } else {
                unread.push(Unread {
                    quad: line.quad,
                    shows_digits: seen.iter().any(|(_, columns)| {
                        columns.legibility() >= LEAST_LOOSE && columns.shows_digits()
                    }),
                });
            }
            views.extend(seen);
        }
        // Where one level saw a line askew, another may have seen it well.
        unread.retain(|line| !legible.iter().any(|known| is_same_place(known, &line.quad)));
        let mut take = |views: &[(Strip, Columns)], pieces: &mut Vec<(Row, f32)>| {
            for (strip, columns) in views {
                if columns.legibility() >= LEAST_LOOSE {
                    loose_digits.push(LooseDigits {
                        quad: strip.quad(),
                        digits: columns.digits(),
                    });
                }
                let (clocks, rows) = displays_in(strip, columns);
                singles.extend(clocks);
                pieces.extend(rows);
            }
            singles.iter().any(Display::is_plain_and_whole)
        };
        // Displays of which the finder sees no whole line are not looked for beside a clock in
        // full view.
        let mut stacks = Vec::new();
        if !take(&views, &mut pieces) {
            let finest_px = finest_px(frame, sharpness);
            let rows = self.look_at_blocks(frame, &unread, &lines, finest_px)?;
            take(&rows, &mut pieces);
            pieces.extend(self.other_rows(frame, &pieces)?);
            stacks = self.stacks(frame, &pieces)?;
        }
        take(&known, &mut pieces);
        singles.extend(pairs(&pieces));
        singles.extend(stacks);
        let displays = likeliest(singles);
        // A row that leads to another below it goes on doing so.
        let leads_on = |quad: &Quad| {
            let mut of_two = displays.iter().filter(|d| d.rows.len() > 1);
            of_two.any(|d| d.rows.iter().any(|row| is_same_place(&row.quad, quad)))
        };
        for (_, digits, stands_upright) in shown.into_iter().filter(|line| !leads_on(&line.0)) {
            lettering.add(digits, stands_upright, stamp);
        }
        Ok(Discovery {
            displays,
            loose_digits,
        })
    }

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
                Search::Around => self.see_again(frame, row, last.rows.len() > 1)?,
            });
        }
        // Rows of one display move together: one that is seen well leads the others. One that
        // went elsewhere has taken another row for itself, also where it reads well there.
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
        if search == Search::Around {
            self.swap_rows(frame, last, &mut views)?;
        }
        let mut rows = Vec::new();
        let (mut places, mut glyphs, mut strips) = (Vec::new(), Vec::new(), Vec::new());
        let mut last_mark = MarkOdds::UNKNOWN;
        let (mut total, mut count, mut beyond) = (0.0, 0, 0.0f32);
        let (mut is_lettered, mut digit_px) = (false, 0.0f32);
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
                beyond = beyond.max(view.fit.beyond);
            }
            let letters_px = view.columns.letters_behind(view.fit.at(row.length));
            is_lettered |= letters_px.is_some();
            let xs: Vec<f32> = row.places.iter().map(|&p| view.fit.at(p)).collect();
            places.extend(view.odds.iter().copied());
            glyphs.extend(row.glyphs(&view.strip, &view.fit));
            last_mark = match row.groups[..] {
                [.., _, last] => {
                    let first_of_last = xs.len() - usize::from(last);
                    let (left, right) = (xs[first_of_last - 1], xs[first_of_last]);
                    view.columns.mark_between(left, right)
                }
                _ if is_behind => {
                    let left = view.fit.at(row.places[0] - MARK_BEFORE * row.pitch);
                    view.columns.mark_between(left, xs[0])
                }
                _ => MarkOdds::UNKNOWN,
            };
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
            is_lettered,
            strips,
        }))
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
    /// if that does not read well, where the row was after all. Where rows stand close together the finder may take a bit of
    /// both for a line, so `is_crowded` tries both places in any case.
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
        let look = self.look(frame, quad, FOLLOWING)?;
        Ok(look.map(|(strip, columns)| {
            let fit = row.align(&columns, FOLLOWING.margin * DIGIT_PX);
            let reach = 0.3 * row.pitch * DIGIT_PX * fit.scale;
            let odds = row.odds(&strip, &columns, &fit, reach);
            RowView {
                strip,
                columns,
                fit,
                odds,
            }
        }))
    }

    /// Reads a line that was read as the finder turned it, `upright`, upside down as well, if it shows
    /// a digit, whichever way that faces, if it reads badly also in a mirror, and keeps what reads
    /// best, or several: seven segments make digits every way, and the finder errs on short lines. Only
    /// a display seen the right way will be seen to run.
    pub(super) fn look_every_way(
        &self,
        frame: &Pyramid,
        quad: &Quad,
        upright: Option<(Strip, Columns)>,
    ) -> Result<Vec<(Strip, Columns)>> {
        let mut views: Vec<(Strip, Columns)> = Vec::from_iter(upright);
        if views
            .iter()
            .any(|v| v.1.characters().len() >= FEWEST_CHARACTERS && v.1.shows_a_digit())
        {
            let [a, b, c, d] = quad.corners();
            let turned = Quad::from_corners([c, d, a, b]);
            views.extend(self.look_with_room(frame, &turned)?);
        }
        let mut in_mirror = Vec::new();
        if views.iter().any(|v| v.1.has_mirrored()) && best_legibility(&views) < LEGIBLE_AT_ONCE {
            for (strip, _) in &views {
                in_mirror.extend(self.look_with_room(frame, &strip.quad_in_mirror())?);
            }
        }
        // Neither way of facing drives out the other: a mirrored two is a five, and which of
        // them it is only a running clock tells.
        for facing in [&mut views, &mut in_mirror] {
            let best = best_legibility(facing);
            facing.retain(|v| v.1.legibility() > best - PLAINLY_WORSE || shows_a_time(&v.1));
        }
        if best_legibility(&in_mirror) > best_legibility(&views) {
            views.extend(in_mirror);
        }
        Ok(views)
    }

    /// Reads a line just as it is thought to lie, without a second look.
    pub(super) fn look_as_it_is(&self, frame: &Pyramid, quad: &Quad) -> Result<Option<Columns>> {
        let seen = self.cut_and_read(frame, quad, DISCOVERING)?;
        Ok(seen.map(|(_, columns)| columns))
    }

    /// Looks at a line for the first time: where digits go on to the ends of the strip, once
    /// more with room for those that the finder did not see. Not more often than that: a piece
    /// seen askew would be led all along its line beside the digits. Where a clock has one digit
    /// for its hours, the other may lie just beyond, too near to the end for the reader to tell
    /// it from what hides a part of it: where there is none, that look is not needed.
    pub(super) fn look_with_room(
        &self,
        frame: &Pyramid,
        quad: &Quad,
    ) -> Result<Option<(Strip, Columns)>> {
        let Some(seen) = self.look(frame, quad, DISCOVERING)? else {
            return Ok(None);
        };
        let (strip, columns) = &seen;
        if columns.has_digit_at_an_end() {
            return self.cut_and_read(frame, &strip.quad(), WITH_ROOM);
        }
        if hour_digits(columns) == Some(1)
            && let Some(wide) = self.cut_and_read(frame, &strip.quad(), WITH_ROOM)?
            && hour_digits(&wide.1) == Some(2)
        {
            return Ok(Some(wide));
        }
        Ok(Some(seen))
    }

    /// Cuts a line out and reads it; if the digits then lie badly in the strip, once more
    /// along the line on which they lie.
    pub(super) fn look(
        &self,
        frame: &Pyramid,
        quad: &Quad,
        room: Room,
    ) -> Result<Option<(Strip, Columns)>> {
        let Some(seen) = self.cut_and_read(frame, quad, room)? else {
            return Ok(None);
        };
        if let Some(better) = seen.1.lie().and_then(|lie| seen.0.better_quad(&lie))
            && let Some(again) = self.cut_and_read(frame, &better, room)?
            && again.1.legibility() > seen.1.legibility() - SLIGHTLY_WORSE
        {
            return Ok(Some(again));
        }
        Ok(Some(seen))
    }

    pub(super) fn cut_and_read(
        &self,
        frame: &Pyramid,
        quad: &Quad,
        room: Room,
    ) -> Result<Option<(Strip, Columns)>> {
        let Some(strip) = Strip::cut(frame, quad, room) else {
            return Ok(None);
        };
        let columns = read_strip(&*self.reader, &strip)?;
        Ok(Some((strip, columns)))
    }
}

/// Legibility of the most legible view, 0..=1; 0 without any.
fn best_legibility(views: &[(Strip, Columns)]) -> f32 {
    views.iter().map(|v| v.1.legibility()).fold(0.0, f32::max)
}

#[cfg(test)]
mod tests {
    use super::super::block::SECOND_ROWS;
    use super::*;
    use crate::rehearse::{Film, Shoot, Stress};
    use crate::timecode::{ClockForm, Rate, Ratio};
    use ndarray::Array4;
    use std::sync::Arc;
    use std::sync::atomic::{AtomicUsize, Ordering};

    /// A network that counts how often it runs.
    struct Counted(Box<dyn Net>, Arc<AtomicUsize>);

    impl Net for Counted {
        fn run(&self, input: Array4<f32>) -> Result<Array4<f32>> {
            self.1.fetch_add(1, Ordering::Relaxed);
            self.0.run(input)
        }
    }

    /// A frame of an ordinary clip.
    fn filmed(form: ClockForm) -> GrayImage {
        let film = Film::new(Shoot::ordinary(8, form, Rate::F25).resized(640, 360));
        image::DynamicImage::from(film.unwrap().frame(30)).into_luma8()
    }

    /// Places of the likeliest display in a picture, and how many strips were read to find it, at
    /// looks so many seconds behind the first frame.
    fn places_and_strips_at<const N: usize>(
        picture: &GrayImage,
        seconds: [i64; N],
    ) -> [(usize, usize); N] {
        let strips = Arc::new(AtomicUsize::new(0));
        let eye = Eye {
            finder: net::finder().unwrap(),
            reader: Box::new(Counted(net::reader().unwrap(), Arc::clone(&strips))),
        };
        let pyramid = Pyramid::new(picture.clone());
        let mut lettering = Lettering::default();
        seconds.map(|ticks| {
            let stamp = Stamp {
                ticks,
                tick_seconds: Ratio::ONE,
                index: None,
            };
            let found = eye
                .discover(&pyramid, Sharpness::Coarse, &mut lettering, stamp)
                .unwrap();
            let places = found.displays.first().map_or(0, |d| d.layout().places());
            (places, strips.swap(0, Ordering::Relaxed))
        })
    }

    fn places_and_strips(picture: &GrayImage) -> (usize, usize) {
        let [seen] = places_and_strips_at(picture, [0]);
        seen
    }

    #[test]
    fn digits_that_stood_longer_than_a_slate_is_held_are_read_one_way() {
        let seconds = filmed(ClockForm::Seconds);
        let [first, soon, later] = places_and_strips_at(&seconds, [0, 2, 4]);
        assert_eq!([first.0, soon.0, later.0], [6; 3]);
        assert_eq!(first.1, soon.1);
        assert!(
            later.1 + SECOND_ROWS.len() <= first.1,
            "{first:?} {later:?}"
        );
    }

    #[test]
    fn second_rows_are_looked_for_below_a_clock_of_seconds_but_not_beside_one_in_full_view() {
        let seconds = filmed(ClockForm::Seconds);
        let whole = filmed(ClockForm::frames(Rate::F25, false).unwrap());
        let mut both = GrayImage::new(640, 720);
        image::imageops::replace(&mut both, &seconds, 0, 0);
        image::imageops::replace(&mut both, &whole, 0, 360);
        let [alone, full, beside] = [&seconds, &whole, &both].map(places_and_strips);
        assert_eq!([alone.0, full.0, beside.0], [6, 8, 8]);
        // A line that is found a little beside in the other picture is read once more.
        assert!(
            beside.1 + SECOND_ROWS.len() <= alone.1 + full.1 + 1,
            "{alone:?} {full:?} {beside:?}"
        );
    }

    /// A fingertip right beside the first 1 of 11:57:40: the strip of the line that the finder
    /// saw ends between the two, and what is left looks like one hour digit.
    #[test]
    fn the_tens_of_the_hours_may_stand_at_the_end_of_the_strip() {
        let form = ClockForm::frames(Rate::F25, false).unwrap();
        let shoot = Shoot::stressed(432_174, form, Rate::F25, Stress::Fingers, 0.647_667);
        let hold = shoot.staged.as_ref().unwrap().hold;
        let middle_s = f64::midpoint(hold.from_s.max(0.0), hold.to_s);
        let picture = Film::new(shoot)
            .unwrap()
            .frame((middle_s * 25.0).round() as u64);
        let (places, _) = places_and_strips(&image::DynamicImage::from(picture).into_luma8());
        assert_eq!(places, 8);
    }
}
