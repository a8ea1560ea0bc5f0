//! A clip's start in its own timecode base, from what its outcome says: whoever
//! sets or moves a start (the clip's own fit, a chapter that inherits, a
//! correction by hand) calls [`fill`] last.

use crate::note::Note;
use crate::outcome::{ClipLabel, ClipOutcome, Clock, RateKnownBy, Start};
use crate::timecode::{ClockForm, HalfOpen, InClipBase, Rate, Ratio, in_clip_base};

/// Codes of the notes that [`fill`] writes, and takes away before it does.
const CODES: [&str; 3] = ["base_apart", NONE, OPEN];

/// The notes that say why there is a start and no label in the clip's base.
const NONE: &str = "base_none";
const OPEN: &str = "base_open";

/// How the filmed clock counts; without drop-frame where that is not known. `None` if the
/// outcome's text names no clock of this program.
pub fn clock_form(clock: &Clock) -> Option<ClockForm> {
    let frames =
        || ClockForm::frames(exact_rate(&clock.rate)?, clock.drop_frame == Some(true)).ok();
    ClockForm::WITHOUT_FRAMES
        .into_iter()
        .find(|form| form.pattern() == clock.form)
        .or_else(frames)
}

/// Where phi lies, in counts since the clock's midnight. `None` also for numbers that no
/// clip brings, so that a damaged sidecar cannot overflow exact arithmetic.
pub fn phi_bounds(start: &Start) -> Option<HalfOpen> {
    let [low, high] = start.exact_count_bounds.as_ref()?;
    let (low, high): (Ratio, Ratio) = (low.parse().ok()?, high.parse().ok()?);
    // The widest of the three, for its denominator is the common one.
    let sum = low.checked_add(high)?;
    let is_sane = |ratio: Ratio| {
        ratio.num().unsigned_abs() < LARGEST_TERM && ratio.den().unsigned_abs() < LARGEST_TERM
    };
    ([low, high, sum].into_iter().all(is_sane) && low < high).then(|| HalfOpen::new(low, high))
}

/// Seconds by which the start lies after what was displayed, as the user told. Zero also for numbers
/// that nobody can tell.
pub fn lag_s(start: &Start) -> Ratio {
    let told = start.exact_lag_seconds.as_deref();
    let told = told.and_then(|text| text.parse().ok());
    let terms = 1..LARGEST_LAG_TERM;
    let is_sane = |lag_s: &Ratio| terms.contains(&lag_s.num()) && terms.contains(&lag_s.den());
    told.filter(is_sane).unwrap_or(Ratio::ZERO)
}

/// Above the terms of all lags that are believed.
const LARGEST_LAG_TERM: i128 = 10_000_000;

/// A lag as people write it: `500 ms`. `None` if there is none.
pub fn lag_text(lag_s: Ratio) -> Option<String> {
    // The shortest decimal that is as fine as a lag may be told.
    let ms = (lag_s.to_f64() * 1e6).round() / 1e3;
    lag_s.is_positive().then(|| format!("{ms} ms"))
}

/// What the clock of `form` displayed on frame 0, or would have: [`phi_bounds`] without the lag.
pub fn displayed_bounds(start: &Start, form: ClockForm) -> Option<HalfOpen> {
    Some(phi_bounds(start)?.shift(-form.count_at(lag_s(start))))
}

/// Times a trade rate's terms twice, this stays below `i128::MAX`, 1.7e38. The fit's bounds
/// have terms below 1e24.
const LARGEST_TERM: u128 = 1_000_000_000_000_000_000_000_000_000;

/// A rate as outcomes write it, `30000/1001`.
pub fn exact_rate(text: &str) -> Option<Rate> {
    Rate::from_ratio(text.parse().ok()?)
}

/// What a clock counts, by its rate as outcomes write it: `25 counts a second`.
pub fn counts_a_second(rate: &str) -> String {
    exact_rate(rate).map_or_else(|| format!("{rate} counts a second"), Rate::counts_a_second)
}

/// Length in clip seconds, exact; by counted frames where they are evenly spaced.
pub fn duration_s(outcome: &ClipOutcome) -> Option<Ratio> {
    let clip = &outcome.clip;
    let told: Option<Ratio> = clip
        .exact_duration_seconds
        .as_ref()
        .and_then(|text| text.parse().ok());
    let rate = clip.rate.as_deref().and_then(exact_rate);
    let counted = rate
        .zip(clip.frames)
        .filter(|_| !clip.variable_rate)
        .map(|(rate, frames)| (rate, Ratio::from_integer(frames) / rate.ratio()));
    match (told, counted) {
        // A coarse time base rounds the length; a file that was cut off lacks frames.
        (Some(told), Some((rate, counted))) if (told - counted).abs() < rate.ratio().recip() => {
            Some(counted)
        }
        (None, Some((_, counted))) => Some(counted),
        (told, _) => told,
    }
    .filter(|s| s.is_positive())
}

/// The simplest ratio that rounds to `speed`: outcomes hold it as a float, but every speed
/// is a ratio of two trade rates.
pub fn exact_speed(speed: f64) -> Ratio {
    const CLOSE: f64 = 1e-12;
    if !(speed.is_finite() && speed > 1e-6 && speed < 1e6) {
        return Ratio::ONE;
    }
    // Convergents of the continued fraction.
    let (mut num, mut den, mut last_num, mut last_den) = (1_i128, 0_i128, 0_i128, 1_i128);
    let mut rest = speed;
    for _ in 0..24 {
        let whole = rest.floor();
        let term = whole as i128;
        (num, last_num) = (term * num + last_num, num);
        (den, last_den) = (term * den + last_den, den);
        if (num as f64 / den as f64 - speed).abs() <= CLOSE * speed || den > 1_000_000 {
            break;
        }
        rest = 1.0 / (rest - whole);
    }
    Ratio::new(num, den)
}

/// Real seconds from the clock's last midnight to frame 0, for the middle of the bounds;
/// in `[0, day)`.
pub fn seconds_of_day(outcome: &ClipOutcome) -> Option<Ratio> {
    let form = clock_form(outcome.clock.as_ref()?)?;
    let phi = phi_bounds(outcome.start.as_ref()?)?.middle();
    let day = i128::from(form.counts_per_day());
    let midnight = Ratio::from_integer(phi.floor().div_euclid(day) * day);
    Some(form.seconds(phi - midnight))
}

/// True if the clock may count drop-frame and nothing tells whether it does: its real seconds are
/// open then by up to 86 a day.
pub fn is_open(clock: &Clock) -> bool {
    let rate = exact_rate(&clock.rate);
    let counts_frames = matches!(clock_form(clock), Some(ClockForm::Frames(_)));
    clock.drop_frame.is_none() && counts_frames && rate.is_some_and(Rate::has_drop_frame)
}

/// Why a clip with a start has no label in its own base, as [`fill`] noted it.
pub fn why_no_label(outcome: &ClipOutcome) -> Option<&str> {
    noted(outcome, &[NONE, OPEN])
}

/// The same where its place in real time is open, too, since that of its clock is.
pub fn why_no_place(outcome: &ClipOutcome) -> Option<&str> {
    noted(outcome, &[OPEN])
}

fn noted<'o>(outcome: &'o ClipOutcome, codes: &[&str]) -> Option<&'o str> {
    let mut notes = outcome.notes.iter();
    let note = notes.find(|note| codes.contains(&note.code.as_str()))?;
    Some(&note.sentence)
}

/// Sets the start in the clip's own base and says in the notes what people should know
/// about it. Does nothing to an outcome without a start; doing it twice changes nothing.
pub fn fill(outcome: &mut ClipOutcome) {
    outcome
        .notes
        .retain(|note| !CODES.contains(&note.code.as_str()));
    let Some(start) = &mut outcome.start else {
        return;
    };
    start.in_clip_base = None;
    let (Some(clock), Some(rate)) = (&outcome.clock, &outcome.clip.rate) else {
        return;
    };
    let (Some(form), Some(bounds), Some(rate)) =
        (clock_form(clock), phi_bounds(start), exact_rate(rate))
    else {
        return;
    };
    let Some(based) = in_clip_base(form, bounds.middle(), rate) else {
        outcome.notes.push(Note::new(
            NONE,
            format!(
                "{} frames a second have no timecode base, so the clip has no label of its own; \
                 its start on the clock holds",
                rate.decimal()
            ),
        ));
        return;
    };
    if let Some(why) = open_label(clock, form, bounds.middle(), rate, &based.label) {
        outcome.notes.push(Note::new(OPEN, why));
        return;
    }
    if based.change.is_worth_a_note() {
        outcome
            .notes
            .push(Note::new("base_apart", based.change.to_string()));
    }
    start.in_clip_base = Some(ClipLabel {
        label: based.label,
        count: based.count,
        rate: rate.to_string(),
        drop_frame: based.form.drop_frame(),
    });
}

/// Why the label in the clip's base is not known: the digits may be those of another clock, whose
/// seconds differ from this one's by up to 86 a day.
fn open_label(
    clock: &Clock,
    form: ClockForm,
    phi: Ratio,
    clip: Rate,
    label: &str,
) -> Option<String> {
    let or_else = |other: &str| !is_same_but_for_the_mark(other, label);
    if clock.drop_frame.is_none()
        && let Some(other) = with_drop_frame(form, phi, clip).filter(|other| or_else(&other.label))
    {
        return Some(format!(
            "nothing tells whether the clock counts drop-frame, so the clip has no label of its own yet: \
             {label} without, {} with; say which for this clip with --corrections or, if it holds for all, \
             with --drop-frame",
            other.label
        ));
    }
    if clock.rate_known_by != RateKnownBy::Assumed {
        return None;
    }
    let (other_clock, phi, what, rate) = match form {
        ClockForm::Frames(_) if !form.rate().is_of_one_family(clip) => {
            // It counts the same frames by the same labels.
            let cousin = cousin(form.rate())?;
            let what = format!("{} or {}", form.rate().decimal(), cousin.decimal());
            (ClockForm::frames(cousin, false).ok()?, phi, what, "which")
        }
        // The frames of a second were not seen. In clips of such a rate that is a doubt, or the display
        // was seen to end with its seconds.
        ClockForm::Seconds if !clip.is_ntsc() => {
            let frames = ClockForm::frames(Rate::F23_976, false).ok()?;
            let phi = phi * Ratio::from_integer(i64::from(frames.base()));
            (
                frames,
                phi,
                "real seconds, or frames at 23.976 or 29.97".into(),
                "1, or the frames' rate,",
            )
        }
        _ => return None,
    };
    let other = in_clip_base(other_clock, phi, clip)?;
    or_else(&other.label).then(|| {
        format!(
            "nothing tells whether the clock counts {what}, so the clip has no label of its own yet: \
             {label} or {}; say {rate} for this clip with --corrections or, if it holds for all, with \
             --clock-rate",
            other.label
        )
    })
}

/// The rate of the trade that is 1000/1001 as fast, or 1001/1000.
fn cousin(rate: Rate) -> Option<Rate> {
    let mut all = Rate::TRADE.into_iter();
    all.find(|other| *other != rate && other.base() == rate.base())
}

/// The start in the clip's base if the same digits were those of a drop-frame clock.
fn with_drop_frame(form: ClockForm, phi: Ratio, rate: Rate) -> Option<InClipBase> {
    let drop_frame = ClockForm::frames(form.rate(), true).ok()?;
    let whole = phi.floor();
    let label = form.label(i64::try_from(whole).ok()?);
    let count = drop_frame.count(&label).ok()?;
    let phi = Ratio::from_integer(count) + (phi - Ratio::from_integer(whole));
    in_clip_base(drop_frame, phi, rate)
}

fn is_same_but_for_the_mark(a: &str, b: &str) -> bool {
    a.replace(';', ":") == b.replace(';', ":")
}

#[cfg(test)]
pub mod tests {
    use super::*;
    use crate::outcome::DropFrameKnownBy;
    use crate::timecode::tests::all_forms;

    /// A clock of `form` that was measured, with drop-frame known by its mark.
    pub fn measured(form: ClockForm) -> Clock {
        Clock {
            form: form.pattern().into(),
            rate: form.rate().to_string(),
            rate_known_by: RateKnownBy::Measured,
            drop_frame: Some(form.drop_frame()),
            drop_frame_known_by: DropFrameKnownBy::Mark,
            refresh_hz: None,
            drift_ppm_bounds: None,
        }
    }

    #[test]
    fn every_form_comes_back_from_what_outcomes_say_of_it_and_stands_in_the_schema() {
        let schema = include_str!("../docs/sidecar.schema.json");
        for form in all_forms() {
            let clock = measured(form);
            assert_eq!(clock_form(&clock), Some(form), "{clock:?}");
            assert!(
                schema.contains(&format!("\"{}\"", form.pattern())),
                "{clock:?}"
            );
        }
    }
}
