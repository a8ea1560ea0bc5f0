//! The first gear of seeing: *discover* displays in a frame; and the looks at one line that both
//! gears share.

use super::block::Unread;
use super::display::{
    Display, LEAST_LEGIBLE_ROW, displays_in, likeliest, outer_digits, pairs, shows_a_time,
};
use super::find::{Sharpness, find_lines, finest_px, is_same_place};
use super::lettering::Lettering;
use super::lines::Line;
use super::net::{self, Net};
use super::pyramid::Pyramid;
use super::read::{Columns, read_strip};
use super::rectify::{Room, Strip};
use super::row::Row;
use crate::error::Result;
use crate::frame::Stamp;
use crate::geometry::Quad;

/// Lines read per frame at most; a frame full of numbers must not stall the search.
const MOST_LINES: usize = 16;
/// Surroundings taken into a strip: of a line that was found, whose last digit the finder may
/// have missed (of 2,048 simulated frames nine more are lost with steps of 16 px).
pub(super) const DISCOVERING: Room = Room {
    margin: 1.0,
    step_px: 64,
};
/// Surroundings of a line whose digits go on to the end of such a strip: the finder saw a part.
const WITH_ROOM: Room = Room {
    margin: 4.0,
    ..DISCOVERING
};
/// Digits smaller than this, of the large ones in their line, get a strip of their own: in the
/// line's, cut for the large ones, they have few px, and the reader knows digits of one height best. Of
/// 120 clips with frames of 0.4 to 0.75 of the size (drawn in the choosing fonts) 98 are sure so, 96
/// where both readings count as much unless the frame has a quarter more px than the strip, and 86 in
/// one strip cut for the mean height.
const SMALL: f32 = 0.85;
/// Surroundings of the small digits in a line of two sizes: no more of the large ones than must be.
const CLOSER: Room = Room {
    margin: 0.8,
    step_px: 16,
};
/// A view of a line this much less legible than the same line upside down is dropped.
const PLAINLY_WORSE: f32 = 0.12;
/// A strip that was cut anew is dropped if it is less legible by so much.
const SLIGHTLY_WORSE: f32 = 0.02;
/// Digits that stand so much further apart than others of their size stand unevenly. Of 1,396 frames by
/// which readers are chosen as many are read as without a look at that, and of 50 clips with small frames
/// 36 in place of 31 are sure, all right.
const UNEVEN: f32 = 1.2;
/// Legibility of a line, with its dark digits, that makes a look at several frames worth it.
const LEAST_LOOSE: f32 = 0.4;
/// Legibility above which a line with a mirrored digit or two is not tried in a mirror.
const LEGIBLE_AT_ONCE: f32 = 0.9;
/// Lines with fewer characters are only read as the finder turned them: they are no half of
/// a clock.
const FEWEST_CHARACTERS: usize = 2;

/// What a search of one frame brought.
#[derive(Clone, Debug)]
pub struct Discovery {
    /// Likeliest first.
    pub displays: Vec<Display>,
    /// Lines that read well, clocks or not: some digits of a clock may be dark.
    pub loose_digits: Vec<LooseDigits>,
}

/// What the lines of a frame read as: clocks, pieces that may be one half of a clock, each with its
/// clarity, and whatever reads well.
#[derive(Default)]
struct Read {
    clocks: Vec<Display>,
    pieces: Vec<(Row, f32)>,
    loose_digits: Vec<LooseDigits>,
}

impl Read {
    fn take(&mut self, views: &[(Strip, Columns)]) {
        for (strip, columns) in views {
            if columns.legibility() >= LEAST_LOOSE {
                self.loose_digits.push(LooseDigits {
                    quad: strip.quad(),
                    digits: columns.digits(),
                });
            }
            let (clocks, rows) = displays_in(strip, columns);
            self.clocks.extend(clocks);
            self.pieces.extend(rows);
        }
    }

    /// True if a line lies, however askew, on a clock that is plain and whole: the finder's second
    /// opinion of large digits.
    fn has_a_clock_under(&self, line: &Quad) -> bool {
        let mut wholes = self
            .clocks
            .iter()
            .filter(|clock| clock.is_plain_and_whole());
        wholes.any(|clock| line.has_its_middle_on(&clock.quad()))
    }
}

/// A line of digits, as it was read one way.
#[derive(Clone, Debug)]
pub struct LooseDigits {
    pub quad: Quad,
    pub digits: String,
}

/// The networks, loaded once.
pub struct Eye {
    pub(super) finder: Box<dyn Net>,
    reader: Box<dyn Net>,
    pub(super) half_day: Box<dyn Net>,
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
            half_day: net::half_day()?,
        })
    }

    /// All lines of digits in the frame, clocks or not: sure ones, seen well at their size, and long
    /// ones first.
    pub fn lines(&self, frame: &Pyramid, sharpness: Sharpness) -> Result<Vec<Line>> {
        find_lines(&*self.finder, frame, sharpness)
    }

    /// Displays in the frame whose digits are grouped like a running clock, likeliest
    /// first. Whether they run is not known yet. Lines that `lettering` knows at `stamp` are read as
    /// the finder turned them, no other way, and nothing is looked for below them; it is told of
    /// those that are new to it.
    pub fn discover(
        &self,
        frame: &Pyramid,
        sharpness: Sharpness,
        lettering: &mut Lettering,
        stamp: Stamp,
    ) -> Result<Discovery> {
        let mut read = Read::default();
        let mut lines = self.lines(frame, sharpness)?;
        lines.truncate(MOST_LINES);
        let (mut legible, mut unread) = (Vec::new(), Vec::new());
        let (mut shown, mut known) = (Vec::new(), Vec::new());
        for line in &lines {
            if read.has_a_clock_under(&line.quad) {
                continue;
            }
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
            read.take(&seen);
        }
        // Where one level saw a line askew, another may have seen it well.
        unread.retain(|line| !legible.iter().any(|known| is_same_place(known, &line.quad)));
        // Displays of which the finder sees no whole line are not looked for beside a clock in
        // full view.
        let mut stacks = Vec::new();
        if !read.clocks.iter().any(Display::is_plain_and_whole) {
            let finest_px = finest_px(frame, sharpness);
            let rows = self.look_at_blocks(frame, &unread, &lines, finest_px)?;
            read.take(&rows);
            read.pieces.extend(self.other_rows(frame, &read.pieces)?);
            stacks = self.stacks(frame, &read.pieces)?;
        }
        read.take(&known);
        read.clocks.extend(pairs(&read.pieces));
        read.clocks.extend(stacks);
        let displays = likeliest(read.clocks);
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
            loose_digits: read.loose_digits,
        })
    }

    /// Reads a line, of which `upright` is what it reads as the finder turned it, upside down too
    /// if it shows a digit, and then in a mirror too if it reads badly. Keeps what reads best, or
    /// several: seven segments make digits every way, and the finder errs on short lines. Only a
    /// display seen the right way will be seen to run.
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

    /// Looks at a line for the first time: where digits go on to the ends of the strip, or a mark
    /// leads on there, once more with room for those that the finder did not see. Not more often than
    /// that: a piece seen askew would be led all along its line beside the digits. Where a clock has one digit
    /// for its hours, or behind its seconds, another may lie just beyond, too near to the end for
    /// the reader to tell it from what hides a part of it: where there is none, that look is not
    /// needed.
    pub(super) fn look_with_room(
        &self,
        frame: &Pyramid,
        quad: &Quad,
    ) -> Result<Option<(Strip, Columns)>> {
        let Some(seen) = self.look(frame, quad, DISCOVERING)? else {
            return Ok(None);
        };
        let (strip, columns) = &seen;
        let with_room =
            || self.cut_and_read_as(frame, &strip.quad(), WITH_ROOM, columns.is_in_two_sizes);
        if columns.has_digit_at_an_end() {
            return with_room();
        }
        let leads_on = columns.has_mark_at_an_end();
        let outer = outer_digits(columns).filter(|outer| outer.contains(&1));
        if (leads_on || outer.is_some())
            && let Some(wide) = with_room()?
        {
            let has_more = |outer: [usize; 2]| {
                outer_digits(&wide.1)
                    .is_some_and(|wide| wide.iter().sum::<usize>() > outer.iter().sum())
            };
            if leads_on && wide.1.digits().len() > columns.digits().len()
                || outer.is_some_and(has_more)
            {
                return Ok(Some(wide));
            }
        }
        Ok(Some(seen))
    }

    /// Cuts a line out and reads it; if the digits then lie badly in the strip, once more along the
    /// line on which they lie. Frames that are smaller than the hours before them look like a line
    /// that is seen from the side: cut for that, digits of one size stand further and further apart.
    pub(super) fn look(
        &self,
        frame: &Pyramid,
        quad: &Quad,
        room: Room,
    ) -> Result<Option<(Strip, Columns)>> {
        let Some(seen) = self.look_along(frame, quad, room, false)? else {
            return Ok(None);
        };
        if let Some(uneven) = seen.1.unevenness().filter(|&uneven| uneven > UNEVEN)
            && let Some(level) = self.look_along(frame, &seen.0.quad().level(), room, true)?
            && (level.1.unevenness()).is_some_and(|even| UNEVEN * even < uneven)
        {
            return Ok(Some(level));
        }
        Ok(Some(seen))
    }

    /// The same, of a line of which it is known whether its digits are of two sizes.
    pub(super) fn look_along(
        &self,
        frame: &Pyramid,
        quad: &Quad,
        room: Room,
        is_in_two_sizes: bool,
    ) -> Result<Option<(Strip, Columns)>> {
        let read = |quad: &Quad| self.cut_and_read_as(frame, quad, room, is_in_two_sizes);
        let Some(seen) = read(quad)? else {
            return Ok(None);
        };
        if let Some(better) = seen.1.lie().and_then(|lie| seen.0.better_quad(&lie))
            && let Some(again) = read(&better)?
            && again.1.legibility() > seen.1.legibility() - SLIGHTLY_WORSE
        {
            return Ok(Some(again));
        }
        Ok(Some(seen))
    }

    fn cut_and_read(
        &self,
        frame: &Pyramid,
        quad: &Quad,
        room: Room,
    ) -> Result<Option<(Strip, Columns)>> {
        self.cut_and_read_as(frame, quad, room, false)
    }

    /// The same of a line of which it is known whether its digits are of two sizes.
    fn cut_and_read_as(
        &self,
        frame: &Pyramid,
        quad: &Quad,
        room: Room,
        is_in_two_sizes: bool,
    ) -> Result<Option<(Strip, Columns)>> {
        let Some(strip) = Strip::cut(frame, quad, room) else {
            return Ok(None);
        };
        let mut columns = read_strip(&*self.reader, &strip)?;
        columns.is_in_two_sizes = is_in_two_sizes;
        if let Some(small) = columns.small_digits() {
            let quad = strip.quad_between(small.between.start, small.between.end, &small.lie);
            if small.scale < SMALL
                && let Some(closer) = Strip::cut(frame, &quad, CLOSER)
            {
                let seen = read_strip(&*self.reader, &closer)?;
                columns.take_digits(&small.between, &seen, closer.ends());
            }
            columns.small = Some(small);
        }
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
    use super::super::row::tests::level;
    use super::*;
    use crate::geometry::Point;
    use crate::rehearse::{Film, Shoot, Stress};
    use crate::timecode::{ClockForm, Rate, Ratio};
    use image::GrayImage;
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
    fn filmed(seed: u64, form: ClockForm) -> GrayImage {
        let film = Film::new(Shoot::ordinary(seed, form, Rate::F25).resized(640, 360));
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
            half_day: net::half_day().unwrap(),
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
        let seconds = filmed(8, ClockForm::Seconds);
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
        let seconds = filmed(8, ClockForm::Seconds);
        let whole = filmed(8, ClockForm::frames(Rate::F25, false).unwrap());
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

    /// The finder saw half of the line or a little more, and the strip of that ends among the last two
    /// digits, or between them and their mark. 08:21:19:10 was 21:19:10 so, and, since all of it was
    /// seen upside down, 01:61:12:80.
    #[test]
    fn the_strip_may_end_at_the_last_digit_or_at_a_mark() {
        let eye = Eye::open().unwrap();
        let picture = Pyramid::new(filmed(10, ClockForm::frames(Rate::F25, false).unwrap()));
        let whole = eye.lines(&picture, Sharpness::Coarse).unwrap()[0].quad;
        for hundredths in 30..=95 {
            let part = |from: Point, to: Point| from.towards(to, hundredths as f32 / 100.0);
            let seen = Quad {
                top_right: part(whole.top_left, whole.top_right),
                bottom_right: part(whole.bottom_left, whole.bottom_right),
                ..whole
            };
            let (_, columns) = eye.look_with_room(&picture, &seen).unwrap().unwrap();
            assert_eq!(outer_digits(&columns), Some([2, 2]), "{hundredths} %");
        }
    }

    #[test]
    fn a_line_askew_over_a_plain_and_whole_clock_is_no_other() {
        let askew = Quad::from_corners(
            [
                (220.0, 90.0),
                (300.0, 170.0),
                (258.0, 212.0),
                (178.0, 132.0),
            ]
            .map(|(x, y)| Point::new(x, y)),
        );
        for (groups, line, is_known) in [
            (&[2, 2, 2, 2][..], askew, true),
            (&[2, 2, 2, 2], level(100.0, 190.0, 400.0, 60.0), false),
            // Its frames may be in another line.
            (&[2, 2, 2], askew, false),
        ] {
            let clock = Display::in_plain_view(level(100.0, 120.0, 400.0, 60.0), groups);
            let read = Read {
                clocks: vec![clock],
                ..Read::default()
            };
            assert_eq!(
                read.has_a_clock_under(&line),
                is_known,
                "{groups:?} {line:?}"
            );
        }
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
