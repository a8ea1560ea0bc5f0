//! The cameras' own clocks: measured on clips with a start of their own, held against each clip, and
//! where they put the others.

use super::Card;
use crate::card::gaps::Slate;
use crate::card::moment::MICROSECONDS;
use crate::card::own_clock::{CALENDAR_DAY_S, MOST_DRIFT_PPM, OwnClock, Point, Written};
use crate::card::words::{offset_in_words, span, time_of_day};
use crate::clip_base;
use crate::note::Note;
use crate::outcome::{ClipOutcome, Estimate, Verdict};
use crate::timecode::{ClockForm, HalfOpen, Ratio};
use std::collections::BTreeMap;

/// Clips that must agree on the camera's clock, and be twice as many as those that do not,
/// before a start that contradicts it is doubted.
const ENOUGH_TO_DOUBT: usize = 3;
/// Seconds within which the clocks of two cards are those of one camera: the rounding of
/// two headers, and what a day adds to it.
const SAME_CLOCK_S: i64 = 2 + MOST_DRIFT_PPM * CALENDAR_DAY_S / 1_000_000;

/// A camera's clock, and the filmed one that it was held against.
pub(super) struct Measured {
    pub own: OwnClock,
    pub form: ClockForm,
    /// Two or more clips follow another clock than the rest: the camera's was set, or two
    /// cameras were taken for one.
    is_split: bool,
}

impl Measured {
    /// Seconds between what two cameras' clocks show at one time, the short way round the day.
    fn apart_s(&self, other: &Self) -> Ratio {
        let apart_s = self.own.offset_s() - other.own.offset_s();
        apart_s.wrapped(self.form.day_seconds()).abs()
    }
}

impl Card<'_> {
    /// True if two measurements can be those of one clock that nobody set in between.
    pub(super) fn is_one_clock(&self, a: &Measured, b: &Measured) -> bool {
        if a.form.day_seconds() != b.form.day_seconds() {
            return false;
        }
        let header_s = |m: &Measured| self.header_s(*m.own.rests_on().first()?);
        let (Some(a_s), Some(b_s)) = (header_s(a), header_s(b)) else {
            return false;
        };
        let drift = Ratio::new(MOST_DRIFT_PPM.into(), 1_000_000);
        a.apart_s(b) <= Ratio::from_integer(SAME_CLOCK_S) + (a_s - b_s).abs() * drift
    }

    /// Measures each camera's clock on the clips with a start of their own, and tells those
    /// that contradict it.
    pub(super) fn compare_with_own_clocks(&mut self) -> Vec<Option<Measured>> {
        let mut clocks: Vec<Option<Measured>> = (0..self.groups.len())
            .map(|camera| self.measure(camera))
            .collect();
        for measured in clocks.iter_mut().flatten() {
            let agreeing = measured.own.rests_on().len();
            let outliers: Vec<(usize, Ratio)> = measured
                .own
                .outliers()
                .into_iter()
                .filter_map(|clip| Some((clip, self.off_s(clip, measured)?)))
                .collect();
            for &(clip, off_s) in &outliers {
                let near = |other: &(usize, Ratio)| {
                    other.0 != clip && (other.1 - off_s).abs() <= Ratio::from_integer(SAME_CLOCK_S)
                };
                let is_alone = !outliers.iter().any(near);
                measured.is_split |= !is_alone;
                let note = Note::new(
                    "against_camera_clock",
                    format!(
                        "the camera's own clock puts this clip {} {} than the filmed one, unlike \
                         {agreeing} other clips: was a clock set anew, or is the start misread?",
                        span(off_s.abs()),
                        if off_s.is_positive() {
                            "earlier"
                        } else {
                            "later"
                        },
                    ),
                );
                let outcome = &mut self.outcomes[clip];
                // What several clips show alike is no misread digit.
                let is_doubtful = is_alone
                    && agreeing >= ENOUGH_TO_DOUBT
                    && agreeing >= 2 * outliers.len()
                    && !is_said(outcome);
                if is_doubtful && outcome.verdict == Verdict::Sure {
                    outcome.verdict = Verdict::Unsure;
                    outcome.reasons.insert(0, note);
                } else {
                    outcome.notes.push(note);
                }
                if is_doubtful {
                    self.doubt_chapters_of(clip, off_s, measured);
                }
            }
        }
        clocks
    }

    /// Doubts the chapters behind a doubted one whose slates lie nearer to where its start puts them
    /// than to where the camera's clock does: they were misread alike, or none was.
    fn doubt_chapters_of(&mut self, doubted: usize, off_of_it_s: Ratio, measured: &Measured) {
        let name = &self.members[doubted].name;
        let head = self.head_of(doubted);
        for clip in 0..self.members.len() {
            let is_of_it = self.places[clip].is_some_and(|place| place.head == head);
            let outcome = &self.outcomes[clip];
            if !is_of_it || outcome.verdict != Verdict::Sure || is_said(outcome) {
                continue;
            }
            let Some(off_s) = self.off_s(clip, measured) else {
                continue;
            };
            let apart_s = (off_s - off_of_it_s).wrapped(measured.form.day_seconds());
            if apart_s.abs() < off_s.abs() {
                let note = Note::new(
                    "against_camera_clock",
                    format!(
                        "the camera's own clock puts this recording elsewhere than the filmed one, by its chapter \
                         {name}: was a clock set anew, or is the start misread?"
                    ),
                );
                let outcome = &mut self.outcomes[clip];
                outcome.verdict = Verdict::Unsure;
                outcome.reasons.insert(0, note);
            }
        }
    }

    /// Seconds by which a clip's start lies after where the camera's clock puts it; within
    /// half a day of zero.
    fn off_s(&self, clip: usize, measured: &Measured) -> Option<Ratio> {
        let slate = Slate::of(&self.outcomes[clip])?;
        let expected = self.expected_s(clip, measured)?;
        let off_s = slate.seconds().outward(MICROSECONDS).middle() - expected.middle();
        Some(off_s.wrapped(measured.form.day_seconds()))
    }

    /// Where the camera's clock puts a clip, in real seconds since midnight of the filmed one.
    fn expected_s(&self, clip: usize, measured: &Measured) -> Option<HalfOpen> {
        let (head, after_s) = (self.head_of(clip), self.after_head_s(clip)?);
        let (own, length_s) = (&measured.own, self.real_length_s(head));
        let start = own.start_s(self.header_s(head)?, length_s)?;
        Some(start.shift(self.real_s(head, after_s)))
    }

    /// The first clip of its chain: headers of later chapters often tell when that one began.
    fn head_of(&self, clip: usize) -> usize {
        self.places[clip].map_or(clip, |place| place.head)
    }

    /// Clip seconds from frame 0 of that clip to this one's, as long as those between are; `None` if
    /// not known.
    fn after_head_s(&self, clip: usize) -> Option<Ratio> {
        self.places[clip].map_or(Some(Ratio::ZERO), |place| place.after_s)
    }

    pub(super) fn measure(&self, camera: usize) -> Option<Measured> {
        let mut by_day: BTreeMap<Ratio, (ClockForm, Vec<Point>)> = BTreeMap::new();
        for clip in 0..self.members.len() {
            if self.camera_of[clip] != camera {
                continue;
            }
            let Some(slate) = Slate::of(&self.outcomes[clip]) else {
                continue;
            };
            let head = self.head_of(clip);
            let (Some(after_s), Some(header_s), Some(length_s)) = (
                self.after_head_s(clip)
                    .filter(|_| self.speaks_for_its_chain(clip)),
                self.header_s(head),
                self.real_length_s(head),
            ) else {
                continue;
            };
            let (_, points) = by_day
                .entry(slate.form.day_seconds())
                .or_insert_with(|| (slate.form, Vec::new()));
            points.push(Point {
                clip,
                header_s,
                length_s,
                start_s: slate.seconds().shift(-self.real_s(head, after_s)),
            });
        }
        // Seconds since midnight of clocks that count at other speeds do not compare.
        let (day_s, (form, points)) = by_day
            .into_iter()
            .max_by_key(|(day_s, (_, points))| (points.len(), std::cmp::Reverse(*day_s)))?;
        let own = OwnClock::fit(points, day_s)?;
        Some(Measured {
            own,
            form,
            is_split: false,
        })
    }

    /// True if no clip of its chain before this one has a slate.
    fn speaks_for_its_chain(&self, clip: usize) -> bool {
        let place = |clip: usize| (self.head_of(clip), self.after_head_s(clip));
        let (head, after_s) = place(clip);
        let is_before = |other: &usize| {
            let (head_of_other, after_head_s) = place(*other);
            head_of_other == head && after_head_s.is_some() && after_head_s < after_s
        };
        let mut before = (0..self.members.len()).filter(is_before);
        !before.any(|other| Slate::of(&self.outcomes[other]).is_some())
    }

    /// Says of clips without a start where they probably lie.
    pub(super) fn estimate(&mut self, clocks: &[Option<Measured>]) {
        for clip in 0..self.members.len() {
            if self.outcomes[clip].verdict != Verdict::None {
                continue;
            }
            let Some(measured) = clocks[self.camera_of[clip]]
                .as_ref()
                .filter(|measured| !measured.is_split)
            else {
                continue;
            };
            if let Some(start) = self.expected_s(clip, measured) {
                let estimate = self.estimate_from(start, measured, self.head_of(clip));
                self.outcomes[clip].estimate = Some(estimate);
            }
        }
    }

    fn estimate_from(&self, start: HalfOpen, measured: &Measured, head: usize) -> Estimate {
        let day_s = measured.form.day_seconds();
        let midnight = Ratio::from_integer((start.middle() / day_s).floor()) * day_s;
        let start = start.shift(-midnight);
        let rests_on = measured.own.rests_on();
        let written = match *measured.own.written {
            [Written::AtStart] => "written at the start of a take",
            [Written::AtEnd] => "written at the end of a take",
            _ => "written at the start or the end of a take, which is open",
        };
        let clips = match rests_on.len() {
            1 => "one clip with a start tells".to_owned(),
            n => format!("{n} clips with a start tell"),
        };
        let header = self.outcomes[head].clip.camera_clock().unwrap_or_default();
        let sentence = format!(
            "probably near {} on the filmed clock, give or take {}: by the camera's own clock \
             ({header}, {written}), which {clips} {}; no time zone was applied",
            time_of_day(measured.form, start.middle()),
            span(start.width() / Ratio::from_integer(2)),
            offset_in_words(measured.own.offset_s()),
        );
        Estimate {
            seconds: start.middle().to_f64(),
            seconds_bounds: [start.low.to_f64(), start.high.to_f64()],
            sentence,
            rests_on: rests_on
                .into_iter()
                .map(|clip| self.members[clip].name.clone())
                .collect(),
        }
    }

    /// A filmed clock that is whole quarters of an hour apart from the camera's runs in
    /// another zone: all zones in use are whole quarters off UTC.
    pub(super) fn zone_note(&self, measured: &Measured) -> Option<Note> {
        const QUARTER_S: i64 = 900;
        const NEAR_S: i64 = 60;
        let clip = *measured.own.rests_on().first()?;
        let header_s = self.header_s(clip)?;
        // What the display reads, not how many real seconds its clock has run.
        let start = self.outcomes[clip].start.as_ref()?;
        let form = clip_base::clock_form(self.outcomes[clip].clock.as_ref()?)?;
        let count = clip_base::phi_bounds(start)?.middle().floor();
        let label = form.label(i64::try_from(count).ok()?);
        let read_s = 3600 * i64::from(label.hours())
            + 60 * i64::from(label.minutes())
            + i64::from(label.seconds());
        let day_s = Ratio::from_integer(CALENDAR_DAY_S);
        let apart = (Ratio::from_integer(read_s) - header_s).wrapped(day_s);
        let quarters = (apart / Ratio::from_integer(QUARTER_S)).round();
        let zone_s = Ratio::from_integer(quarters * i128::from(QUARTER_S));
        if quarters == 0 || (apart - zone_s).abs() > Ratio::from_integer(NEAR_S) {
            return None;
        }
        let minutes = quarters.abs() * 15;
        Some(Note::new(
            "zone_offset_likely",
            format!(
                "zone offset likely: in {} the display read {}, and the header says {}; a zone \
                 {}{:02}:{:02} from the header's would explain it, and none was applied",
                self.members[clip].name,
                start.label,
                self.outcomes[clip]
                    .clip
                    .creation_time
                    .as_deref()
                    .unwrap_or_default(),
                if quarters > 0 { '+' } else { '-' },
                minutes / 60,
                minutes % 60
            ),
        ))
    }
}

/// True if a person said the start.
fn is_said(outcome: &ClipOutcome) -> bool {
    outcome.by_hand.as_ref().is_some_and(|said| said.says_start)
}

/// One camera, or two of a kind? `which` says who shot clips on two cards.
pub(super) fn one_or_two(which: &str, clocks: [&Option<Measured>; 2]) -> Note {
    let one = |why: &str| {
        Note::new(
            "one_camera_two_cards",
            format!("{which}: one camera, {why}"),
        )
    };
    let [Some(a), Some(b)] = clocks else {
        return one("or two of a kind; their clocks could not be compared");
    };
    let apart_s = a.apart_s(b);
    if apart_s <= Ratio::from_integer(SAME_CLOCK_S) {
        return one("by its clock, or two set alike");
    }
    Note::new(
        "two_cameras_one_name",
        format!(
            "{which}: two cameras of a kind, whose clocks are {} apart",
            span(apart_s)
        ),
    )
}

/// Why clips without a slate get no estimate.
pub(super) fn split_note(measured: &Measured) -> Option<Note> {
    measured.is_split.then(|| {
        Note::new(
            "camera_clock_split",
            "its slated clips follow more than one clock, so the others get no estimate: the \
             camera's clock was set between takes, or two cameras were taken for one",
        )
    })
}
