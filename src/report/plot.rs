//! The fit of one clip as a drawing: the clock's count against clip time, and below it how
//! far each reading lies from the fit.
//!
//! A frame at clip time `p` that shows count `c` says `c <= phi + r p < c + 1`, but for a
//! display that changes late. So the *rest* `phi + r p - c` of a frame that agrees lies between
//! 0 and 1, and how the rests fill that band shows how closely phi is bound.

use super::axis::Axis;
use super::words;
use crate::clip_base::{clock_form, lag_s, lag_text};
use crate::outcome::{ClipOutcome, Clock, Evidence, Point, Start};
use crate::timecode::{ClockForm, Ratio};
use maud::{Markup, html};
use std::fmt::Write;

/// The drawing in units of its own; it is shown at about one pixel each, so that its
/// letters stay legible on a phone.
const WIDTH: f64 = 400.0;
const HEIGHT: f64 = 262.0;
const LEFT: f64 = 92.0;
const RIGHT: f64 = 388.0;
/// The upper panel, top to bottom.
const COUNTS: (f64, f64) = (14.0, 128.0);
/// The lower panel.
const RESTS: (f64, f64) = (158.0, 236.0);
/// The rests that the lower panel shows, in counts; what lies beyond is marked at its edge.
const REST_RANGE: (f64, f64) = (-1.0, 2.0);
/// A pause in the readings of more seconds than this is cut out of the drawing.
const CUT_BEYOND_S: f64 = 4.0;
/// Two counts and the slowest display's lag: readings nearer to the fit than this lie on the
/// line drawn; others belong to a second time line, of which only the nearest count is known.
const SAME_LINE_COUNTS: f64 = 3.0;

/// A fit and the readings that it was made of.
pub struct Plot<'a> {
    start: &'a Start,
    clock: &'a Clock,
    form: ClockForm,
    /// What was displayed on frame 0, in counts since midnight: the start without a lag that was told.
    phi: f64,
    /// Counts per clip second.
    pace: f64,
    axis: Axis,
    /// At most as many as asked for, in order of clip time.
    points: Vec<Point>,
    read: usize,
    agreeing: usize,
}

impl<'a> Plot<'a> {
    /// `None` where nothing was fitted. Of more than `most_points` readings, evenly chosen ones
    /// are drawn; all are counted.
    pub fn of(outcome: &'a ClipOutcome, evidence: &Evidence, most_points: usize) -> Option<Self> {
        // A start said by hand is no fit; what was read before is.
        let said = outcome.by_hand.as_ref();
        let (start, clock) = match said {
            Some(by_hand) => (by_hand.read_start.as_ref(), by_hand.read_clock.as_ref()),
            None => (outcome.start.as_ref(), outcome.clock.as_ref()),
        };
        let (start, clock) = (start?, clock?);
        let speed = said.and_then(|by_hand| by_hand.read_speed);
        let speed = speed.unwrap_or(outcome.clip.speed);
        let rate = clock.rate.parse::<Ratio>().ok()?.to_f64();
        // The line runs through all that was seen, as the fit's does: with the drift.
        let pace = rate * speed * (1.0 + clock.drift());
        if !(pace.is_finite() && pace > 0.0 && start.count.is_finite()) {
            return None;
        }
        let mut points: Vec<Point> = evidence
            .points
            .iter()
            .filter(|point| point.seconds.is_finite())
            .copied()
            .collect();
        points.sort_by(|a, b| a.seconds.total_cmp(&b.seconds));
        let read = points.len();
        let agreeing = points.iter().filter(|point| agrees(point)).count();
        if read > most_points {
            points = (0..most_points)
                .map(|i| points[i * (read - 1) / (most_points - 1).max(1)])
                .collect();
        }
        let axis = Axis::new(points.iter().map(|p| (p.seconds, p.seconds)), CUT_BEYOND_S)?;
        Some(Self {
            start,
            clock,
            form: clock_form(clock)?,
            phi: start.count - lag_s(start).to_f64() * rate,
            pace,
            axis,
            points,
            read,
            agreeing,
        })
    }

    /// `phi + r p - c` in counts, across midnight too.
    fn rest(&self, point: &Point) -> Option<f64> {
        let read = point.read_count?;
        let day = self.form.counts_per_day() as f64;
        let nearest = |difference: f64| difference - day * (difference / day).round();
        let fitted = self.phi + self.pace * point.seconds;
        Some(
            if nearest(fitted - point.displayed_count as f64).abs() <= SAME_LINE_COUNTS {
                nearest(fitted - read as f64)
            } else {
                nearest((point.displayed_count - read) as f64) + 0.5
            },
        )
    }

    /// What the drawing shows, in words.
    pub fn sentence(&self) -> String {
        let mut text = format!(
            "{} of {} agree with a clock of {}",
            self.agreeing,
            words::counted(self.read, "reading"),
            words::counts_a_second(&self.clock.rate)
        );
        // The fit knows more of a digit in doubt than its likeliest reading, and counts it.
        text.push_str(match self.agreeing == self.read {
            true => ".",
            false => " by their likeliest digits alone.",
        });
        let rests: Vec<f64> = self
            .points
            .iter()
            .filter(|point| agrees(point))
            .filter_map(|point| self.rest(point))
            .collect();
        if let (Some(low), Some(high)) = (
            rests.iter().copied().reduce(f64::min),
            rests.iter().copied().reduce(f64::max),
        ) {
            let [low, high] = [low, high].map(|rest| format!("{rest:.2}"));
            let _ = match low == high {
                true => write!(text, " Their rest is {low} counts."),
                false => write!(text, " Their rests lie between {low} and {high} counts."),
            };
        }
        if let Some(lag) = lag_text(lag_s(self.start)) {
            let _ = write!(text, " This is as displayed; the start lies {lag} later.");
        }
        text
    }

    /// The drawing. Its meaning is also in [`Self::sentence`], which belongs beside it.
    pub fn draw(&self, name: &str) -> Markup {
        let (agree, differ) = self.marks();
        let [low, high] = self.start.count_bounds;
        let half = ((high - low) / 2.0).clamp(0.0, 1.0);
        // At least a hair, so that very good bounds are still drawn.
        let edge = (rest_y(0.0) - rest_y(2.0 * half)).max(0.8);
        let first = self.axis.blocks()[0];
        let last = *self.axis.blocks().last().expect("an axis has a block");
        html! {
            svg.plot viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-label=(format!("Fit of {name}: {}", self.sentence())) {
                text.t-title x=(px(LEFT)) y="9" { "Count of the clock against time in the clip" }
                rect.t-panel x=(px(LEFT)) y=(px(COUNTS.0)) width=(px(RIGHT - LEFT)) height=(px(COUNTS.1 - COUNTS.0)) {}
                rect.t-panel x=(px(LEFT)) y=(px(RESTS.0)) width=(px(RIGHT - LEFT)) height=(px(RESTS.1 - RESTS.0)) {}
                text.t-title x=(px(LEFT)) y=(px(RESTS.0 - 6.0)) { "Rest: fit minus reading, in counts" }
                rect.t-band x=(px(LEFT)) y=(px(rest_y(1.0))) width=(px(RIGHT - LEFT)) height=(px(rest_y(0.0) - rest_y(1.0))) {}
                @for bound in [0.0, 1.0] {
                    rect.t-bound x=(px(LEFT)) y=(px(rest_y(bound) - edge / 2.0)) width=(px(RIGHT - LEFT)) height=(px(edge)) {}
                    text.t-y x=(px(LEFT - 6.0)) y=(px(rest_y(bound) + 3.5)) { (bound) }
                }
                @for (from, to, _) in self.axis.cuts() {
                    @for (top, bottom) in [COUNTS, RESTS] {
                        rect.t-cut x=(px(x(from))) y=(px(top)) width=(px((to - from) * (RIGHT - LEFT))) height=(px(bottom - top)) {}
                    }
                }
                path.t-fit d=(self.line()) {}
                path.t-agree d=(agree) {}
                path.t-differ d=(differ) {}
                text.t-y x=(px(LEFT - 6.0)) y=(px(count_y(first.from) + 0.5)) { (self.label_at(first.low)) }
                @if last.high - first.low > 0.0 {
                    text.t-y x=(px(LEFT - 6.0)) y=(px(count_y(last.to) + 7.0)) { (self.label_at(last.high)) }
                }
                text.t-x x=(px(LEFT)) y=(px(RESTS.1 + 14.0)) { (words::clip_time(first.low)) }
                @for block in self.inner_blocks() {
                    text.t-x x=(px(x(block))) y=(px(RESTS.1 + 14.0)) { (words::clip_time(self.block_low(block))) }
                }
                text.t-x.t-end x=(px(RIGHT)) y=(px(RESTS.1 + 14.0)) { (words::clip_time(last.high)) }
            }
        }
    }

    /// Places of later blocks whose beginning can be told without touching the numbers at the ends.
    fn inner_blocks(&self) -> Vec<f64> {
        let mut free_from = 0.2;
        let mut told = Vec::new();
        for block in &self.axis.blocks()[1..] {
            if block.from >= free_from && block.from <= 0.65 {
                told.push(block.from);
                free_from = block.from + 0.2;
            }
        }
        told
    }

    fn block_low(&self, from: f64) -> f64 {
        let block = self.axis.blocks().iter().find(|block| block.from >= from);
        block.map_or(0.0, |block| block.low)
    }

    fn label_at(&self, seconds: f64) -> String {
        let count = (self.phi + self.pace * seconds).floor();
        self.form.text(count as i64)
    }

    /// The fit: both axes are cut alike, so it is straight.
    fn line(&self) -> String {
        let mut path = String::new();
        for block in self.axis.blocks() {
            let _ = write!(
                path,
                "M{} {}L{} {}",
                px(x(block.from)),
                px(count_y(block.from)),
                px(x(block.to)),
                px(count_y(block.to))
            );
        }
        path
    }

    /// Marks of the readings that agree, and of those that do not: dots and crosses; an
    /// arrowhead where one lies beyond the drawing.
    fn marks(&self) -> (String, String) {
        let (mut agree, mut differ) = (Strokes::default(), Strokes::default());
        for point in &self.points {
            // No legal label is no reading that could differ.
            let Some(rest) = self.rest(point) else {
                continue;
            };
            let across = x(self.axis.place(point.seconds));
            let read_at = point.seconds - (rest - 0.5) / self.pace;
            let is_off = self.axis.place(point.seconds) != self.axis.place(read_at)
                && (read_at < self.axis.blocks()[0].low
                    || read_at > self.axis.blocks().last().map_or(0.0, |block| block.high));
            let up = count_y(self.axis.place(if agrees(point) {
                point.seconds
            } else {
                read_at
            }));
            let (low, high) = REST_RANGE;
            let strokes = if agrees(point) {
                &mut agree
            } else {
                &mut differ
            };
            let shape = if agrees(point) {
                Shape::Dot
            } else {
                Shape::Cross
            };
            let beyond = if rest > high {
                Some(Shape::Up)
            } else if rest < low {
                Some(Shape::Down)
            } else {
                None
            };
            // In the upper panel a rest above means a count below.
            let upper = match beyond {
                Some(Shape::Up) if is_off => Shape::Down,
                Some(Shape::Down) if is_off => Shape::Up,
                _ => shape,
            };
            strokes.put(upper, across, up);
            strokes.put(
                beyond.unwrap_or(shape),
                across,
                rest_y(rest.clamp(low, high)),
            );
        }
        (agree.path, differ.path)
    }
}

fn agrees(point: &Point) -> bool {
    point.read_count == Some(point.displayed_count)
}

#[derive(Clone, Copy)]
enum Shape {
    Dot,
    Cross,
    Up,
    Down,
}

/// Marks as one path; of several at the same place, one.
#[derive(Default)]
struct Strokes {
    path: String,
    seen: std::collections::HashSet<String>,
}

impl Strokes {
    fn put(&mut self, shape: Shape, x: f64, y: f64) {
        let at = format!("M{} {}", px(x), px(y));
        if !self.seen.insert(at) {
            return;
        }
        let from = |dx: f64, dy: f64| format!("M{} {}", px(x + dx), px(y + dy));
        let _ = match shape {
            Shape::Dot => write!(self.path, "{}h0", from(0.0, 0.0)),
            Shape::Cross => write!(self.path, "{}l6 6m-6 0l6-6", from(-3.0, -3.0)),
            Shape::Up => write!(self.path, "{}l4-5l4 5", from(-4.0, 6.0)),
            Shape::Down => write!(self.path, "{}l4 5l4-5", from(-4.0, -6.0)),
        };
    }
}

fn x(place: f64) -> f64 {
    LEFT + place * (RIGHT - LEFT)
}

fn count_y(place: f64) -> f64 {
    // A little inside, so that the marks at the ends are whole.
    let (top, bottom) = (COUNTS.0 + 6.0, COUNTS.1 - 6.0);
    bottom - place * (bottom - top)
}

fn rest_y(rest: f64) -> f64 {
    let (low, high) = REST_RANGE;
    let (top, bottom) = (RESTS.0 + 6.0, RESTS.1 - 6.0);
    bottom - (rest - low) / (high - low) * (bottom - top)
}

/// A coordinate with one decimal and no more letters than it needs.
fn px(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").unwrap_or(&text).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outcome::{ByHand, Corrected, Verdict};
    use crate::report::tests::clip;

    /// A clip whose 25-count clock shows 23:59:59:12.5 at frame 0, read over midnight, each
    /// count of `wrong` by so many counts too high.
    fn read_over_midnight(wrong: &[(usize, i64)]) -> (ClipOutcome, Evidence) {
        let mut outcome = clip("a.mov", Verdict::Sure, Some(86_399.5)).outcome;
        let day = 86_400 * 25;
        let phi = 86_399.5 * 25.0 + 0.25;
        outcome.start.as_mut().unwrap().count = phi;
        outcome.start.as_mut().unwrap().count_bounds = [phi - 0.05, phi + 0.05];
        let mut points: Vec<Point> = (0..40)
            .map(|nth| {
                let seconds = f64::from(nth) * 0.0413;
                let shown = (phi + seconds * 25.0).floor() as i64 % day;
                Point {
                    seconds,
                    read_count: Some(shown),
                    displayed_count: shown,
                }
            })
            .collect();
        for &(at, counts) in wrong {
            points[at].read_count = Some((points[at].displayed_count + counts).rem_euclid(day));
        }
        (
            outcome,
            Evidence {
                crops: Vec::new(),
                points,
            },
        )
    }

    #[test]
    fn rests_of_frames_that_agree_lie_between_0_and_1_over_midnight_too() {
        let (outcome, evidence) = read_over_midnight(&[]);
        let plot = Plot::of(&outcome, &evidence, 400).unwrap();
        for point in &evidence.points {
            let rest = plot.rest(point).unwrap();
            let since_its_change = (86_399.5 * 25.0 + 0.25 + point.seconds * 25.0).fract();
            assert!(
                (rest - since_its_change).abs() < 1e-6,
                "{rest} at {}",
                point.seconds
            );
        }
        assert!(
            plot.sentence()
                .starts_with("40 of 40 readings agree with a clock of 25 counts a second.")
        );
        assert_eq!(plot.label_at(0.0), "23:59:59:12");
        assert_eq!(plot.label_at(0.5), "00:00:00:00");
    }

    #[test]
    fn rests_that_are_one_are_told_as_one() {
        let (outcome, mut evidence) = read_over_midnight(&[]);
        evidence.points.truncate(1);
        let sentence = Plot::of(&outcome, &evidence, 400).unwrap().sentence();
        assert!(sentence.contains("Their rest is "), "{sentence}");
        assert!(!sentence.contains("between"), "{sentence}");
    }

    #[test]
    fn readings_that_do_not_agree_are_marked_where_they_lie() {
        let (outcome, mut evidence) = read_over_midnight(&[(5, 1), (20, 450_000), (30, -7)]);
        evidence.points[8].read_count = None;
        let plot = Plot::of(&outcome, &evidence, 400).unwrap();
        assert!((-1.0..0.0).contains(&plot.rest(&evidence.points[5]).unwrap()));
        assert!(plot.rest(&evidence.points[30]).unwrap() > 7.0);
        assert!(
            plot.sentence()
                .contains("36 of 40 readings agree with a clock of 25 counts a second by their likeliest digits alone. Their rests lie"),
            "{}",
            plot.sentence()
        );
        let (_, differ) = plot.marks();
        // One too high by a single count: a cross in both panels. The others: arrowheads below.
        assert_eq!(differ.matches("l6 6m").count(), 3, "{differ}");
        assert_eq!(
            differ.matches("l4 5l4-5").count(),
            1,
            "five hours: below the lower panel"
        );
        assert_eq!(
            differ.matches("l4-5l4 5").count(),
            2,
            "and above both: {differ}"
        );
    }

    #[test]
    fn two_slates_far_apart_share_a_straight_line() {
        let (outcome, mut evidence) = read_over_midnight(&[]);
        let tail: Vec<Point> = evidence
            .points
            .iter()
            .map(|point| Point {
                seconds: point.seconds + 600.0,
                read_count: point.read_count.map(|count| count + 15_000),
                displayed_count: point.displayed_count + 15_000,
            })
            .collect();
        evidence.points.extend(tail);
        let plot = Plot::of(&outcome, &evidence, 400).unwrap();
        assert_eq!(plot.axis.cuts().count(), 1);
        assert_eq!(plot.line().matches('M').count(), 2);
        assert!(plot.sentence().starts_with("80 of 80"));
    }

    #[test]
    fn what_was_said_by_hand_is_no_fit() {
        let (mut outcome, evidence) = read_over_midnight(&[]);
        let read_start = outcome.start.clone();
        outcome.start.as_mut().unwrap().count = 0.0;
        outcome.by_hand = Some(ByHand {
            what: Corrected::Set,
            says_start: true,
            remark: String::new(),
            read_verdict: Verdict::Unsure,
            read_start,
            read_clock: outcome.clock.clone(),
            read_speed: None,
        });
        let plot = Plot::of(&outcome, &evidence, 400).unwrap();
        assert_eq!(plot.label_at(0.0), "23:59:59:12");
        outcome.by_hand.as_mut().unwrap().read_start = None;
        assert!(Plot::of(&outcome, &evidence, 400).is_none());
    }

    #[test]
    fn what_was_rejected_is_drawn_at_the_speed_at_which_it_was_read() {
        let (mut outcome, mut evidence) = read_over_midnight(&[]);
        let as_read = |outcome: &ClipOutcome, evidence: &Evidence| {
            Plot::of(outcome, evidence, 400).unwrap().sentence()
        };
        let before = as_read(&outcome, &evidence);
        // Filmed at four times the rate at which it plays: as many counts take four times as long.
        for point in &mut evidence.points {
            point.seconds *= 4.0;
        }
        outcome.by_hand = Some(ByHand {
            what: Corrected::Rejected,
            says_start: false,
            remark: String::new(),
            read_verdict: Verdict::Sure,
            read_start: outcome.start.take(),
            read_clock: outcome.clock.take(),
            read_speed: Some(0.25),
        });
        assert_eq!(as_read(&outcome, &evidence), before);
    }

    #[test]
    fn what_is_drawn_is_as_displayed_whatever_lag_is_in_the_start() {
        let (mut outcome, evidence) = read_over_midnight(&[]);
        let before = Plot::of(&outcome, &evidence, 400).unwrap();
        let (as_displayed, marks) = (before.sentence(), before.marks());
        let start = outcome.start.as_mut().unwrap();
        // Half a second of 25 counts.
        start.count += 12.5;
        start.count_bounds = start.count_bounds.map(|bound| bound + 12.5);
        start.exact_lag_seconds = Some("1/2".into());
        let plot = Plot::of(&outcome, &evidence, 400).unwrap();
        assert_eq!(plot.label_at(0.0), "23:59:59:12");
        assert_eq!(plot.marks(), marks);
        assert_eq!(
            plot.sentence(),
            format!("{as_displayed} This is as displayed; the start lies 500 ms later.")
        );
    }

    #[test]
    fn a_clock_that_drifts_is_drawn_along_its_drift() {
        let (mut outcome, mut evidence) = read_over_midnight(&[]);
        // It gains 150 millionths: ten minutes later 2.25 counts, by the definition of ppm.
        let phi = 86_399.5 * 25.0 + 0.25;
        let tail = evidence.points.clone().into_iter().map(|point| {
            let seconds = point.seconds + 600.0;
            let shown = (phi + seconds * 25.0 * 1.00015).floor() as i64 % (86_400 * 25);
            Point {
                seconds,
                read_count: Some(shown),
                displayed_count: shown,
            }
        });
        evidence.points.extend(tail);
        outcome.clock.as_mut().unwrap().drift_ppm_bounds = Some([140.0, 160.0]);
        let plot = Plot::of(&outcome, &evidence, 400).unwrap();
        for point in &evidence.points {
            let rest = plot.rest(point).unwrap();
            assert!((0.0..1.0).contains(&rest), "{rest} at {}", point.seconds);
        }
        let last = evidence.points.last().unwrap();
        let shown = plot.form.text(last.displayed_count);
        assert_eq!(plot.label_at(last.seconds), shown);
    }

    #[test]
    fn of_many_readings_some_are_drawn_and_all_counted() {
        let (outcome, evidence) = read_over_midnight(&[]);
        let plot = Plot::of(&outcome, &evidence, 10).unwrap();
        assert_eq!(plot.points.len(), 10);
        assert_eq!(plot.points[9].seconds, evidence.points[39].seconds);
        assert!(plot.sentence().starts_with("40 of 40"));
    }
}
