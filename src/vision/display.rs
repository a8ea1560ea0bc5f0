//! A display as it was last seen, and how the lines of a frame make one.

use super::layout::{Group, clocks_in, halves_in, is_clock, is_time, stretches};
use super::read::{COLUMN_PX, Character, Columns, Kind};
use super::rectify::{DIGIT_PX, Lie, Strip};
use super::row::{End, Row};
use crate::geometry::{Point, Quad};
use crate::reading::Layout;

/// Legibility, or clarity once their places are known, of rows that may be one half of a display.
pub(super) const LEAST_LEGIBLE_ROW: f32 = 0.8;
/// Presence below which what looks like a display is none: texture, alone or beside a clock. Of
/// 2,648 simulated frames one is read worse for it.
const LEAST_CLEAR: f32 = 0.5;
/// Two outlines whose heights differ by no more than this factor may be the same.
const ONE_OUTLINE: f32 = 1.5;
/// Digit heights between the middles of two outlines of one layout, from which on they hold other groups.
const OTHER_GROUPS: f32 = 1.2;
/// Rows whose heights and lengths differ by no more than these factors may be of one kind: ones are
/// narrow in many fonts.
const ONE_HEIGHT: f32 = 1.3;
const ONE_LENGTH: f32 = 1.6;
/// Digit heights from middle to middle that two such rows may stand apart.
const FARTHEST: f32 = 5.0;
/// Steps from digit to digit within which a letter stands in one line of words with a number.
const BESIDE_A_NUMBER: f32 = 3.0;
/// Digit heights from middle to middle that rows of a column may stand apart.
const STACK_STEP: std::ops::Range<f32> = 1.1..3.0;
/// Share of a digit height by which rows of one display may lie on each other: they stand
/// apart, but their outlines are guesses.
const MOST_SHARED: f32 = 0.5;
/// How well a display or a row must be seen to be certainly where it was: the presence of the one,
/// the clarity of the other.
pub(super) const PLAINLY_SEEN: f32 = 0.9;

/// Cosine of the angle from which on a display stands upside down, turned by more than 120 degrees,
/// and what one is worth against one that stands upright: seven segments read as well either way,
/// and few cameras hang from a ceiling.
const UPSIDE_DOWN: f32 = 0.5;
const WORTH_UPSIDE_DOWN: f32 = 0.9;

/// Places of a clock that shows hours, minutes, seconds and frames.
const WHOLE_PLACES: usize = 8;

/// By how much the places of a layout must be better filled than those of one that is followed
/// for the latter to fit badly. Places that stand on digits give 0.95 to 1, those that slid off
/// them 0.65 to 0.9 (seen on small digits that were caught between two counts at first).
const BETTER_FILLED: f32 = 0.1;

/// A display as it was last seen: its layout and its one, two or four rows.
#[derive(Clone, Debug, PartialEq)]
pub struct Display {
    pub(super) rows: Vec<Row>,
    /// How well it was seen when last looked at, 0..=1: the presence of its digits where it is
    /// followed, their clarity where it was found.
    pub presence: f32,
}

impl Display {
    /// Groups over all rows.
    pub fn layout(&self) -> Layout {
        Layout {
            groups: self
                .rows
                .iter()
                .flat_map(|r| r.groups.iter().copied())
                .collect(),
        }
    }

    /// Outline of all digits: the only row's quad, or a rectangle along the first row that
    /// holds all of them.
    pub fn quad(&self) -> Quad {
        let first = self.rows[0].quad;
        if self.rows.len() == 1 {
            return first;
        }
        let ahead = first.direction();
        let corners = self.rows.iter().flat_map(|r| r.quad.corners());
        let (mut low, mut high) = ((f32::MAX, f32::MAX), (f32::MIN, f32::MIN));
        for p in corners {
            let (t, s) = (p.dot(ahead), p.y * ahead.x - p.x * ahead.y);
            low = (low.0.min(t), low.1.min(s));
            high = (high.0.max(t), high.1.max(s));
        }
        let at = |t: f32, s: f32| Point::new(t * ahead.x - s * ahead.y, t * ahead.y + s * ahead.x);
        let (top, base) = if first.is_mirrored() {
            (high.1, low.1)
        } else {
            (low.1, high.1)
        };
        Quad::from_corners([
            at(low.0, top),
            at(high.0, top),
            at(high.0, base),
            at(low.0, base),
        ])
    }

    /// This display with one place more before its first or behind its last, where a clock has one
    /// there; `None` in several rows, too.
    pub fn with_a_place(&self, at: End) -> Option<Self> {
        let [row] = &self.rows[..] else { return None };
        let grown = Self {
            rows: vec![row.with_a_place(at)],
            ..*self
        };
        is_clock(&grown.layout()).then_some(grown)
    }

    /// True if its digits are seen so well that it is certainly here.
    pub fn is_plain(&self) -> bool {
        self.presence >= PLAINLY_SEEN
    }

    /// True if it is plainly seen and is no piece of a larger one.
    pub fn is_plain_and_whole(&self) -> bool {
        self.is_plain() && self.layout().places() >= WHOLE_PLACES
    }

    /// True if its digits stand in more than one row.
    pub fn has_rows(&self) -> bool {
        self.rows.len() > 1
    }

    /// How many groups stand in a row above others, or well before them in their line: one, the hours, or
    /// the number of a scene or a take; two, hours and minutes, of this clock or another; 0 if none do.
    pub fn groups_apart(&self) -> usize {
        match &self.rows[..] {
            [row] if row.has_a_gap_behind_the_minutes() => 2,
            [first, second]
                if matches!(first.groups[..], [2] | [1 | 2, 2])
                    && second.groups.len() > 1
                    && !self.goes_on_behind() =>
            {
                first.groups.len()
            }
            _ => 0,
        }
    }

    /// True if its second row stands behind the first, in the same line.
    pub(super) fn goes_on_behind(&self) -> bool {
        match &self.rows[..] {
            [first, second] => {
                stands_behind(&first.quad, &second.quad) && !stands_below(&first.quad, &second.quad)
            }
            _ => false,
        }
    }

    /// True if the two stand at one place of the frame, or one at a row of the other.
    pub fn is_near(&self, other: &Self) -> bool {
        let rows = || self.rows.iter().chain(&other.rows);
        let reach = 1.5 * rows().map(|row| row.quad.height_px()).fold(0.0, f32::max);
        let middles = |of: &Self| {
            let rows: Vec<Point> = of.rows.iter().map(|row| row.quad.centre()).collect();
            rows.into_iter().chain([of.quad().centre()])
        };
        middles(self).any(|a| middles(other).any(|b| a.distance(b) < reach))
    }

    /// True if the middle of this one lies on the other: a row right above or below does not.
    pub fn is_where(&self, other: &Self) -> bool {
        self.quad().has_its_middle_on(&other.quad())
    }

    /// True if the two have one outline in the frame and one layout, the same way up.
    pub fn is_same_as(&self, other: &Self) -> bool {
        let (a, b) = (self.quad(), other.quad());
        let (ahead, other_ahead) = (a.direction(), b.direction());
        self.layout() == other.layout()
            && self.is_where(other)
            && self.has_its_rows_on(other)
            && (1.0 / ONE_OUTLINE..ONE_OUTLINE).contains(&(a.height_px() / b.height_px()))
            && ahead.dot(other_ahead) > 0.0
            && self.rows[0].quad.is_mirrored() == other.rows[0].quad.is_mirrored()
    }

    /// True if each of its rows lies on the other's of that number: rows that a jerk leads one row on lie
    /// on the next ones. Rows that are not as many have no such others.
    fn has_its_rows_on(&self, other: &Self) -> bool {
        let mut pairs = self.rows.iter().zip(&other.rows);
        self.rows.len() != other.rows.len()
            || pairs.all(|(own, theirs)| own.quad.has_its_middle_on(&theirs.quad))
    }

    /// The same, and not a group of digits further on.
    pub fn has_the_groups_of(&self, other: &Self) -> bool {
        let (a, b) = (self.quad(), other.quad());
        self.is_same_as(other) && a.centre().distance(b.centre()) < OTHER_GROUPS * a.height_px()
    }

    /// True if a line of digits stands on one of its rows, whichever way it reads.
    pub fn has_on_it(&self, line: &Quad) -> bool {
        self.rows
            .iter()
            .any(|row| line.has_its_middle_on(&row.quad))
    }

    /// True if each row of this one stands on one of the other's, whichever way they read, and it
    /// has no more places.
    pub fn is_view_of(&self, other: &Self) -> bool {
        self.layout().places() <= other.layout().places()
            && self.rows.iter().all(|row| other.has_on_it(&row.quad))
    }

    /// True if it has several rows and one of them stands on the only one of `other`, whichever way
    /// they read.
    pub fn takes_the_row_of(&self, other: &Self) -> bool {
        self.has_rows()
            && !other.has_rows()
            && self.rows.iter().any(|row| other.has_on_it(&row.quad))
    }

    /// True if this one, just found, is worth following beside `others`, which are followed and
    /// should be no more than `most`. One that is among them is not, unless its places are filled
    /// better: a display that was caught between two counts at first leaves places beside the
    /// digits. Nor is another one too many, unless it outdoes all that stand where it stands, or
    /// has more places than one of them: a digit that was dark or hidden leaves one out.
    pub fn adds_to(&self, others: &[&Self], most: usize) -> bool {
        let fits_better = |d: &Self| self.presence > d.presence + BETTER_FILLED;
        let is_known = others.iter().any(|d| d.is_same_as(self) && !fits_better(d));
        let near: Vec<_> = others.iter().filter(|d| d.is_near(self)).collect();
        let places = self.layout().places();
        let is_better = !near.is_empty()
            && (near.iter().all(|d| fits_better(d))
                || near.iter().any(|d| d.layout().places() < places));
        !is_known && (others.len() < most || is_better)
    }

    /// True if one of its rows lies on another: each digit would be read twice.
    pub(super) fn has_rows_on_each_other(&self) -> bool {
        let lie_on = |a: &Quad, b: &Quad| {
            let (along, aside) = a.along_and_aside(b.centre());
            let shared = (a.length_px() + b.length_px()) / 2.0 - along.abs();
            let height = a.height_px().min(b.height_px());
            aside.abs() < MOST_SHARED * height && shared > MOST_SHARED * height
        };
        let mut rows = self.rows.iter().enumerate();
        rows.any(|(i, row)| {
            self.rows[i + 1..]
                .iter()
                .any(|other| lie_on(&row.quad, &other.quad))
        })
    }
}

/// Clocks that a line holds, and pieces that may be one half of a clock, each with its clarity.
pub(super) fn displays_in(strip: &Strip, columns: &Columns) -> (Vec<Display>, Vec<(Row, f32)>) {
    let (mut clocks, mut pieces) = (Vec::new(), Vec::new());
    let lie = columns.lie().unwrap_or(Lie::STRAIGHT);
    let characters = columns.characters();
    for stretch in stretches(&characters) {
        let found = clocks_in(&stretch);
        let holds_a_clock = !found.is_empty();
        for groups in found {
            let clarity = clarity_of(columns, &groups);
            let Some(row) = Row::new(strip, &lie, &groups) else {
                continue;
            };
            if groups.len() == 3 {
                pieces.push((row.clone(), clarity));
            }
            clocks.push(Display {
                rows: vec![row],
                presence: clarity,
            });
        }
        // A line that holds a clock is no row of another: its own pieces would make one.
        if holds_a_clock {
            continue;
        }
        for (i, groups) in halves_in(&stretch).iter().enumerate() {
            let clarity = clarity_of(columns, groups);
            if i == 0 || clarity >= LEAST_LEGIBLE_ROW {
                let row = Row::new(strip, &lie, groups);
                pieces.extend(row.map(|row| {
                    let has_letters_beside = have_letters_beside(groups, &characters, row.pitch);
                    (
                        Row {
                            has_letters_beside,
                            ..row
                        },
                        clarity,
                    )
                }));
            }
        }
    }
    (clocks, pieces)
}

/// True if a letter stands in the line of some digits, within a few of their steps.
fn have_letters_beside(groups: &[Group], characters: &[Character], pitch: f32) -> bool {
    let reach = BESIDE_A_NUMBER * pitch * DIGIT_PX;
    let xs = || groups.iter().flat_map(|group| &group.places);
    characters
        .iter()
        .any(|c| c.kind == Kind::Other && xs().any(|x| (c.x - x).abs() < reach))
}

/// True if the line holds a clock whose digits are a time of day. Upside down, seven segments
/// read as well as the right way up, but seldom as a time.
pub(super) fn shows_a_time(columns: &Columns) -> bool {
    let digit = |x: f32| columns.odds_near(x, COLUMN_PX).best().0;
    stretches(&columns.characters())
        .iter()
        .flat_map(clocks_in)
        .any(|groups| is_time(&groups, digit))
}

/// Digits of the first and of the last group of the clock that a line holds, of the one with the most
/// if it may hold several.
pub(super) fn outer_digits(columns: &Columns) -> Option<[usize; 2]> {
    stretches(&columns.characters())
        .iter()
        .flat_map(clocks_in)
        .map(|groups| [&groups[0], &groups[groups.len() - 1]].map(|group| group.places.len()))
        .max_by_key(|outer| outer.iter().sum::<usize>())
}

/// The displays that are no texture, each once, those of most worth first.
pub(super) fn likeliest(mut found: Vec<Display>) -> Vec<Display> {
    found.retain(|display| display.presence >= LEAST_CLEAR);
    found.sort_by(|a, b| worth(b).total_cmp(&worth(a)));
    let mut displays: Vec<Display> = Vec::new();
    for display in found {
        if !displays.iter().any(|d| d.is_same_as(&display)) {
            displays.push(display);
        }
    }
    displays
}

/// Larger and surer displays first; a fuller clock (with frames) before a lesser one; of digits that
/// make sense upside down, too, those that stand upright.
fn worth(display: &Display) -> f32 {
    let places: usize = display.rows.iter().map(|r| r.places.len()).sum();
    let quad = display.quad();
    let small = (quad.height_px() / 12.0).min(1.0);
    let turned = match quad.direction().x < -UPSIDE_DOWN {
        true => WORTH_UPSIDE_DOWN,
        false => 1.0,
    };
    display.presence * places as f32 * small * turned - 0.5 * (display.rows.len() - 1) as f32
}

/// The clarity of some groups of digits.
pub(super) fn clarity_of(columns: &Columns, groups: &[Group]) -> f32 {
    let xs = groups.iter().flat_map(|g| &g.places);
    let clear = |&x: &f32| columns.digit_at(x) * columns.odds_near(x, COLUMN_PX).best().1;
    xs.clone().map(clear).sum::<f32>() / xs.count().max(1) as f32
}

/// Two rows that make one clock: the second below the first or behind it.
pub(super) fn pairs(pieces: &[(Row, f32)]) -> Vec<Display> {
    let mut found = Vec::new();
    for (i, (a, clarity_a)) in pieces.iter().enumerate() {
        for (j, (b, clarity_b)) in pieces.iter().enumerate() {
            let is_below = || may_be_above(a, b) && stands_below(&a.quad, &b.quad);
            let is_two_pairs = |row: &Row| row.groups == [2, 2];
            let is_far_below =
                || is_two_pairs(a) && is_two_pairs(b) && stands_far_below(&a.quad, &b.quad);
            if i == j || !(is_below() || is_far_below() || stands_behind(&a.quad, &b.quad)) {
                continue;
            }
            let display = Display {
                rows: vec![a.clone(), b.clone()],
                presence: clarity_a.min(*clarity_b),
            };
            if is_clock(&display.layout()) && !display.has_rows_on_each_other() {
                found.push(display);
            }
        }
    }
    found
}

/// True if one row may be the first of two, the other below it. A number by itself may be the hours
/// above minutes and seconds, unless it stands in a line of words, and is that of a scene or a take at
/// least as often: what is read of it is doubtful.
pub(super) fn may_be_above(first: &Row, second: &Row) -> bool {
    match first.groups[..] {
        [2] => matches!(second.groups[..], [2, 2] | [2, 2, 1..=3]) && !first.has_letters_beside,
        _ => first.groups.len() > 1,
    }
}

/// True if `b` stands right below `a`, turned the same way.
fn stands_below(a: &Quad, b: &Quad) -> bool {
    let (along, down) = a.along_and_aside(b.centre());
    let (ha, hb) = (a.height_px(), b.height_px());
    let reach = ha.max(hb);
    (0.8 * ha.min(hb)..2.5 * reach).contains(&down)
        && along.abs() < 0.5 * a.length_px().max(b.length_px()) + reach
        && are_alike(a, b)
}

/// True if `b` stands below `a`, as far as two lines on one upright screen may stand apart, and
/// looks as if it were of one kind with it.
fn stands_far_below(a: &Quad, b: &Quad) -> bool {
    let (along, down) = a.along_and_aside(b.centre());
    let height = a.height_px().max(b.height_px());
    (0.0..FARTHEST * height).contains(&down) && along.abs() < height && is_one_kind(a, b)
}

/// Digit heights of `a` by which `b` stands below it, if the two may be neighbours in a column of
/// rows of one kind.
pub(super) fn step_in_a_stack(a: &Quad, b: &Quad) -> Option<f32> {
    let (along, down) = a.along_and_aside(b.centre());
    let step = down / a.height_px();
    (STACK_STEP.contains(&step) && along.abs() < 0.5 * down && is_one_kind(a, b)).then_some(step)
}

/// True if two rows are turned alike, as tall and as long.
pub(super) fn is_one_kind(a: &Quad, b: &Quad) -> bool {
    let within = |most: f32, ratio: f32| (1.0 / most..most).contains(&ratio);
    within(ONE_HEIGHT, a.height_px() / b.height_px())
        && within(ONE_LENGTH, a.length_px() / b.length_px())
        && are_alike(a, b)
}

/// True if `b` stands just behind `a`, turned the same way.
fn stands_behind(a: &Quad, b: &Quad) -> bool {
    let (along, down) = a.along_and_aside(b.centre());
    let reach = a.height_px().max(b.height_px());
    let gap = along - (a.length_px() + b.length_px()) / 2.0;
    down.abs() < 0.8 * reach && (-0.5 * reach..2.5 * reach).contains(&gap) && are_alike(a, b)
}

/// True if two rows of one display may be turned and as high as these.
fn are_alike(a: &Quad, b: &Quad) -> bool {
    let (ahead, b_ahead) = (a.direction(), b.direction());
    a.is_mirrored() == b.is_mirrored()
        && ahead.dot(b_ahead) > 0.95
        && (0.35..2.9).contains(&(a.height_px() / b.height_px()))
}

#[cfg(test)]
impl Display {
    /// One row in plain view.
    pub(crate) fn in_plain_view(quad: Quad, groups: &[u8]) -> Self {
        let groups = groups.to_vec();
        Self {
            rows: vec![Row {
                is_in_two_sizes: false,
                groups,
                ..super::row::tests::row(quad)
            }],
            presence: 1.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::read::tests::perfect;
    use super::super::row::tests::{level, row};
    use super::*;

    fn display(rows: &[Row]) -> Display {
        Display {
            rows: rows.to_vec(),
            presence: 1.0,
        }
    }

    fn of_groups(quad: Quad, groups: &[u8]) -> Row {
        Row {
            is_in_two_sizes: false,
            groups: groups.to_vec(),
            ..row(quad)
        }
    }

    /// Caught between two shakes, rows over a date were followed one row on, and the clock itself, found
    /// again, passed for them: the clip had none.
    #[test]
    fn rows_that_lie_one_row_on_are_another_display() {
        let rows = |top_px: f32| {
            let at = |y: f32| of_groups(level(0.0, y, 114.0, 40.0), &[2, 2]);
            display(&[at(top_px), at(top_px + 56.0)])
        };
        for (moved_px, is_same) in [(0.0, true), (15.0, true), (56.0, false)] {
            let (clock, moved) = (rows(0.0), rows(moved_px));
            assert!(clock.is_where(&moved) && clock.layout() == moved.layout());
            assert_eq!(clock.is_same_as(&moved), is_same, "{moved_px}");
            assert_eq!(clock.adds_to(&[&moved], 4), !is_same, "{moved_px}");
        }
    }

    #[test]
    fn a_layout_that_lies_a_group_further_on_holds_other_groups() {
        let at = |x: f32| display(&[row(level(x, 0.0, 114.0, 20.0))]);
        for (moved_px, has_them) in [(0.0, true), (12.0, true), (30.0, false)] {
            let (here, there) = (at(0.0), at(moved_px));
            assert!(here.is_same_as(&there), "{moved_px}");
            assert_eq!(here.has_the_groups_of(&there), has_them, "{moved_px}");
        }
    }

    #[test]
    fn a_date_under_a_clock_in_two_rows_is_another_display_though_both_have_four_pairs() {
        let hours = of_groups(level(100.0, 100.0, 300.0, 60.0), &[2, 2, 2]);
        let frames = of_groups(level(200.0, 180.0, 100.0, 60.0), &[2]);
        let date = of_groups(level(200.0, 260.0, 100.0, 15.0), &[2, 2, 2, 2]);
        let clock = display(&[hours.clone(), frames]);
        assert!(clock.is_near(&display(std::slice::from_ref(&date))));
        assert!(!clock.is_same_as(&display(&[date])));
        assert!(clock.is_same_as(&clock));
        assert!(!clock.is_same_as(&display(&[hours])));
    }

    #[test]
    fn one_line_taken_for_one_row_or_for_two_is_one_display() {
        let whole = of_groups(level(100.0, 100.0, 400.0, 60.0), &[2, 2, 2, 2]);
        let hours = of_groups(level(100.0, 100.0, 290.0, 60.0), &[2, 2, 2]);
        let frames = of_groups(level(410.0, 100.0, 90.0, 60.0), &[2]);
        assert!(display(&[whole]).is_same_as(&display(&[hours, frames])));
    }

    #[test]
    fn a_display_is_laid_out_anew_where_its_places_do_not_stand_on_the_digits() {
        let seen = |groups: &[u8], presence| Display {
            presence,
            ..display(&[of_groups(level(100.0, 100.0, 400.0, 60.0), groups)])
        };
        let slid = seen(&[2, 2, 2, 3], 0.8);
        let elsewhere = display(&[of_groups(level(100.0, 400.0, 400.0, 60.0), &[2, 2, 2])]);
        for (found, others, most, adds) in [
            (seen(&[2, 2, 2, 3], 0.99), vec![&slid], 4, true),
            // As good as the one that is followed.
            (seen(&[2, 2, 2, 3], 0.85), vec![&slid], 4, false),
            // There are too many already, but none at this place is any better.
            (seen(&[2, 2, 2, 3], 0.99), vec![&slid, &elsewhere], 2, true),
            (seen(&[2, 2, 2, 2], 0.85), vec![&slid, &elsewhere], 2, false),
            (seen(&[2, 2, 2, 2], 0.85), vec![&slid, &elsewhere], 3, true),
            // It leaves no digit out that another one has.
            (seen(&[2, 2, 3, 3], 0.85), vec![&slid, &elsewhere], 2, true),
            (seen(&[2, 2, 2, 3], 0.99), vec![&elsewhere], 1, false),
        ] {
            assert_eq!(found.adds_to(&others, most), adds, "{found:?} {most}");
        }
    }

    #[test]
    fn a_line_tells_how_many_digits_its_outer_groups_have() {
        for (text, digits) in [
            ("10:20:30:12", Some([2, 2])),
            ("9:20:30:12", Some([1, 2])),
            ("10:20:30:1", Some([2, 1])),
            ("9:20:30:125", Some([1, 3])),
            ("10:20:30", Some([2, 2])),
            ("10:24", None),
        ] {
            assert_eq!(
                outer_digits(&perfect(text, 10.0, 12.0, 200)),
                digits,
                "{text}"
            );
        }
    }

    #[test]
    fn rows_on_each_other_are_noticed() {
        let first = level(100.0, 100.0, 90.0, 60.0);
        for (second, is_on) in [
            // The hours of this row are where the first row is.
            (level(100.0, 104.0, 320.0, 60.0), true),
            (level(150.0, 100.0, 320.0, 60.0), true),
            (level(200.0, 100.0, 320.0, 60.0), false),
            (level(100.0, 150.0, 320.0, 60.0), false),
        ] {
            let rows = [of_groups(first, &[2]), of_groups(second, &[2, 2, 3])];
            assert_eq!(display(&rows).has_rows_on_each_other(), is_on, "{second:?}");
        }
    }

    #[test]
    fn two_rows_on_each_other_make_no_display() {
        // Both are pieces of 09:20:23:14.
        let first = of_groups(level(100.0, 100.0, 290.0, 60.0), &[2, 2, 2]);
        let rest = of_groups(level(330.0, 104.0, 130.0, 60.0), &[3]);
        let behind = of_groups(level(420.0, 104.0, 130.0, 60.0), &[3]);
        assert!(pairs(&[(first.clone(), 1.0), (rest, 1.0)]).is_empty());
        assert_eq!(pairs(&[(first, 1.0), (behind, 1.0)]).len(), 1);
    }

    #[test]
    fn texture_is_no_display_alone_or_with_a_clock() {
        let hours = of_groups(level(0.0, 100.0, 90.0, 60.0), &[2]);
        let rest = of_groups(level(150.0, 100.0, 320.0, 60.0), &[2, 2, 3]);
        for (presence, count) in [(0.18, 0), (0.9, 1)] {
            let pieces = [(hours.clone(), presence), (rest.clone(), 1.0)];
            assert_eq!(likeliest(pairs(&pieces)).len(), count, "{presence}");
            let alone = Display {
                presence,
                ..display(std::slice::from_ref(&rest))
            };
            assert_eq!(likeliest(vec![alone]).len(), count, "{presence}");
        }
    }

    #[test]
    fn a_number_by_itself_above_a_row_may_be_its_hours_unless_letters_stand_beside_it() {
        let number = level(100.0, 100.0, 90.0, 60.0);
        for (groups, rest, has_letters_beside, place, found) in [
            (&[2][..], &[2, 2, 2][..], false, (100.0, 180.0), Some(1)),
            (&[2], &[2, 2, 3], false, (100.0, 180.0), Some(1)),
            (&[2], &[2, 2], false, (100.0, 180.0), Some(1)),
            (&[2], &[2, 2, 2], true, (100.0, 180.0), None),
            (&[3], &[2, 2, 2], false, (100.0, 180.0), None),
            (&[2], &[2], false, (100.0, 180.0), None),
            (&[2, 2], &[2, 2], false, (100.0, 180.0), Some(2)),
            // Below or behind it is frames, or hours that are larger.
            (&[2, 2, 2], &[2], false, (100.0, 180.0), Some(0)),
            (&[2], &[2, 2, 2], true, (210.0, 100.0), Some(0)),
        ] {
            let number = Row {
                has_letters_beside,
                ..of_groups(number, groups)
            };
            let rest = of_groups(level(place.0, place.1, 300.0, 60.0), rest);
            let pieces = [(number, 1.0), (rest, 1.0)];
            let displays = pairs(&pieces);
            let above: Vec<usize> = displays.iter().map(Display::groups_apart).collect();
            assert_eq!(above, Vec::from_iter(found), "{pieces:?}");
        }
    }

    #[test]
    fn letters_in_the_line_of_a_number_are_seen() {
        for (line, expected) in [
            ("18", Some(false)),
            ("TAKE18", Some(true)),
            ("T18", Some(true)),
            ("18T", Some(true)),
            // Far enough to be another thing's.
            ("T      18", Some(false)),
        ] {
            let characters = perfect(line, 10.0, 12.0, 240).characters();
            let of_line = stretches(&characters)
                .into_iter()
                .flat_map(|stretch| halves_in(&stretch))
                .map(|groups| have_letters_beside(&groups, &characters, 12.0 / DIGIT_PX))
                .next();
            assert_eq!(of_line, expected, "{line}");
        }
    }

    /// As on an upright screen; what is smaller, longer, shifted or further off is another thing's.
    #[test]
    fn two_pairs_far_below_two_pairs_of_one_kind_make_a_clock() {
        let first = level(100.0, 100.0, 200.0, 60.0);
        for (second, groups, count) in [
            (level(110.0, 300.0, 200.0, 60.0), &[2, 2][..], 1),
            (level(110.0, 300.0, 200.0, 60.0), &[2], 0),
            (level(110.0, 440.0, 200.0, 60.0), &[2, 2], 0),
            (level(100.0, 300.0, 200.0, 40.0), &[2, 2], 0),
            (level(100.0, 300.0, 400.0, 60.0), &[2, 2], 0),
            (level(200.0, 300.0, 200.0, 60.0), &[2, 2], 0),
            (level(110.0, -100.0, 200.0, 60.0), &[2, 2], 0),
        ] {
            let pieces = [
                (of_groups(first, &[2, 2]), 1.0),
                (of_groups(second, groups), 1.0),
            ];
            let of_first = pairs(&pieces)
                .into_iter()
                .filter(|d| d.rows[0].quad == first);
            assert_eq!(of_first.count(), count, "{second:?} {groups:?}");
        }
    }

    #[test]
    fn rows_below_and_behind_belong_together_and_others_do_not() {
        let first = level(100.0, 100.0, 300.0, 60.0);
        for (second, belongs) in [
            (level(200.0, 180.0, 100.0, 60.0), true),
            (level(200.0, 180.0, 100.0, 40.0), true),
            (level(420.0, 110.0, 100.0, 40.0), true),
            (level(100.0, 20.0, 300.0, 60.0), false),
            (level(100.0, 300.0, 300.0, 60.0), false),
            (level(800.0, 180.0, 100.0, 60.0), false),
            (level(200.0, 180.0, 20.0, 10.0), false),
        ] {
            let is_one = stands_below(&first, &second) || stands_behind(&first, &second);
            assert_eq!(is_one, belongs, "{second:?}");
        }
    }
}
