//! Times for people.

use crate::timecode::{ClockForm, Ratio};

/// A length of time for people: `3.2 s`, `2 min 5 s`, `3 h 0 min 5 s`; rounded.
pub(super) fn span(seconds: Ratio) -> String {
    let tenths = (seconds * Ratio::from_integer(10)).round();
    if tenths < 600 {
        return format!("{}.{} s", tenths / 10, tenths % 10);
    }
    let whole = seconds.round();
    if whole < 3600 {
        return format!("{} min {} s", whole / 60, whole % 60);
    }
    format!(
        "{} h {} min {} s",
        whole / 3600,
        whole / 60 % 60,
        whole % 60
    )
}

/// An offset of a camera's clock: `to be 3.2 s behind it`.
pub(super) fn offset_in_words(offset: Ratio) -> String {
    let side = if offset.is_positive() {
        "behind"
    } else {
        "ahead of"
    };
    format!("to be {} {side} it", span(offset.abs()))
}

/// Hours, minutes and seconds that the filmed clock shows at a moment.
pub(super) fn time_of_day(form: ClockForm, seconds: Ratio) -> String {
    let count = i64::try_from(form.count_at(seconds).floor()).unwrap_or(0);
    ClockForm::Seconds.format(&form.label(count))
}
