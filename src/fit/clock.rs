//! What clock it is, and how that is known.

use super::ballot::ENOUGH;
use super::doubt::Doubt;
use super::join::Joint;
use super::judge::label_of;
use super::looks::Looks;
use super::reasons;
use super::refresh::Refresh;
use super::sight::DAY_S;
use super::table::{Member, Table};
use super::{ClockFit, DropFrameKnownBy, FittedClock, RateKnownBy};
use crate::timecode::{ClockForm, Rate, Ratio};

/// How likely a clock without drop-frame prints a semicolon: SMPTE ST 12-1
/// practice keeps it for drop-frame (from memory).
const STRAY_SEMICOLON: f64 = 1e-5;
/// Share of drop-frame clocks that print a colon all the same (judged).
const DROP_FRAME_COLON: f64 = 0.5;

impl Table<'_> {
    /// Says what clock it is, and how that is known.
    pub fn clock(
        &self,
        chosen: &Joint,
        joints: &[Joint],
        survivors: &[&Joint],
        rate_known_by: RateKnownBy,
        lead: usize,
        fit: &mut ClockFit,
    ) {
        let form = self.named(chosen, lead);
        let rate = form.rate();
        let (drop_frame, drop_frame_known_by) = match form {
            ClockForm::Frames(_) if !rate.has_drop_frame() => (Some(false), DropFrameKnownBy::Rate),
            ClockForm::Frames(_) => {
                let drop_frame = form.drop_frame();
                let other = |j: &&Joint| j.differs_by_drop_frame(chosen);
                let by_looks = |j: &Joint, skips: bool| {
                    let members = j.chosen.iter().zip(self.seen).filter(|(c, _)| c.is_some());
                    j.score - mark_odds(members.filter_map(|(_, s)| s.looks.as_ref()), skips)
                };
                let rival = joints.iter().find(other);
                if self.known.drop_frame.is_some() {
                    (Some(drop_frame), DropFrameKnownBy::Given)
                // One that counts drop-frame is only chosen beside such a rival if the mark says so.
                } else if !drop_frame && survivors.iter().copied().any(|j| other(&j)) {
                    (None, DropFrameKnownBy::Unknown)
                } else if rival.is_some_and(|r| {
                    by_looks(r, !drop_frame) > by_looks(chosen, drop_frame) - ENOUGH
                }) {
                    (Some(drop_frame), DropFrameKnownBy::Mark)
                } else if drop_frame {
                    (Some(true), DropFrameKnownBy::SkippedLabel)
                } else {
                    (Some(false), DropFrameKnownBy::Label)
                }
            }
            _ => (None, DropFrameKnownBy::Rate),
        };
        let starts = chosen.chosen.iter().flatten();
        let refresh = starts.filter_map(|start| start.refresh).max();
        let refresh_hz = refresh.map(Refresh::hz);
        if rate_known_by == RateKnownBy::Assumed {
            let mut rates: Vec<Rate> = survivors.iter().map(|j| j.pace.form.rate()).collect();
            rates.sort_unstable();
            rates.dedup();
            if rates.len() > 1 {
                let note = reasons::rate_assumed(rate, &rates, self.clip.rate);
                fit.notes.push(note);
            }
        }
        if drop_frame_known_by == DropFrameKnownBy::Unknown {
            fit.notes.push(reasons::drop_frame_open());
        }
        if chosen.pace.doubt_ppm > 0 {
            fit.notes.push(reasons::odd_pace(chosen.pace.speed));
        } else if chosen.pace.speed != Ratio::ONE {
            fit.notes.push(reasons::conformed(chosen.pace.speed));
        }
        if let Some(hz) = refresh_hz {
            fit.notes.push(reasons::late_display(hz));
        }
        // Against a rate that was itself measured here, it says nothing.
        let drift_ppm = chosen.drift_ppm.filter(|_| chosen.pace.doubt_ppm == 0);
        if let Some(ppm) = drift_ppm {
            fit.notes.push(reasons::drift(ppm));
        }
        fit.clock = Some(FittedClock {
            form,
            rate_known_by,
            drop_frame,
            drop_frame_known_by,
            refresh_hz,
            speed: chosen.pace.speed,
            drift_ppm,
        });
    }

    /// The doubt about a clock of twelve hours: AM or PM is written beside it, which of the two is not
    /// read, and no hour was seen that such a clock has not.
    pub fn half_day(&self, chosen: &Joint, on_frame_0: i64, members: &[Member]) -> Option<Doubt> {
        let form = chosen.pace.form;
        let sighting = |m: &Member| &self.sightings[self.seen[m.index].sighting];
        let is_written = members.iter().any(|m| sighting(m).shows_half_day);
        let may_be_of_twelve = |m: &Member| {
            let form = m.placed.form;
            let mut hours = m
                .placed
                .counts
                .iter()
                .map(|&count| form.label(count).hours());
            hours.all(|hour| (1..=12).contains(&hour))
        };
        if !is_written || !members.iter().all(may_be_of_twelve) {
            return None;
        }
        let half = form.counts_per_day() / 2;
        let other = match form.label(on_frame_0).hours() {
            0..12 => on_frame_0 + half,
            _ => on_frame_0 - half,
        };
        let [label, other] = [on_frame_0, other].map(|count| form.text(count));
        Some(reasons::half_day_unknown(&label, &other))
    }

    /// The doubt about a clock of another base that shows the same label at another time of day, as
    /// 23.976 and 25 do, whose seconds are 36 s apart by ten o'clock. A clock of 25 whose number 24
    /// falls between the frames of a camera at 23.976 reads like one of 23.976, but for that number
    /// if a look shows it. Without one, and among others, the clock counts as the camera does.
    pub fn another_time(
        &self,
        chosen: &Joint,
        survivors: &[&Joint],
        shows_a_number_beyond: bool,
    ) -> Option<Doubt> {
        let form = chosen.pace.form;
        let told_s = |joint: &Joint| joint.pace.form.seconds(joint.start.middle());
        let day_s = Ratio::from_integer(DAY_S);
        let frame_s = self.grain(&chosen.pace) / form.rate().ratio();
        survivors.iter().find_map(|other| {
            let rate = other.pace.form.rate();
            let is_larger = rate.base() > form.rate().base();
            let is_smaller = rate.base() < form.rate().base();
            let counts_as_the_camera =
                self.clip.rate == Some(rate) && other.score >= chosen.score - ENOUGH;
            let apart_s = (told_s(chosen) - told_s(other)).wrapped(day_s).abs();
            let is_open = is_larger && shows_a_number_beyond || is_smaller && counts_as_the_camera;
            (is_open && apart_s > frame_s).then(|| {
                let label = label_of(form, chosen.start.middle());
                reasons::clock_tells_the_time(form.rate(), rate, &label, apart_s)
            })
        })
    }

    /// A hundred counts a second are frames behind a colon, hundredths elsewhere.
    fn named(&self, chosen: &Joint, lead: usize) -> ClockForm {
        let form = chosen.pace.form;
        if form != ClockForm::Hundredths {
            return form;
        }
        let looks = self.seen[lead].looks.as_ref();
        let marks = looks
            .into_iter()
            .flat_map(|l| (0..l.len()).map(|i| l.reading(i).last_mark));
        let (colon, dot) = marks.fold((0.0, 0.0), |sum, m| (sum.0 + m.colon, sum.1 + m.dot));
        if colon > dot {
            ClockForm::frames(Rate::F100, false).expect("two digits hold a hundred frames")
        } else {
            form
        }
    }
}

/// ln of the probability of the marks seen, for a clock that skips labels or not.
/// A clock prints one mark always, so all looks together are one fact; they are
/// worth as much as a few independent ones.
pub(super) fn mark_odds<'l, 'r: 'l>(
    looks: impl Iterator<Item = &'l Looks<'r>>,
    skips: bool,
) -> f64 {
    const INDEPENDENT_LOOKS: f64 = 4.0;
    const FLOOR: f32 = 0.01;
    let (mut sum, mut n) = (0.0, 0.0f64);
    for looks in looks {
        for i in 0..looks.len() {
            let mark = looks.reading(i).last_mark;
            sum += f64::from(((mark.semicolon + FLOOR) / (mark.colon + FLOOR)).ln());
            n += 1.0;
        }
    }
    if n == 0.0 {
        return 0.0;
    }
    let odds = (sum / n * n.min(INDEPENDENT_LOOKS)).exp();
    let semicolon = odds / (1.0 + odds);
    let (of_semicolon, of_colon) = if skips {
        (1.0 - DROP_FRAME_COLON, DROP_FRAME_COLON)
    } else {
        (STRAY_SEMICOLON, 1.0 - STRAY_SEMICOLON)
    };
    (semicolon * of_semicolon + (1.0 - semicolon) * of_colon).ln()
}
