//! The sentences that an editor reads, with their stable codes.

use super::ballot::{Group, Lead};
use super::doubt::{Doubt, What};
use super::pace::Dial;
use super::table::Apart;
use super::{FittedStart, Known};
use crate::note::Note;
use crate::timecode::{ClockForm, HalfOpen, Rate, Ratio};

pub(super) fn no_display() -> Note {
    Note::new(
        "no_display",
        "no display with digits was found; if the clock is in this clip, set the start with --corrections",
    )
}

pub(super) fn other_layout() -> Note {
    Note::new(
        "no_clock_layout",
        "digits were found, but not as hours, minutes and seconds; if the clock is in this clip, \
         set the start with --corrections",
    )
}

/// Advises what was not given yet; what was given may be why nothing fits.
pub(super) fn no_running_clock(known: &Known) -> Note {
    let advice = match (known.rate, known.speed) {
        (None, None) => {
            "give its rate (--clock-rate) or, if the clip plays slower or faster than it was shot, its \
             speed (--speed)"
        }
        (Some(_), None) => {
            "check the rate that was given or leave it out or, if the clip plays slower or faster than \
             it was shot, give its speed (--speed)"
        }
        (None, Some(_)) => {
            "check the speed that was given or leave it out, or give the clock's rate (--clock-rate)"
        }
        (Some(_), Some(_)) => "check the rate and the speed that were given, or leave them out",
    };
    Note::new(
        "no_running_clock",
        format!(
            "digits were found, but no running clock explains them; if the clock is in this clip, \
             {advice}, or set the start with --corrections"
        ),
    )
}

pub(super) fn stood_still() -> Note {
    Note::new(
        "clock_stood_still",
        "a clock was found, but it shows the same time in all frames: a still or paused display; if a \
         running clock is in this clip, set the start with --corrections",
    )
}

/// `for_s`: how long it was looked at.
pub(super) fn not_seen_to_step(for_s: Ratio) -> Note {
    Note::new(
        "not_seen_to_step",
        format!(
            "a clock was found that did not change in {:.1} s on end: a still or paused display, or a \
             clip that plays far slower than it was shot; if it does, give its speed \
             (--speed)",
            for_s.to_f64()
        ),
    )
}

pub(super) fn counts_down() -> Note {
    Note::new(
        "counts_down",
        "a clock was found, but it counts down, and a timer does not tell the time of day; if another \
         clock is in this clip, set the start with --corrections",
    )
}

pub(super) fn agreed(agreeing: usize, read: usize) -> Note {
    Note::new(
        "agreed",
        format!("{agreeing} of {read} read frames agree on one running clock"),
    )
}

pub(super) fn few_frames(agreeing: usize) -> Doubt {
    Doubt::new(
        What::FewFrames,
        format!("the clock could be read in only {agreeing} frames; compare one frame by eye"),
    )
}

pub(super) fn few_agree(agreeing: usize, read: usize) -> Doubt {
    Doubt::new(
        What::FewAgree,
        format!("only {agreeing} of {read} read frames agree; compare one frame by eye"),
    )
}

pub(super) fn uneven(against: usize, told: usize) -> Doubt {
    Doubt::new(
        What::Uneven,
        format!(
            "one digit does not fit in {against} of {told} frames: the clock may run at a rate \
             that is not known here, or unevenly; compare one frame by eye"
        ),
    )
}

pub(super) fn not_seen_running(distinct: usize) -> Doubt {
    Doubt::new(
        What::NotSeenRunning,
        match distinct {
            1 => {
                "too short a stretch to see the clock run: it reads the same throughout; compare one \
                 frame by eye"
                    .to_owned()
            }
            _ => format!(
                "too short a stretch to see the clock run: {distinct} different readings; compare \
                 one frame by eye"
            ),
        },
    )
}

pub(super) fn group_in_doubt(lead: &Lead) -> Doubt {
    let name = lead.group.name();
    if lead.is_unread {
        return Doubt::new(
            What::Unknown(lead.group),
            format!(
                "{name} unknown: their digits could not be read in any frame, and the start has {:02} \
                 in their place; compare one frame by eye",
                lead.fitted
            ),
        );
    }
    Doubt::new(
        What::Doubtful(lead.group),
        format!(
            "the {name} may be {:02} or {:02}; compare one frame by eye",
            lead.fitted, lead.rival
        ),
    )
}

/// A blanked leading zero and a digit that was not found look alike, ten hours apart.
pub(super) fn hours_cut() -> Doubt {
    Doubt::new(
        What::Doubtful(Group::Hours),
        "only one digit of the hours was seen; compare one frame by eye: either the clock leaves \
         out a leading zero, or a digit before it was missed",
    )
}

/// A fingernail before the hours passes for their first digit now and then.
pub(super) fn hours_seen_either_way() -> Doubt {
    Doubt::new(
        What::Doubtful(Group::Hours),
        "the first digit of the hours was made out only at times, and may be something else that \
         lies before them; compare one frame by eye",
    )
}

pub(super) fn hours_from_apart(from: Apart) -> Doubt {
    Doubt::new(
        What::Doubtful(Group::Hours),
        match from {
            Apart::Number => {
                "the hours were read from a row of their own above the rest, where the number of a \
                 scene or a take may stand as well; compare one frame by eye"
            }
            Apart::HoursAndMinutes => {
                "hours and minutes stand above or well before seconds that may be those of a race or \
                 a stopwatch, since no minute passed in view; compare one frame by eye"
            }
        },
    )
}

/// `off` is 1 or -1.
pub(super) fn seconds_from_elsewhere(fitted: u8, off: i64) -> Doubt {
    let shown = (i64::from(fitted) + off).rem_euclid(60);
    Doubt::new(
        What::Doubtful(Group::Seconds),
        format!(
            "the seconds may be {fitted:02} or {shown:02}: they do not change together with the \
             digits after them; compare one frame by eye"
        ),
    )
}

/// Midday and midnight are told apart by 12 and 00 only.
pub(super) fn hours_of_twelve() -> Doubt {
    Doubt::new(
        What::Doubtful(Group::Hours),
        "the start lies before one o'clock, all that was seen after it: a clock of twelve hours \
         shows 12 there, one of twenty-four 00; compare one frame by eye",
    )
}

/// `label` is the start by the digits alone, `other` twelve hours from it.
pub(super) fn half_day_unknown(label: &str, other: &str) -> Doubt {
    Doubt::new(
        What::HalfDayUnknown,
        format!(
            "AM or PM is written beside the digits, and which of them is not read: the start is {label} or \
             {other}; compare one frame by eye"
        ),
    )
}

pub(super) fn parts_doubtful(counts: i64) -> Doubt {
    Doubt::new(
        What::PartsDoubtful,
        format!(
            "the digits after the seconds fit {} counts {} nearly as well; compare one frame by \
             eye",
            counts.abs(),
            if counts > 0 { "later" } else { "earlier" }
        ),
    )
}

pub(super) fn bounds_wide(frames: Ratio) -> Doubt {
    Doubt::new(
        What::BoundsWide,
        format!(
            "the start is only known to within {:.1} frames; compare one frame by eye",
            frames.to_f64()
        ),
    )
}

/// `seen` and `before` in seconds: how long the clock was seen, and how long after frame 0.
pub(super) fn carried_far(seen: Ratio, before: Ratio, frames: f64) -> Doubt {
    Doubt::new(
        What::CarriedFar,
        format!(
            "the clock was seen for {:.1} s, from {:.1} s after the first frame on: if it runs a \
             little fast or slow, the start may lie {frames:.1} frames away; compare one frame by \
             eye",
            seen.to_f64(),
            before.to_f64(),
        ),
    )
}

pub(super) fn clock_unclear(label: &str, other: &str) -> Doubt {
    Doubt::new(
        What::ClockUnclear,
        format!(
            "clocks of different counts a second explain the frames alike, and start at {}; give \
             the clock's rate (--clock-rate)",
            either(label, other)
        ),
    )
}

/// As [`clock_unclear`], where both clocks show one label, at times `apart_s` seconds apart.
pub(super) fn clock_tells_the_time(rate: Rate, other: Rate, label: &str, apart_s: Ratio) -> Doubt {
    Doubt::new(
        What::ClockUnclear,
        format!(
            "clocks of {} and {} counts a second explain the frames alike, and show {label} at \
             times of day {:.2} s apart; give the clock's rate (--clock-rate)",
            rate.decimal(),
            other.decimal(),
            apart_s.to_f64()
        ),
    )
}

/// Two starts, which a clock of whole seconds may show with one label.
fn either(label: &str, other: &str) -> String {
    match label == other {
        true => format!("{label}, at different moments of that count"),
        false => format!("{label} or {other}"),
    }
}

pub(super) fn rate_unknown(rate: Rate, other: Rate, label: &str, at_other: &str) -> Doubt {
    Doubt::new(
        What::RateUnknown,
        format!(
            "the clock may run at {} or at {}, and then the start is {}; give the clock's rate \
             (--clock-rate)",
            rate.decimal(),
            other.decimal(),
            either(label, at_other)
        ),
    )
}

/// One clock, at two speeds of the clip.
pub(super) fn speed_unknown(speed: Ratio, other: Ratio, label: &str, at_other: &str) -> Doubt {
    Doubt::new(
        What::SpeedUnknown,
        format!(
            "the clip may play at {:.3} or at {:.3} of real speed, and then the start is {}; give the \
             clip's speed (--speed)",
            speed.to_f64(),
            other.to_f64(),
            either(label, at_other)
        ),
    )
}

pub(super) fn given_rate_contradicted(rate: Rate, given: Rate) -> Doubt {
    Doubt::new(
        What::GivenRateContradicted,
        format!(
            "the digits run at {}, not at the {} that was given; check the rate, or leave it out",
            rate.counts_a_second(),
            given.decimal(),
        ),
    )
}

pub(super) fn given_speed_contradicted(speed: Ratio, given: Ratio) -> Doubt {
    Doubt::new(
        What::GivenSpeedContradicted,
        format!(
            "by the digits the clip plays at {:.4} of real speed, not at the {:.4} that was given; check \
             the speed, or leave it out",
            speed.to_f64(),
            given.to_f64(),
        ),
    )
}

pub(super) fn given_rate_has_no_drop_frame(given: Rate) -> Doubt {
    Doubt::new(
        What::GivenRateContradicted,
        format!(
            "the clock counts drop-frame, as its digits or the mark before the frames show, which no \
             clock does at the {} that was given; check the rate (--clock-rate), or give --drop-frame no",
            given.decimal(),
        ),
    )
}

/// `given`: whether the user said that the clock counts drop-frame.
pub(super) fn given_drop_frame_contradicted(given: bool) -> Doubt {
    let (does, said) = match given {
        true => ("skips no labels", "--drop-frame yes says that it does"),
        false => ("skips labels", "--drop-frame no says that it does not"),
    };
    Doubt::new(
        What::GivenDropFrameContradicted,
        format!(
            "the clock {does} at the minute, as the digits or the mark before the frames show, but \
             {said}; check that, or leave the option out"
        ),
    )
}

/// The note of a word on drop-frame that a mark speaks against, and nothing else does.
pub(super) fn given_against_mark(given: bool) -> Note {
    let (mark, taken) = match given {
        true => ("a colon", "with"),
        false => ("a semicolon", "without"),
    };
    Note::new(
        "given_against_mark",
        format!(
            "before the frames {mark} is seen; the clock is taken {taken} drop-frame, as was given"
        ),
    )
}

pub(super) fn drop_frame_unknown(label: &str, other: &str) -> Doubt {
    Doubt::new(
        What::DropFrameUnknown,
        format!(
            "the start lies beyond a minute mark from where the clock was seen: {label} or \
             {other}, as it counts without or with drop-frame; say which (--drop-frame no or yes)"
        ),
    )
}

pub(super) fn start_unclear(label: &str, other: &str) -> Doubt {
    Doubt::new(
        What::StartUnclear,
        format!(
            "the frames fit a start at {label} nearly as well as one at {other}; compare one frame \
             by eye"
        ),
    )
}

pub(super) fn jumped() -> Doubt {
    Doubt::new(
        What::ClockJumped,
        "the clock jumps or stops while it is in view: it was set, or the clip was edited; compare one \
         frame by eye",
    )
}

/// `by_later`: the start by the later place, if it tells any.
pub(super) fn rejammed(by_later: Option<&FittedStart>) -> Doubt {
    let by_later = by_later.map_or_else(String::new, |start| {
        format!("; by the later it would be {}", start.label)
    });
    Doubt::new(
        What::ClockRejammed,
        format!(
            "the clock was set anew between two places in the clip, or another one is seen in the \
             later; the start is by the earlier one{by_later}; compare one frame by eye"
        ),
    )
}

/// Which of two clocks that do not agree the start is by.
#[derive(Clone, Copy)]
pub(super) enum Preferred {
    Larger,
    Clearer,
}

/// `by_other`: the start by the other one, if it tells any.
pub(super) fn clocks_disagree(one: Preferred, by_other: Option<&FittedStart>) -> Doubt {
    let by_other = by_other.map_or_else(String::new, |start| {
        format!("; by the other it would be {}", start.label)
    });
    let one = match one {
        Preferred::Larger => "larger",
        Preferred::Clearer => "clearer",
    };
    Doubt::new(
        What::ClocksDisagree,
        format!(
            "two running clocks are in view and do not agree; the start is by the {one} \
             one{by_other}; compare one frame by eye"
        ),
    )
}

/// The note of an assumed rate.
pub(super) fn rate_assumed(rate: Rate, rates: &[Rate], clip: Option<Rate>) -> Note {
    let all: Vec<String> = rates.iter().map(|r| r.decimal()).collect();
    let why = match clip.filter(|&clip| clip == rate) {
        Some(_) => ", because the clip runs at that rate",
        None => "",
    };
    Note::new(
        "rate_assumed",
        format!(
            "in so short a stretch, clocks of {} counts a second look alike; taken as {}{why}",
            all.join(", "),
            rate.decimal()
        ),
    )
}

pub(super) fn drop_frame_open() -> Note {
    Note::new(
        "drop_frame_open",
        "nothing seen tells whether the clock counts drop-frame; the start label is the same \
         either way, its seconds since midnight are for a clock without",
    )
}

pub(super) fn conformed(speed: Ratio) -> Note {
    let shot_at = if speed > Ratio::ONE {
        "lower"
    } else {
        "higher"
    };
    Note::new(
        "conformed",
        format!(
            "the clip plays at {:.3} of real speed, from frame 0 on as is taken for granted: it was \
             shot at a {shot_at} rate",
            speed.to_f64()
        ),
    )
}

/// `ppm` by which the clock gains on the clip's frame times.
pub(super) fn drift(ppm: HalfOpen) -> Note {
    let ms_an_hour = |ppm: Ratio| ppm * Ratio::new(18, 5);
    let loses = ppm.high <= Ratio::ZERO;
    Note::new(
        "drift_measured",
        format!(
            "against the clip's frame times the clock {} {} parts per million, {} ms an hour",
            if loses { "loses" } else { "gains" },
            written_outwards(ppm, 1),
            written_outwards(HalfOpen::new(ms_an_hour(ppm.low), ms_an_hour(ppm.high)), 0),
        ),
    )
}

/// Both ends, rounded so that the bounds hold as they are written; with signs if these differ, else
/// the smaller amount first.
fn written_outwards(range: HalfOpen, digits: u32) -> String {
    let scale = 10_i128.pow(digits);
    let at = |end: Ratio| end * Ratio::from_integer(scale);
    let low = at(range.low).floor() as f64 / scale as f64;
    let high = at(range.high).ceil() as f64 / scale as f64;
    let digits = digits as usize;
    if low < 0.0 && high > 0.0 {
        return format!("{low:+.digits$} to {high:+.digits$}");
    }
    let (low, high) = (low.abs(), high.abs());
    format!("{:.digits$} to {:.digits$}", low.min(high), low.max(high))
}

/// Why a clip may not play at the only speed at which the digits fit.
#[derive(Clone, Copy)]
pub(super) enum NotThatSpeed {
    DisplayTooLate,
    DigitMisread,
    FewCounts,
    MayBeACounter,
    NoSuchFile,
}

pub(super) fn speed_doubtful(speed: Ratio, why: NotThatSpeed) -> Doubt {
    let why = match why {
        NotThatSpeed::DisplayTooLate => "then the display would be later than displays are",
        NotThatSpeed::DigitMisread => "then one digit would be misread throughout",
        NotThatSpeed::FewCounts => "few counts bear that out",
        NotThatSpeed::MayBeACounter => "it may be a counter of something else",
        NotThatSpeed::NoSuchFile => "files with a wrong rate are not that far off",
    };
    Doubt::new(
        What::SpeedDoubtful,
        format!(
            "the digits fit only if the clip plays at {:.3} of real speed, and {why}; compare one frame \
             by eye, or give the clip's speed (--speed)",
            speed.to_f64()
        ),
    )
}

pub(super) fn odd_pace(speed: Ratio) -> Note {
    Note::new(
        "odd_pace",
        format!(
            "against the clock the clip plays at {:.3} of real speed, as files with a wrong rate \
             do; the start is carried to the first frame at the pace that was seen",
            speed.to_f64()
        ),
    )
}

pub(super) fn may_be_a_player() -> Doubt {
    Doubt::new(
        What::MayBeAPlayer,
        "beside it stands a time that it has yet to reach, or one runs down: so a player shows how far \
         it has come, and how long the film is; reject it, or set the start by hand",
    )
}

pub(super) fn may_be_a_length() -> Doubt {
    Doubt::new(
        What::MayBeALength,
        "it shows less than an hour and no frames, as a stopwatch, a player or a recorded length \
         does; if it is the time of day, set the start by hand",
    )
}

pub(super) fn frames_unseen(clip_rate: Rate) -> Doubt {
    Doubt::new(
        What::FramesUnseen,
        format!(
            "whole seconds are read, and not what stands behind them: if the clock counts frames at {}, \
             its seconds are longer than real ones, and the clip's label is another; if it shows none, \
             give --clock-rate 1",
            clip_rate.decimal()
        ),
    )
}

/// In a clip whose own rate says nothing for such a clock.
pub(super) fn frames_may_be_unseen() -> Note {
    Note::new(
        "frames_unseen",
        "whole seconds are read, and not what stands behind them; they are taken for real seconds, as \
         those of clocks at 23.976 or 29.97 are not",
    )
}

/// Of a display that was seen to end with its seconds, in a clip of 23.976, 29.97 or the like.
pub(super) fn frames_may_be_elsewhere() -> Note {
    Note::new(
        "frames_unseen",
        "no frames are seen behind the whole seconds, which are taken for real ones; those of a clock at \
         23.976 or 29.97 without drop-frame, whose frames are below or hardly seen, are longer, and the \
         clip's label is another: give its --clock-rate then",
    )
}

/// In clip seconds.
pub(super) fn held(from_s: Ratio, to_s: Ratio) -> Note {
    Note::new(
        "display_held",
        format!(
            "from {:.1} to {:.1} s the display is held at one label, as slates hold theirs at the \
             clap; the start is by the frames in which it runs",
            from_s.to_f64(),
            to_s.to_f64()
        ),
    )
}

pub(super) fn late_display(hz: u32) -> Note {
    Note::new(
        "late_display",
        format!(
            "the digits change up to 1/{hz} s late, as on a display that refreshes {hz} times a second or \
             less often"
        ),
    )
}

pub(super) fn place_left_out(dial: Dial, place: usize) -> Note {
    let hours = dial.hour_digits as usize;
    let name = match place {
        p if p < hours => "hours",
        p if p < hours + 2 => "minutes",
        p if p < hours + 4 => "seconds",
        _ => "last",
    };
    Note::new(
        "place_left_out",
        format!("one of the {name} digits never fits the others and was left out"),
    )
}

/// `form` is what is left of the clock.
pub(super) fn last_places_unread(form: ClockForm) -> Note {
    Note::new(
        "last_places_unread",
        format!(
            "what stands behind the last digits could not be read; taken as a clock of {}",
            form.pattern()
        ),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_label_is_offered_twice() {
        let [a, b] = ["21:24:53", "21:24:54"];
        let rates = (Rate::F25, Rate::F24);
        for (label, times) in [(a, 1), (b, 0)] {
            let unclear = clock_unclear(a, label).sentence;
            let unknown = rate_unknown(rates.0, rates.1, a, label).sentence;
            let speed = speed_unknown(Ratio::ONE, Ratio::new(19, 20), a, label).sentence;
            for sentence in [unclear, unknown, speed] {
                assert_eq!(sentence.matches(a).count(), 1, "{sentence}");
                assert_eq!(sentence.matches(b).count(), 1 - times, "{sentence}");
            }
        }
    }
}
