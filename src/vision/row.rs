//! One row of a display: where its digit places lie, in the frame and in a strip.

use super::layout::{Group, layout_of};
use super::read::{COLUMN_PX, Columns, Kind};
use super::rectify::{DIGIT_PX, Lie, Strip};
use crate::geometry::{Point, Quad};
use crate::glyph::Glyph;
use crate::reading::DigitOdds;

/// Contrast of a dark place against the clearest place of its row, at most. Lit digits of
/// one row differ by less than two, also half changed; unlit segments in a dim room show a
/// twentieth.
const DARK_SHARE: f32 = 0.2;

/// Pitches from the middle of a place within which columns tell of its digit, and those within which
/// its contrast is taken.
const REACH: f32 = 0.3;
const CONTRAST_REACH: f32 = 0.4;
/// Steps from place to place that a glyph takes in: shifted by a tenth of a digit's height, it holds
/// the digit still.
const GLYPH_PITCHES: f32 = 1.2;

/// One row of a display: where it is and where its places lie along it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Row {
    /// From the first to the last place's cell, presented pixels.
    pub quad: Quad,
    /// Middles of the places along the quad, in digit heights from its left edge.
    pub places: Vec<f32>,
    /// Middles of the marks between its groups, likewise.
    pub marks: Vec<f32>,
    /// Length of the quad in digit heights.
    pub length: f32,
    /// Digit heights between neighbouring places of a group.
    pub pitch: f32,
    /// Sizes of the groups in this row.
    pub groups: Vec<u8>,
    /// True if its digits are of two sizes: then it does not taper, however it is seen.
    pub is_in_two_sizes: bool,
    /// True if letters were seen beside its digits where it was found as a piece of a line.
    pub has_letters_beside: bool,
}

/// Where a row's places lie in a strip.
pub(super) struct Alignment {
    /// Strip px of the row quad's left edge.
    pub offset: f32,
    /// 1.0 when the row is as long as it was.
    pub scale: f32,
    /// Mean probability, over the places, that a digit stands there.
    pub presence: f32,
    pub beyond: Beyond,
}

/// How clearly a digit stands right beside the outermost places, 0..=1: that one stands there, and
/// which.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Beyond {
    pub before: f32,
    pub behind: f32,
}

impl Beyond {
    /// The clearer of both.
    pub fn most(self) -> f32 {
        self.before.max(self.behind)
    }

    /// Each side as it is clearer in one of two rows.
    pub fn or(self, other: Self) -> Self {
        Self {
            before: self.before.max(other.before),
            behind: self.behind.max(other.behind),
        }
    }
}

/// An end of a row, as it is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    First,
    Last,
}

impl Alignment {
    fn at_rest(offset: f32, scale: f32) -> Self {
        Self {
            offset,
            scale,
            presence: 0.0,
            beyond: Beyond::default(),
        }
    }

    /// Strip px of a position along the row, given in digit heights.
    pub fn at(&self, position: f32) -> f32 {
        self.offset + position * DIGIT_PX * self.scale
    }
}

/// Pitches from one digit to the next beyond which two numbers stand side by side, and not two groups of
/// one, where marks hold the groups of each together.
const APART: f32 = 2.0;
/// How a row is laid over a strip: stretched by so many steps either way. How near a digit or mark has to
/// be to a place to count, in pitches: a seventh of it counts at twice that.
const STRETCH_STEPS: i32 = 8;
const STRETCH_STEP: f32 = 0.025;
const DIGIT_SPREAD: f32 = 0.16;
const MARK_SPREAD: f32 = 0.2;
/// What tells one way to lay it from another, in digits that stand on its places: a mark that stands
/// between them, a digit just outside, a stretch to twice the length, and a pitch moved, of two at most.
/// Judged: together the last two weigh less than one digit, and break ties.
const MARK_COUNTS: f32 = 0.6;
const OUTSIDE_COUNTS: f32 = 0.7;
const STRETCH_COUNTS: f32 = 2.0;
const MOVE_COUNTS: f32 = 0.2;
const MOST_MOVED: f32 = 2.0;

/// A place beside a row, in its digits' heights: from and to how far along it from its right edge,
/// and how far below its upper edge.
pub(super) struct Beside {
    pub along: (f32, f32),
    pub across: (f32, f32),
}

impl Row {
    /// From the groups of a stretch; `None` without two places to measure a pitch by.
    pub fn new(strip: &Strip, lie: &Lie, groups: &[Group]) -> Option<Self> {
        let xs: Vec<f32> = groups
            .iter()
            .flat_map(|g| g.places.iter().copied())
            .collect();
        let usual_step = |at: &dyn Fn(f32) -> f32| {
            let steps = |g: &Group| {
                let steps = g.places.windows(2).map(|w| at(w[1]) - at(w[0]));
                steps.collect::<Vec<f32>>()
            };
            let mut steps: Vec<f32> = groups.iter().flat_map(steps).collect();
            steps.sort_by(f32::total_cmp);
            steps.get(steps.len() / 2).copied()
        };
        let pitch_px = usual_step(&|x| x)?;
        let (left, right) = (xs[0] - pitch_px / 2.0, xs[xs.len() - 1] + pitch_px / 2.0);
        let length = (right - left) / lie.height_at(f32::midpoint(left, right));
        // Digit heights of the quad, which is as high as the digits lie in the strip: where they
        // shrink along it, they also stand closer.
        let (first_px, last_px) = (lie.height_at(left), lie.height_at(right));
        let along = |x: f32| {
            let (from, to) = (last_px * (x - left), first_px * (right - x));
            length * from / (from + to)
        };
        Some(Self {
            quad: strip.quad_between(left, right, lie),
            places: xs.iter().map(|&x| along(x)).collect(),
            marks: groups
                .windows(2)
                .filter(|pair| pair[1].after_mark)
                .filter_map(|pair| Some((pair[0].places.last()? + pair[1].places.first()?) / 2.0))
                .map(along)
                .collect(),
            length,
            pitch: usual_step(&along)?,
            groups: layout_of(groups).groups,
            is_in_two_sizes: lie.is_in_two_sizes,
            has_letters_beside: false,
        })
    }

    /// Shared length over joint length of the row and a line, along the row; `None` if the
    /// line is turned otherwise, of another height, further off to the side than
    /// `most_aside` digit heights, or covers less than three fifths of the row.
    pub fn overlap_with(&self, line: &Quad, most_aside: f32) -> Option<f32> {
        let (ahead, line_ahead) = (self.quad.direction(), line.direction());
        let height = self.quad.height_px();
        let (along, aside) = self.quad.along_and_aside(line.centre());
        let is_alike = ahead.dot(line_ahead) > 0.85
            && (0.6..1.6).contains(&(line.height_px() / height))
            && aside.abs() < most_aside * height;
        let (a, b) = (self.quad.length_px() / 2.0, line.length_px() / 2.0);
        let shared = a.min(along + b) - (-a).max(along - b);
        let joint = a.max(along + b) - (-a).min(along - b);
        (is_alike && shared > 1.2 * a).then_some(shared / joint)
    }

    /// The row's quad moved onto a line that the finder saw. Where the line is cut short
    /// or runs on (dark digits, other digits beside, the edge of the picture looked at),
    /// only its direction and height count, and the row keeps its place along it.
    pub fn carried_to(&self, line: &Quad, overlap: f32) -> Quad {
        let ahead = line.direction();
        let is_whole = overlap > 0.85;
        // The display does not change its proportions: the length of a whole line, which
        // the finder measures well, tells the height better than the height it guesses.
        let height = if is_whole {
            line.length_px() / self.length
        } else {
            self.quad.height_px()
        };
        let (seen, own) = (line.centre(), self.quad.centre());
        let along = (own.x - seen.x) * ahead.x + (own.y - seen.y) * ahead.y;
        let slide = if is_whole { 0.0 } else { along };
        let centre = Point::new(seen.x + ahead.x * slide, seen.y + ahead.y * slide);
        let (left, right) = (
            line.top_left.distance(line.bottom_left),
            line.top_right.distance(line.bottom_right),
        );
        let taper = match self.is_in_two_sizes {
            true => 1.0,
            false => (right / left.max(1e-6)).clamp(0.8, 1.25).sqrt(),
        };
        // The finder sees no mirrors: a row that is followed in one stays in it.
        let facing = if line.is_mirrored() == self.quad.is_mirrored() {
            1.0
        } else {
            -1.0
        };
        let up = {
            let top = line.top_left.towards(line.top_right, 0.5);
            let bottom = line.bottom_left.towards(line.bottom_right, 0.5);
            let n = top.distance(bottom).max(1e-6) * facing;
            Point::new((top.x - bottom.x) / n, (top.y - bottom.y) / n)
        };
        let half = self.length * height / 2.0;
        let corner = |t: f32, lift: f32| {
            let lift = lift * height / 2.0 * if t > 0.0 { taper } else { 1.0 / taper };
            Point::new(
                centre.x + ahead.x * t + up.x * lift,
                centre.y + ahead.y * t + up.y * lift,
            )
        };
        Quad::from_corners([
            corner(-half, 1.0),
            corner(half, 1.0),
            corner(half, -1.0),
            corner(-half, -1.0),
        ])
    }

    /// True if marks hold hours and minutes together, and seconds and their parts, but a gap of two digits or
    /// more parts the two: `12:04   15.59`. Where the mark between them was not seen, it leaves less.
    pub fn has_a_gap_behind_the_minutes(&self) -> bool {
        let [hours, 2, 2, _] = self.groups[..] else {
            return false;
        };
        let [minutes, seconds, parts] = [0, 2, 4].map(|more| usize::from(hours) + more);
        let is_marked = |at: usize| {
            let before = self.places[at - 1]..self.places[at];
            self.marks.iter().any(|mark| before.contains(mark))
        };
        is_marked(minutes)
            && !is_marked(seconds)
            && is_marked(parts)
            && self.places[seconds] - self.places[seconds - 1] > APART * self.pitch
    }

    /// Slides and stretches the row's places over the strip until the middle of a digit is
    /// on each of them, marks between them, and no digit just outside: a line of even pitch
    /// fits itself one place off, too. `start` is where the row is thought to begin (strip
    /// px): among ways that fit alike, as where most digits are dark, the nearest counts.
    pub fn align(&self, columns: &Columns, start: f32) -> Alignment {
        let pitch_px = self.pitch * DIGIT_PX;
        let digits = columns.middles(Kind::Digit, DIGIT_SPREAD * pitch_px);
        let marks = columns.middles(Kind::Mark, MARK_SPREAD * pitch_px);
        let on = |middles: &[f32], x: f32| {
            if x < 0.0 {
                0.0
            } else {
                middles.get(x as usize).copied().unwrap_or(0.0)
            }
        };
        let at = |x: f32| on(&digits, x);
        let (first, last) = (self.places[0], self.places[self.places.len() - 1]);
        // A digit just outside, beside the place at an end; one of another size is another number's.
        let outside_of = |fit: &Alignment, end: f32, step: f32| {
            let (end, x) = (fit.at(end), fit.at(end + step));
            if columns.are_of_one_size(end, x) {
                at(x)
            } else {
                0.0
            }
        };
        let mut best = (f32::MIN, 0.0, 1.0);
        for step in -STRETCH_STEPS..=STRETCH_STEPS {
            let scale = 1.0 + STRETCH_STEP * step as f32;
            let mut offset = -DIGIT_PX;
            while offset + self.length * DIGIT_PX * scale < digits.len() as f32 + DIGIT_PX {
                let trial = Alignment::at_rest(offset, scale);
                let hit: f32 = self.places.iter().map(|&p| at(trial.at(p))).sum();
                let outside =
                    outside_of(&trial, first, -self.pitch) + outside_of(&trial, last, self.pitch);
                let between: f32 = self.marks.iter().map(|&p| on(&marks, trial.at(p))).sum();
                let moved = ((offset - start).abs() / pitch_px).min(MOST_MOVED);
                let score = hit + MARK_COUNTS * between
                    - OUTSIDE_COUNTS * outside
                    - STRETCH_COUNTS * (scale - 1.0).abs()
                    - MOVE_COUNTS * moved;
                if score > best.0 {
                    best = (score, offset, scale);
                }
                offset += 1.0;
            }
        }
        let (_, offset, scale) = best;
        let found = Alignment::at_rest(offset, scale);
        let hit: f32 = self
            .places
            .iter()
            .map(|&p| columns.digit_at(found.at(p)))
            .sum();
        // Texture may pass for a digit, but seldom for a certain one.
        let beside = |end: f32, step: f32| {
            let which = columns.odds_near(found.at(end + step), COLUMN_PX).best().1;
            outside_of(&found, end, step) * which
        };
        Alignment {
            presence: hit / self.places.len() as f32,
            beyond: Beyond {
                before: beside(first, -self.pitch),
                behind: beside(last, self.pitch),
            },
            ..found
        }
    }

    /// Digit odds of every place. A place with far less contrast than its neighbours holds
    /// unlit segments, which would read as an eight: it is dark, so flat. So is one that lies
    /// outside the picture in part.
    pub fn odds(&self, strip: &Strip, columns: &Columns, fit: &Alignment) -> Vec<DigitOdds> {
        let places = || self.places_px(fit);
        let contrasts: Vec<f32> = places()
            .map(|(x, pitch)| strip.contrast(x, CONTRAST_REACH * pitch))
            .collect();
        let most = contrasts.iter().copied().fold(0.0, f32::max);
        places()
            .zip(contrasts)
            .map(|((x, pitch), contrast)| {
                let is_dark = contrast < DARK_SHARE * most;
                if is_dark || strip.is_cut_off(x, CONTRAST_REACH * pitch) {
                    DigitOdds::FLAT
                } else {
                    columns.odds_near(x, REACH * pitch)
                }
            })
            .collect()
    }

    /// What stands at every place.
    pub fn glyphs(&self, strip: &Strip, fit: &Alignment) -> Vec<Glyph> {
        self.places_px(fit)
            .map(|(x, pitch)| strip.glyph(x, GLYPH_PITCHES / 2.0 * pitch))
            .collect()
    }

    /// The middle of every place and the pitch there, strip px: in a line of two sizes no more than
    /// the step to the next place, since small digits stand closer than the pitch of the large ones.
    fn places_px(&self, fit: &Alignment) -> impl Iterator<Item = (f32, f32)> {
        let step = |i: usize| self.places.get(i).zip(self.places.get(i + 1));
        self.places.iter().enumerate().map(move |(i, &place)| {
            let steps = [i.checked_sub(1).and_then(step), step(i)];
            let nearest = (steps.into_iter().flatten())
                .map(|(a, b)| b - a)
                .fold(self.pitch, f32::min);
            let pitch = if self.is_in_two_sizes {
                nearest
            } else {
                self.pitch
            };
            (fit.at(place), pitch * DIGIT_PX * fit.scale)
        })
    }

    /// A row of `size` times the height whose middle lies `step` digit heights below this one's,
    /// or above it if that is negative.
    pub fn row_beside(&self, step: f32, size: f32) -> Quad {
        let [a, b, c, d] = self.quad.corners();
        // The left and right edges lead on up and down, also under perspective.
        let along = |top: Point, base: Point, at: f32| top.towards(base, at);
        let (upper, lower) = (0.5 + step - size / 2.0, 0.5 + step + size / 2.0);
        Quad::from_corners([
            along(a, d, upper),
            along(b, c, upper),
            along(b, c, lower),
            along(a, d, lower),
        ])
    }

    /// A place beside the row.
    pub fn beside(&self, place: &Beside) -> Quad {
        let [a, b, c, d] = self.quad.corners();
        let at = |along: f32, across: f32| {
            let along = 1.0 + along / self.length;
            a.towards(b, along).towards(d.towards(c, along), across)
        };
        let ((from, to), (top, base)) = (place.along, place.across);
        Quad::from_corners([at(from, top), at(to, top), at(to, base), at(from, base)])
    }

    /// This row with one place more in its first or its last group.
    pub fn with_a_place(&self, at: End) -> Self {
        let (mut grown, share) = (self.clone(), self.pitch / self.length);
        grown.length += self.pitch;
        let (from, to) = match at {
            End::First => {
                let moved = grown.places.iter_mut().chain(&mut grown.marks);
                moved.for_each(|place| *place += self.pitch);
                grown.places.insert(0, self.places[0]);
                grown.groups[0] += 1;
                (-share, 1.0)
            }
            End::Last => {
                grown
                    .places
                    .push(self.places[self.places.len() - 1] + self.pitch);
                let last = grown.groups.len() - 1;
                grown.groups[last] += 1;
                (0.0, 1.0 + share)
            }
        };
        let [a, b, c, d] = self.quad.corners();
        let corners = [
            a.towards(b, from),
            a.towards(b, to),
            d.towards(c, to),
            d.towards(c, from),
        ];
        grown.quad = Quad::from_corners(corners);
        grown
    }

    /// Where this row went if it moved as `other` did: same turn, growth and shift.
    pub fn moved_like(&self, other: &Self, now: &Quad) -> Quad {
        let (was, is) = (other.quad.direction(), now.direction());
        let growth = now.length_px() / other.quad.length_px().max(1e-6);
        let (cos, sin) = (was.dot(is), was.x * is.y - was.y * is.x);
        let (from, to) = (other.quad.centre(), now.centre());
        self.quad.map(|p| {
            let (x, y) = ((p.x - from.x) * growth, (p.y - from.y) * growth);
            Point::new(to.x + x * cos - y * sin, to.y + x * sin + y * cos)
        })
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::pyramid::Pyramid;
    use super::super::read::{Small, tests::perfect};
    use super::super::rectify::Room;
    use super::*;
    use image::GrayImage;

    pub fn row(quad: Quad) -> Row {
        // Eight places of 12 px pitch in groups of two with 6 px marks: 10:20:30:12.
        let places: Vec<f32> = [6.0, 18.0, 36.0, 48.0, 66.0, 78.0, 96.0, 108.0]
            .map(|x: f32| x / DIGIT_PX)
            .to_vec();
        let marks = [27.0, 57.0, 87.0].map(|x: f32| x / DIGIT_PX).to_vec();
        Row {
            quad,
            places,
            marks,
            length: 114.0 / DIGIT_PX,
            pitch: 12.0 / DIGIT_PX,
            groups: vec![2; 4],
            is_in_two_sizes: false,
            has_letters_beside: false,
        }
    }

    pub fn level(x: f32, y: f32, length: f32, height: f32) -> Quad {
        Quad::from_corners([
            Point::new(x, y),
            Point::new(x + length, y),
            Point::new(x + length, y + height),
            Point::new(x, y + height),
        ])
    }

    /// A line that the finder took to be seen from the side: in its strip even digits shrink, and stand
    /// closer as they do.
    #[test]
    fn even_digits_are_an_even_row_though_their_strip_tapers() {
        let line = level(100.0, 100.0, 200.0, 20.0);
        let askew = Quad {
            top_left: Point::new(100.0, 103.0),
            bottom_left: Point::new(100.0, 117.0),
            ..line
        };
        let room = Room {
            margin: 1.0,
            step_px: 16,
        };
        let frame = Pyramid::new(GrayImage::new(400, 300));
        let strip = Strip::cut(&frame, &askew, room).unwrap();
        let column = |frame_x: f32| {
            let mut tenths = (0..3200).map(|tenth| tenth as f32 / 10.0);
            let behind = tenths.find(|&x| strip.to_frame(x, 16.0).x >= frame_x);
            behind.expect("the strip reaches so far")
        };
        let height_px = |x: f32| 20.0 / (strip.to_frame(x, 17.0).y - strip.to_frame(x, 16.0).y);
        let (first, last) = (column(100.0), column(300.0));
        let lie = Lie {
            x_px: first,
            height_px: height_px(first),
            growth: (height_px(last) / height_px(first) - 1.0) / (last - first),
            ..Lie::STRAIGHT
        };
        assert!(height_px(first) > 1.3 * height_px(last));
        let group = |number: usize| Group {
            places: [0, 1]
                .map(|place| column(130.0 + (2 * number + place) as f32 * 20.0))
                .to_vec(),
            after_mark: false,
        };
        let groups: Vec<Group> = (0..4).map(group).collect();
        let row = Row::new(&strip, &lie, &groups).unwrap();
        for steps in row.places.windows(2) {
            approx::assert_relative_eq!(steps[1] - steps[0], row.pitch, max_relative = 0.02);
        }
        approx::assert_relative_eq!(row.pitch, 1.0, max_relative = 0.1);
    }

    /// Small digits stand closer than the pitch of the large ones: what tells of one is not its
    /// neighbour's.
    #[test]
    fn a_place_of_small_digits_reaches_no_further_than_its_neighbour() {
        let fit = Alignment::at_rest(0.0, 1.0);
        let of_one_size = row(level(0.0, 0.0, 114.0, 20.0));
        let mut of_two = Row {
            is_in_two_sizes: true,
            ..of_one_size.clone()
        };
        of_two.places[7] = (96.0 + 5.0) / DIGIT_PX;
        let pitches = |row: &Row| {
            row.places_px(&fit)
                .map(|(_, pitch)| pitch)
                .collect::<Vec<_>>()
        };
        for (got, expected) in [
            (pitches(&of_one_size), [12.0; 8]),
            (
                pitches(&of_two),
                [12.0, 12.0, 12.0, 12.0, 12.0, 12.0, 5.0, 5.0],
            ),
        ] {
            for (got, expected) in got.into_iter().zip(expected) {
                approx::assert_relative_eq!(got, expected, epsilon = 1e-3);
            }
        }
    }

    #[test]
    fn hours_and_minutes_well_before_the_rest_are_told_by_the_gap_and_the_marks() {
        let whole = row(level(0.0, 0.0, 114.0, 20.0));
        for (gap_px, marks, is_apart) in [
            (0.0, vec![0, 1, 2], false),
            // The mark was not seen.
            (0.0, vec![0, 2], false),
            (12.0, vec![0, 2], true),
            // Wide marks, or none at all.
            (12.0, vec![0, 1, 2], false),
            (12.0, vec![], false),
        ] {
            let gap = gap_px / DIGIT_PX;
            let places = whole.places.iter().enumerate();
            let row = Row {
                places: places
                    .map(|(i, x)| x + if i < 4 { 0.0 } else { gap })
                    .collect(),
                marks: marks
                    .iter()
                    .map(|&i| whole.marks[i] + if i < 2 { 0.0 } else { gap })
                    .collect(),
                ..whole.clone()
            };
            assert_eq!(
                row.has_a_gap_behind_the_minutes(),
                is_apart,
                "{gap_px} {marks:?}"
            );
        }
    }

    /// The hours, minutes and seconds of a line with a small number behind them are all of a clock.
    #[test]
    fn a_small_number_right_behind_a_row_is_no_digit_that_it_lacks() {
        let clock = row(level(0.0, 0.0, 114.0, 20.0));
        let mut columns = perfect("10:20:30:1225", 20.0, 12.0, 128);
        let behind = clock.align(&columns, 20.0).beyond.behind;
        assert!(behind > 0.5, "{behind}");
        columns.small = Some(Small {
            between: 134.0..158.0,
            lie: Lie::STRAIGHT,
            scale: 0.5,
        });
        assert_eq!(clock.align(&columns, 20.0).beyond.behind, 0.0);
    }

    #[test]
    fn places_are_lined_up_wherever_the_line_lies_in_the_strip() {
        for start in [0.0, 7.0, 23.0, 61.0] {
            let columns = perfect("10:20:30:12", start, 12.0, 128);
            let fit = row(level(0.0, 0.0, 114.0, 20.0)).align(&columns, 20.0);
            assert!((fit.offset - start).abs() <= 2.0, "{start}: {}", fit.offset);
            assert!(fit.presence > 0.85, "{start}: {}", fit.presence);
        }
    }

    #[test]
    fn a_digit_left_out_is_noticed_and_texture_that_reads_as_none_is_not() {
        for (text, is_cut) in [
            ("10:20:30:120", true),
            ("10:20:30:12?", false),
            ("10:20:30:12", false),
        ] {
            let fit =
                row(level(0.0, 0.0, 114.0, 20.0)).align(&perfect(text, 20.0, 12.0, 128), 20.0);
            assert_eq!(fit.beyond.most() > 0.5, is_cut, "{text}: {:?}", fit.beyond);
        }
    }

    #[test]
    fn a_row_with_the_place_that_it_left_out_is_the_whole_row() {
        let whole = row(level(100.0, 50.0, 114.0, 20.0));
        let is_near = |a: f32, b: f32| (a - b).abs() < 1e-4;
        for at in [End::First, End::Last] {
            let mut cut = whole.clone();
            cut.length -= whole.pitch;
            let left = match at {
                End::First => {
                    cut.places.remove(0);
                    let moved = cut.places.iter_mut().chain(&mut cut.marks);
                    moved.for_each(|place| *place -= whole.pitch);
                    cut.groups = vec![1, 2, 2, 2];
                    112.0
                }
                End::Last => {
                    cut.places.pop();
                    cut.groups = vec![2, 2, 2, 1];
                    100.0
                }
            };
            cut.quad = level(left, 50.0, 102.0, 20.0);
            let grown = cut.with_a_place(at);
            let numbers =
                |row: &Row| [row.places.clone(), row.marks.clone(), vec![row.length]].concat();
            let pairs = numbers(&grown).into_iter().zip(numbers(&whole));
            assert!(pairs.into_iter().all(|(a, b)| is_near(a, b)), "{grown:?}");
            let corners = grown.quad.corners().into_iter().zip(whole.quad.corners());
            assert!(
                corners.into_iter().all(|(a, b)| a.distance(b) < 1e-2),
                "{grown:?}"
            );
            assert_eq!(grown.groups, whole.groups, "{at:?}");
            assert_eq!(grown.places.len(), whole.places.len(), "{at:?}");
        }
    }

    #[test]
    fn dark_digits_at_the_ends_do_not_shift_the_places() {
        // The first two digits are dark: the rest must not slide into their places.
        let columns = perfect("  :20:30:12", 20.0, 12.0, 128);
        // A space is narrower than a digit here, so the marks stand 4.8 px further left.
        let fit = row(level(0.0, 0.0, 114.0, 20.0)).align(&columns, 20.0);
        assert!((fit.offset - (20.0 - 4.8)).abs() <= 3.0, "{}", fit.offset);
    }

    /// In a mirror above or below the digits their tops are at the bottom, and 2 is 5: had it
    /// turned on the way, one sighting would show both.
    #[test]
    fn a_row_in_a_mirror_stays_in_it_when_the_finder_sees_it_moved() {
        let seen = level(104.0, 98.0, 114.0, 20.0);
        let [a, b, c, d] = level(100.0, 100.0, 114.0, 20.0).corners();
        for own in [[a, b, c, d], [d, c, b, a]].map(Quad::from_corners) {
            for overlap in [0.7, 1.0] {
                let carried = row(own).carried_to(&seen, overlap);
                assert_eq!(carried.is_mirrored(), own.is_mirrored(), "{own:?}");
                assert!(carried.top_left.x < carried.top_right.x);
                assert!((carried.centre().y - seen.centre().y).abs() < 0.1);
            }
        }
    }

    #[test]
    fn a_row_moves_as_its_neighbour_does() {
        let (upper, lower) = (
            row(level(100.0, 100.0, 80.0, 20.0)),
            row(level(100.0, 130.0, 80.0, 20.0)),
        );
        // A quarter turn to the right about the upper row's centre, and twice the size.
        let c = upper.quad.centre();
        let turn = |p: Point| Point::new(c.x - (p.y - c.y) * 2.0, c.y + (p.x - c.x) * 2.0);
        let found = lower.moved_like(&upper, &upper.quad.map(turn));
        for (a, b) in found.corners().iter().zip(lower.quad.map(turn).corners()) {
            assert!(a.distance(b) < 1e-3, "{a:?} {b:?}");
        }
    }
}
