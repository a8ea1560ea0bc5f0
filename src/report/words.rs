//! Names and numbers as an editor reads them.

use crate::clip_base;
use crate::note::{self, is_obeyed};
use crate::timecode::Rate;
use std::fmt::Write;

/// A name from a file system or a container, safe to look at: control characters and
/// marks that turn the direction of writing are shown, not obeyed.
pub fn visible(name: &str) -> String {
    let mut shown = String::with_capacity(name.len());
    for letter in name.chars() {
        match letter {
            // The Unicode block of control pictures follows the order of the controls.
            '\u{0}'..='\u{1f}' => {
                shown.extend(char::from_u32(0x2400 + u32::from(letter)));
            }
            _ if is_obeyed(letter) => {
                let _ = write!(shown, "⟨U+{:04X}⟩", u32::from(letter));
            }
            _ => shown.push(letter),
        }
    }
    shown
}

/// The folder part of a name with its final slash, and the rest.
pub fn split_name(name: &str) -> (&str, &str) {
    name.split_at(name.trim_end_matches('/').rfind('/').map_or(0, |at| at + 1))
}

/// The name of a file without its folders, safe to look at and never empty.
pub fn file_name(name: &str) -> String {
    match split_name(name).1 {
        "" => "(no name)".to_owned(),
        file => visible(file),
    }
}

/// A sentence of a note with a capital and a full stop.
pub fn sentence(text: &str) -> String {
    note::sentence(&visible(text))
}

/// `1 clip`, `12 clips`.
pub fn counted(number: usize, noun: &str) -> String {
    let plural = if number == 1 { "" } else { "s" };
    format!("{number} {noun}{plural}")
}

/// A length of time: `0.48 s`, `12.0 s`, `3 min 04 s`, `1 h 02 min`.
pub fn length(seconds: f64) -> String {
    if !seconds.is_finite() {
        return "unknown".to_owned();
    }
    let seconds = seconds.max(0.0);
    let whole = seconds.round() as u64;
    if seconds < 9.995 {
        format!("{seconds:.2} s")
    } else if seconds < 59.95 {
        format!("{seconds:.1} s")
    } else if whole < 3600 {
        format!("{} min {:02} s", whole / 60, whole % 60)
    } else {
        format!("{} h {:02} min", whole / 3600, whole / 60 % 60)
    }
}

/// A place in a clip, `m:ss.cc`.
pub fn clip_time(seconds: f64) -> String {
    let hundredths = (seconds.max(0.0) * 100.0).round() as u64;
    format!(
        "{}:{:02}.{:02}",
        hundredths / 6000,
        hundredths / 100 % 60,
        hundredths % 100
    )
}

/// What a clock reads `seconds` after its midnight, cut to whole seconds: `21:04:10`.
pub fn time_of_day(seconds: f64) -> String {
    let whole = seconds.floor().rem_euclid(86_400.0) as u64;
    format!(
        "{:02}:{:02}:{:02}",
        whole / 3600,
        whole / 60 % 60,
        whole % 60
    )
}

/// An exact rate for people: `29.97`; as it stands if it is none.
pub fn rate(text: &str) -> String {
    text.parse::<Rate>()
        .map_or_else(|_| visible(text), Rate::decimal)
}

/// What a clock counts: `25 counts a second`.
pub fn counts_a_second(rate: &str) -> String {
    visible(&clip_base::counts_a_second(rate))
}

/// A number with at most `decimals` places and a true minus sign.
pub fn signed(value: f64, decimals: usize) -> String {
    let sign = if value < 0.0 { '−' } else { '+' };
    format!("{sign}{:.decimals$}", value.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_steers_a_terminal_or_turns_a_line_is_shown() {
        assert_eq!(visible("a\nb\u{7f}"), "a␊b⟨U+007F⟩");
        assert_eq!(visible("take\u{202e}4pm.exe"), "take⟨U+202E⟩4pm.exe");
        assert_eq!(visible("Übung 東京 (2).mov"), "Übung 東京 (2).mov");
    }

    #[test]
    fn names_split_at_the_last_folder() {
        assert_eq!(split_name("a/b/c.mov"), ("a/b/", "c.mov"));
        assert_eq!(split_name("c.mov"), ("", "c.mov"));
        assert_eq!(split_name("/media/CARD_A/"), ("/media/", "CARD_A/"));
        assert_eq!(split_name(""), ("", ""));
        assert_eq!(file_name("a/b\n"), "b␊");
        assert_eq!(file_name(""), "(no name)");
    }

    #[test]
    fn lengths_carry_over_when_rounded() {
        assert_eq!(length(0.48), "0.48 s");
        assert_eq!(length(9.996), "10.0 s");
        assert_eq!(length(59.97), "1 min 00 s");
        assert_eq!(length(3599.6), "1 h 00 min");
        assert_eq!(length(f64::NAN), "unknown");
        assert_eq!(clip_time(59.999), "1:00.00");
    }

    #[test]
    fn times_of_day_wrap_both_ways() {
        assert_eq!(time_of_day(-0.5), "23:59:59");
        assert_eq!(time_of_day(86_400.0 + 61.9), "00:01:01");
    }

    #[test]
    fn a_clock_of_whole_seconds_counts_one_count_a_second() {
        assert_eq!(counts_a_second("1/1"), "1 count a second");
        assert_eq!(counts_a_second("30000/1001"), "29.97 counts a second");
        assert_eq!(counts_a_second("often"), "often counts a second");
    }

    #[test]
    fn sentences_begin_and_end() {
        assert_eq!(sentence("the clip has no sound"), "The clip has no sound.");
        assert_eq!(sentence("Why?"), "Why?");
        assert_eq!(sentence(""), ".");
    }
}
