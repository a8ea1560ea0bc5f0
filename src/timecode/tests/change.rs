//! The way from the clock's count to the clip's timecode base. Rates and labels
//! after SMPTE ST 12-1; the expected numbers were worked out by hand or with a
//! counter that steps through every label.

use super::super::{Change, ClockForm, InClipBase, Rate, Ratio, in_clip_base};
use super::{all_forms, form, small_ratio};
use proptest::prelude::*;

fn whole(value: i64) -> Ratio {
    Ratio::from_integer(value)
}

/// The start of a clip whose clock shows `label` in the middle of its count.
fn changed(clock: ClockForm, label: &str, clip_rate: Rate) -> InClipBase {
    let count = clock.count(&clock.parse(label).unwrap()).unwrap();
    in_clip_base(clock, whole(count) + Ratio::new(1, 2), clip_rate).unwrap()
}

/// 24 counts to the labelled second make a day of 2 073 600 counts and, slowed
/// down to 23.976, of 86 486.4 real seconds.
#[test]
fn a_slowed_day_ends_at_its_last_label_and_not_at_86_400_seconds() {
    let clock = form(Rate::F23_976, false);
    let label = |count: i64| {
        in_clip_base(clock, whole(count), Rate::F23_976)
            .unwrap()
            .label
    };
    assert_eq!(label(2_071_872), "23:58:48:00");
    assert_eq!(label(2_073_599), "23:59:59:23");
    assert_eq!(label(2_073_600), "00:00:00:00");
    assert_eq!(clock.day_seconds(), Ratio::new(864_864, 10));
    let drop_frame = form(Rate::F29_97, true);
    let before = in_clip_base(drop_frame, whole(-1), Rate::F29_97).unwrap();
    assert_eq!(
        (before.label.as_str(), before.count),
        ("23:59:59;29", 2_589_407)
    );
}

/// A clock of 30 labels to the second cannot tell the two frames of a 60 pair
/// apart, but the phase of its count can.
#[test]
fn a_halved_frame_field_is_doubled_by_time_and_not_by_digits() {
    let drop_frame = form(Rate::F29_97, true);
    let count = drop_frame
        .count(&drop_frame.parse("05:23:14;18").unwrap())
        .unwrap();
    let at = |phi: Ratio| in_clip_base(drop_frame, phi, Rate::F59_94).unwrap();
    let early = at(whole(count));
    assert_eq!(
        (early.label.as_str(), early.count),
        ("05:23:14;36", 1_162_512)
    );
    assert_eq!(at(whole(count) + Ratio::new(1, 2)).label, "05:23:14;37");
    assert!(early.form.drop_frame());

    let non_drop = form(Rate::F29_97, false);
    let count = non_drop
        .count(&non_drop.parse("05:23:14:18").unwrap())
        .unwrap();
    let start = in_clip_base(non_drop, whole(count), Rate::F59_94).unwrap();
    assert_eq!(
        (start.label.as_str(), start.count),
        ("05:23:14:36", 1_163_676)
    );

    // Twelve counts of 30 are 48 of 120; read as twelve of 120, the start would be off by
    // 36 frames.
    let count = drop_frame
        .count(&drop_frame.parse("02:34:28;12").unwrap())
        .unwrap();
    let start = in_clip_base(drop_frame, whole(count), Rate::F119_88).unwrap();
    assert_eq!(
        (start.label.as_str(), start.count),
        ("02:34:28;048", 1_111_096)
    );
}

/// An hour of real time is 86 313 whole frames at 23.976, and 5000 s are 149 850 at 29.97.
#[test]
fn real_seconds_become_frames_by_the_exact_rate() {
    let hour = in_clip_base(ClockForm::Seconds, whole(3600), Rate::F23_976).unwrap();
    assert_eq!((hour.label.as_str(), hour.count), ("00:59:56:09", 86_313));
    let start = in_clip_base(ClockForm::Seconds, whole(5000), Rate::F29_97).unwrap();
    assert_eq!(
        (start.label.as_str(), start.count),
        ("01:23:20;00", 149_850)
    );
    let two_hours = changed(form(Rate::F23_976, false), "02:00:00:00", Rate::F23_976);
    assert_eq!(two_hours.count, 172_800);
    assert_eq!(
        two_hours.form.seconds(whole(172_800)),
        Ratio::new(72_072, 10)
    );
}

#[test]
fn drop_frame_is_taken_from_the_clock_or_from_real_time() {
    let drop = |clock, clip| {
        in_clip_base(clock, whole(0), clip)
            .unwrap()
            .form
            .drop_frame()
    };
    for clip in [Rate::F29_97, Rate::F59_94, Rate::F119_88] {
        assert!(drop(form(Rate::F29_97, true), clip));
        assert!(drop(form(Rate::F59_94, true), clip));
        assert!(drop(form(Rate::F25, false), clip));
        assert!(drop(form(Rate::F30, false), clip));
        assert!(drop(ClockForm::Seconds, clip));
        assert!(drop(ClockForm::Thousandths, clip));
        assert!(!drop(form(Rate::F29_97, false), clip));
        assert!(!drop(form(Rate::F23_976, false), clip));
    }
    for clip in [
        Rate::F23_976,
        Rate::F24,
        Rate::F25,
        Rate::F30,
        Rate::F47_952,
    ] {
        assert!(!drop(form(Rate::F29_97, true), clip));
    }
}

/// 10:00:00:00 of a clock that runs 0.1 % slow is 36 036 s after its midnight.
#[test]
fn speeds_that_differ_are_told_with_the_epoch() {
    let start = changed(form(Rate::F29_97, false), "10:00:00:00", Rate::F25);
    assert_eq!(start.label, "10:00:36:00");
    assert_eq!(
        start.change.to_string(),
        "the clock counts 29.97 non-drop-frame and the clip 25, whose labels run at different \
         speeds; the clip's label keeps the real time since the clock's midnight, and here lies \
         36.0 s ahead of what the clock showed"
    );
    let start = changed(form(Rate::F24, false), "10:00:00:00", Rate::F23_976);
    assert_eq!(start.label, "09:59:24:01");
    assert!(start.change.to_string().contains("36.0 s behind what"));
    let start = changed(ClockForm::Thousandths, "10:00:00.000", Rate::F23_976);
    assert!(
        start
            .change
            .to_string()
            .starts_with("the clock counts real seconds and")
    );
    assert!(start.change.is_worth_a_note());
}

/// A 23.976 clock shows 23:59:59:23 when 86 486.4 s have passed: in real seconds
/// that is past midnight.
#[test]
fn a_clip_may_pass_midnight_before_its_slow_clock_does() {
    let start = changed(form(Rate::F23_976, false), "23:59:59:23", Rate::F25);
    assert_eq!((start.label.as_str(), start.midnights), ("00:01:26:09", 1));
    assert!(
        start
            .change
            .to_string()
            .contains("here lies 86.4 s ahead of")
    );
    let start = changed(form(Rate::F25, false), "23:59:59:24", Rate::F23_976);
    assert_eq!(start.midnights, 0);
}

#[test]
fn rates_without_a_timecode_base_get_no_label() {
    for (num, den) in [
        (25, 2),
        (2997, 100),
        (109, 4),
        (1, 2),
        (2000, 1),
        (1_500_000, 1001),
    ] {
        let rate = Rate::new(num, den).unwrap();
        assert_eq!(
            in_clip_base(ClockForm::Seconds, whole(9), rate),
            None,
            "{rate}"
        );
    }
    let base = |num, den| {
        let rate = Rate::new(num, den).unwrap();
        in_clip_base(ClockForm::Seconds, whole(9), rate)
            .unwrap()
            .label
    };
    assert_eq!(base(1, 1), "00:00:09:00");
    assert_eq!(base(100, 1), "00:00:09:00");
    assert_eq!(base(240, 1), "00:00:09:000");
    assert_eq!(base(240_000, 1001), "00:00:08:237");
}

/// Steps through every count of a day at 29.97: what [`Change::DropFrame`] promises.
#[test]
fn drop_frame_labels_stay_within_15_hundredths_of_a_second_of_real_time() {
    let clock = form(Rate::F29_97, true);
    let (mut behind, mut ahead) = (0, 0);
    for count in 0..clock.counts_per_day() {
        let label = clock.label(count);
        let named = (i64::from(label.hours()) * 60 + i64::from(label.minutes())) * 60
            + i64::from(label.seconds());
        // In 1/30000 s, as is the difference.
        let named = (named * 30 + i64::from(label.part())) * 1000;
        behind = behind.max(count * 1001 - named);
        ahead = ahead.max(named - count * 1001);
    }
    // 1.8 frames behind just before the first dropped labels; 1.8 + 2.6 ahead in the day's
    // last minutes.
    assert_eq!((behind, ahead), (1799, 4390));
}

proptest! {
    /// The one law: the frame that is named is the frame that lasts at that moment.
    #[test]
    fn the_named_frame_lasts_at_the_moment(
        clock in prop::sample::select(all_forms()),
        phi in small_ratio(),
        rate in prop::sample::select(Rate::TRADE.to_vec()),
    ) {
        let start = in_clip_base(clock, phi, rate).unwrap();
        prop_assert!((0..start.form.counts_per_day()).contains(&start.count));
        prop_assert_eq!(start.form.text(start.count), start.label);
        let days = phi.floor().div_euclid(clock.counts_per_day().into());
        let epoch = clock.day_seconds() * Ratio::from_integer(days);
        let since = clock.seconds(phi) - epoch;
        prop_assert!(since >= Ratio::ZERO && since < clock.day_seconds());
        let frames = start.midnights * start.form.counts_per_day() + start.count;
        prop_assert!(start.form.seconds(whole(frames)) <= since);
        prop_assert!(since < start.form.seconds(whole(frames + 1)));
    }

    #[test]
    fn later_is_never_labelled_earlier_and_k_frames_later_is_k_labels_later(
        clock in prop::sample::select(all_forms()),
        part in 0i128..1000,
        step in 0i64..100_000,
        rate in prop::sample::select(Rate::TRADE.to_vec()),
    ) {
        let phi = Ratio::new(i128::from(clock.counts_per_day()) * part, 1100);
        let total = |phi| {
            let start = in_clip_base(clock, phi, rate).unwrap();
            start.midnights * start.form.counts_per_day() + start.count
        };
        let k_frames = clock.rate().ratio() * whole(step) / rate.ratio();
        if phi + k_frames < whole(clock.counts_per_day()) {
            prop_assert_eq!(total(phi + k_frames), total(phi) + step);
            prop_assert!(total(phi + k_frames / whole(3)) <= total(phi + k_frames / whole(2)));
        }
    }

    /// There and back lands on the first count within the frame.
    #[test]
    fn there_and_back_stays_within_the_frame(
        clock in prop::sample::select(all_forms()),
        count in 0i64..2_000_000,
        rate in prop::sample::select(Rate::TRADE.to_vec()),
    ) {
        let phi = whole(count.rem_euclid(clock.counts_per_day()));
        let there = in_clip_base(clock, phi, rate).unwrap();
        let frames = whole(there.midnights * there.form.counts_per_day() + there.count);
        let back = clock.count_at(there.form.seconds(frames));
        let one_frame = clock.rate().ratio() / rate.ratio();
        prop_assert!(back <= phi && phi < back + one_frame);
        if clock.rate() == rate {
            prop_assert_eq!(there.count, phi.floor() as i64);
        }
    }

    #[test]
    fn labels_of_one_speed_share_their_seconds(
        clock in prop::sample::select(all_forms()),
        part in 0i128..1_000_000,
        rate in prop::sample::select(Rate::TRADE.to_vec()),
    ) {
        let phi = Ratio::new(i128::from(clock.counts_per_day()) * part, 1_000_000);
        let start = in_clip_base(clock, phi, rate).unwrap();
        let filmed = clock.text(phi.floor() as i64);
        match start.change {
            Change::SameCount => prop_assert_eq!(&start.label, &filmed),
            Change::SameSpeed => prop_assert_eq!(&start.label[..8], &filmed[..8]),
            Change::DropFrame => {}
            Change::Apart { clock: a, clip: b, .. } => prop_assert!(a == clock && b == start.form),
        }
        if clock == start.form {
            prop_assert_eq!(start.change, Change::SameCount);
        }
    }
}
