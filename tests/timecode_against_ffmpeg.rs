//! The counting rules against a second implementation: libavutil's timecode
//! functions (<https://ffmpeg.org/doxygen/5.1/timecode_8h.html>).

use ffmpeg_next::ffi;
use rollmark::timecode::{ClockForm, Rate};
use std::ffi::{CStr, CString};

/// libavutil's view of one clock, counting from midnight.
struct Theirs(ffi::AVTimecode);

fn rational(rate: Rate) -> ffi::AVRational {
    let side = |value: i128| i32::try_from(value).unwrap();
    ffi::AVRational {
        num: side(rate.ratio().num()),
        den: side(rate.ratio().den()),
    }
}

impl Theirs {
    /// `None` if libavutil refuses the pair.
    fn new(rate: Rate, drop_frame: bool) -> Option<Self> {
        let mut flags = ffi::AVTimecodeFlag::AV_TIMECODE_FLAG_24HOURSMAX as i32;
        if drop_frame {
            flags |= ffi::AVTimecodeFlag::AV_TIMECODE_FLAG_DROPFRAME as i32;
        }
        // SAFETY: a plain struct of integers, for which zero bytes are valid; the
        // function writes it and keeps no pointer.
        unsafe {
            let mut tc = std::mem::zeroed();
            let log = std::ptr::null_mut();
            (ffi::av_timecode_init(&mut tc, rational(rate), flags, 0, log) >= 0).then_some(Self(tc))
        }
    }

    fn text(&self, count: i64) -> String {
        let mut buffer = [0; ffi::AV_TIMECODE_STR_SIZE as usize];
        // SAFETY: the buffer has the size that the function documents, and the
        // function ends what it writes with a zero.
        unsafe {
            ffi::av_timecode_make_string(
                &self.0,
                buffer.as_mut_ptr(),
                i32::try_from(count).unwrap(),
            );
            CStr::from_ptr(buffer.as_ptr())
        }
        .to_str()
        .unwrap()
        .to_owned()
    }

    /// The count of a label; the mark in the text decides on drop-frame.
    fn count(rate: Rate, text: &str) -> Option<i64> {
        let text = CString::new(text).unwrap();
        // SAFETY: as in `new`; the text lives until the call returns.
        unsafe {
            let mut tc: ffi::AVTimecode = std::mem::zeroed();
            let log = std::ptr::null_mut();
            let status =
                ffi::av_timecode_init_from_string(&mut tc, rational(rate), text.as_ptr(), log);
            (status >= 0).then(|| i64::from(tc.start))
        }
    }
}

/// All frame clocks of the trade, with and without drop-frame.
fn clocks() -> Vec<(ClockForm, Theirs)> {
    let mut clocks = Vec::new();
    for rate in Rate::TRADE {
        for drop_frame in [false, true] {
            let Ok(ours) = ClockForm::frames(rate, drop_frame) else {
                continue;
            };
            let theirs = Theirs::new(rate, drop_frame)
                .unwrap_or_else(|| panic!("libavutil refuses {rate}, drop-frame {drop_frame}"));
            clocks.push((ours, theirs));
        }
    }
    assert_eq!(clocks.len(), 13 + 3);
    clocks
}

/// Counts that visit the whole day: every one around the minute marks of the
/// first hour and around midnight, and a stride that meets all frame numbers.
fn counts(clock: ClockForm) -> impl Iterator<Item = i64> {
    let (base, day) = (i64::from(clock.base()), clock.counts_per_day());
    let marks = (0..60).flat_map(move |minute| {
        let about = minute * 60 * base;
        (about - 10 * base).max(0)..about + base
    });
    let midnight = day - 2 * base..day + 2 * base;
    // 997 is prime and no divisor of any base.
    marks.chain(midnight).chain((0..2 * day).step_by(997))
}

#[test]
fn labels_are_those_of_libavutil() {
    for (ours, theirs) in clocks() {
        for count in counts(ours) {
            assert_eq!(ours.text(count), theirs.text(count), "{ours:?} at {count}");
        }
    }
}

#[test]
fn every_label_of_a_drop_frame_day_is_that_of_libavutil() {
    let ours = ClockForm::frames(Rate::F29_97, true).unwrap();
    let theirs = Theirs::new(Rate::F29_97, true).unwrap();
    for count in 0..ours.counts_per_day() {
        assert_eq!(ours.text(count), theirs.text(count), "count {count}");
    }
}

#[test]
fn counts_of_labels_are_those_of_libavutil() {
    for (ours, _) in clocks() {
        for count in counts(ours) {
            let text = ours.text(count);
            let label = ours.parse(&text).unwrap();
            assert_eq!(
                ours.count(&label).ok(),
                Theirs::count(ours.rate(), &text),
                "{text} of {ours:?}"
            );
        }
    }
}

#[test]
fn drop_frame_is_refused_wherever_libavutil_refuses_it() {
    for rate in Rate::TRADE {
        if Theirs::new(rate, true).is_none() {
            assert!(ClockForm::frames(rate, true).is_err(), "{rate}");
        }
    }
    assert!(Theirs::new(Rate::F25, true).is_none());
}

/// libavutil moves a skipped label to another count without a word; a label
/// that went through it would come back as another one.
#[test]
fn labels_that_libavutil_silently_moves_are_refused() {
    let ours = ClockForm::frames(Rate::F29_97, true).unwrap();
    for text in ["00:01:00;00", "00:01:00;01", "12:59:00;00"] {
        let moved = Theirs::count(Rate::F29_97, text).expect("libavutil takes it");
        assert_ne!(ours.text(moved), text);
        assert!(ours.parse(text).is_err(), "{text}");
    }
}
