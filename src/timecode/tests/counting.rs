//! Counting rules against the published figures and against a counter written
//! in another way.

use super::super::{ClockForm, Label, Rate, Ratio};
use super::{all_forms, form, small_ratio};
use proptest::prelude::*;

const DROP_FRAME_RATES: [Rate; 3] = [Rate::F29_97, Rate::F59_94, Rate::F119_88];

fn any_form() -> impl Strategy<Value = ClockForm> {
    prop::sample::select(all_forms())
}

/// SMPTE ST 12-1: two labels are skipped each minute but every tenth, which
/// leaves 17 982 frames in ten minutes, 107 892 in an hour, 2 589 408 in a day;
/// twice and four times as many at the doubled rates (common practice for 119.88).
#[test]
fn drop_frame_counts_are_the_published_ones() {
    for (rate, times) in [(Rate::F29_97, 1), (Rate::F59_94, 2), (Rate::F119_88, 4)] {
        let clock = form(rate, true);
        let count_of = |text: &str| clock.count(&clock.parse(text).unwrap()).unwrap();
        assert_eq!(count_of("00:10:00;00"), 17_982 * times);
        assert_eq!(count_of("01:00:00;00"), 107_892 * times);
        assert_eq!(clock.counts_per_day(), 2_589_408 * times);
    }
}

/// Walks a whole day the way a hardware counter does: step the frames, carry,
/// and jump over the skipped labels when a minute begins.
#[test]
fn every_label_of_a_drop_frame_day_comes_in_order_and_returns_to_its_count() {
    for (rate, per_second, jump) in [
        (Rate::F29_97, 30, 2),
        (Rate::F59_94, 60, 4),
        (Rate::F119_88, 120, 8),
    ] {
        let clock = form(rate, true);
        let (mut h, mut m, mut s, mut f) = (0u8, 0u8, 0u8, 0u16);
        let mut count = 0;
        loop {
            let expected = Label::new(h, m, s, f);
            assert_eq!(clock.label(count), expected, "count {count} at {rate}");
            assert_eq!(clock.count(&expected), Ok(count), "{expected:?} at {rate}");
            count += 1;
            f += 1;
            if f < per_second {
                continue;
            }
            f = 0;
            s += 1;
            if s < 60 {
                continue;
            }
            s = 0;
            m += 1;
            if m == 60 {
                m = 0;
                h += 1;
                if h == 24 {
                    break;
                }
            }
            if m % 10 != 0 {
                f = jump;
            }
        }
        assert_eq!(count, clock.counts_per_day());
        assert_eq!(clock.label(count), Label::new(0, 0, 0, 0));
    }
}

#[test]
fn every_label_without_drop_frame_is_plain_division() {
    for clock in all_forms().into_iter().filter(|c| !c.drop_frame()) {
        let base = i64::from(clock.base());
        // A stride coprime to every base visits all fields in all positions.
        for count in (0..clock.counts_per_day()).step_by(7) {
            let label = clock.label(count);
            let rebuilt = ((i64::from(label.hours()) * 60 + i64::from(label.minutes())) * 60
                + i64::from(label.seconds()))
                * base
                + i64::from(label.part());
            assert_eq!(rebuilt, count, "{clock:?}");
            assert!(i64::from(label.part()) < base);
            assert_eq!(clock.count(&label), Ok(count));
        }
    }
}

/// Computed by an exhaustive label counter outside this program.
#[test]
fn labels_around_minutes_and_ten_minutes_are_right() {
    for (clock, table) in [
        (
            form(Rate::F29_97, true),
            &[
                (1_798, "00:00:59;28"),
                (1_799, "00:00:59;29"),
                (1_800, "00:01:00;02"),
                (1_801, "00:01:00;03"),
                (17_981, "00:09:59;29"),
                (17_982, "00:10:00;00"),
                (107_892, "01:00:00;00"),
                (149_850, "01:23:20;00"),
                (581_256, "05:23:14;18"),
                (2_589_407, "23:59:59;29"),
            ][..],
        ),
        (
            form(Rate::F59_94, true),
            &[
                (3_599, "00:00:59;59"),
                (3_600, "00:01:00;04"),
                (35_963, "00:09:59;59"),
                (35_964, "00:10:00;00"),
                (1_162_512, "05:23:14;36"),
            ],
        ),
        (form(Rate::F59_94, false), &[(1_163_676, "05:23:14:36")]),
        (
            form(Rate::F119_88, true),
            &[
                (7_199, "00:00:59;119"),
                (7_200, "00:01:00;008"),
                (71_928, "00:10:00;000"),
                (1_111_060, "02:34:28;012"),
                (1_111_096, "02:34:28;048"),
            ],
        ),
        (
            form(Rate::F23_976, false),
            &[
                (1_000, "00:00:41:16"),
                (83_919, "00:58:16:15"),
                (86_313, "00:59:56:09"),
                (172_800, "02:00:00:00"),
                (2_071_872, "23:58:48:00"),
                (2_073_599, "23:59:59:23"),
            ],
        ),
        (form(Rate::F24, false), &[(1_693_440, "19:36:00:00")]),
    ] {
        for &(count, text) in table {
            assert_eq!(clock.text(count), text);
            assert_eq!(clock.count(&clock.parse(text).unwrap()), Ok(count));
        }
    }
}

#[test]
fn clocks_wrap_at_midnight_both_ways() {
    let ntsc = form(Rate::F23_976, false);
    assert_eq!(ntsc.counts_per_day(), 2_073_600);
    assert_eq!(ntsc.text(2_073_600), "00:00:00:00");
    assert_eq!(ntsc.text(-1), "23:59:59:23");
    let drop = form(Rate::F29_97, true);
    assert_eq!(drop.text(2_589_408), "00:00:00;00");
    assert_eq!(drop.text(-1), "23:59:59;29");
    assert_eq!(form(Rate::F29_97, false).counts_per_day(), 2_592_000);
    assert_eq!(ClockForm::Thousandths.text(-1), "23:59:59.999");
    assert_eq!(ClockForm::Seconds.text(86_400 + 61), "00:01:01");
    // Far outside: the extremes of the type still wrap.
    for clock in all_forms() {
        for count in [i64::MIN, i64::MAX] {
            let label = clock.label(count);
            let day = clock.counts_per_day();
            assert_eq!(clock.count(&label), Ok(count.rem_euclid(day)));
        }
    }
}

#[test]
fn a_day_lasts_as_long_as_its_rate_says() {
    let tenths = |n: i128| Ratio::new(n, 10);
    assert_eq!(form(Rate::F23_976, false).day_seconds(), tenths(864_864));
    assert_eq!(form(Rate::F24, false).day_seconds(), tenths(864_000));
    assert_eq!(form(Rate::F29_97, false).day_seconds(), tenths(864_864));
    for rate in DROP_FRAME_RATES {
        // 86.4 ms short of a true day: what drop-frame leaves uncorrected.
        assert_eq!(
            form(rate, true).day_seconds(),
            Ratio::new(863_999_136, 10_000)
        );
    }
    for clock in [ClockForm::Seconds, ClockForm::Thousandths] {
        assert_eq!(clock.day_seconds(), tenths(864_000));
    }
}

#[test]
fn seconds_are_real_elapsed_seconds() {
    let clock = form(Rate::F23_976, false);
    let two_hours = clock.count(&clock.parse("02:00:00:00").unwrap()).unwrap();
    assert_eq!(
        clock.seconds(Ratio::from_integer(two_hours)),
        Ratio::new(72_072, 10)
    );
    let an_hour = clock.count_at(Ratio::from_integer(3600));
    assert_eq!(clock.text(an_hour.floor() as i64), "00:59:56:09");
    let drop = form(Rate::F29_97, true);
    let late = drop.count_at(Ratio::from_integer(5000));
    assert_eq!(drop.text(late.floor() as i64), "01:23:20;00");
}

/// Parses and gives the refusal.
fn refusal(clock: ClockForm, text: &str) -> String {
    match clock.parse(text) {
        Ok(label) => panic!("{text} was taken as {label:?}"),
        Err(error) => error.to_string(),
    }
}

#[test]
fn labels_that_drop_frame_skips_are_refused_by_name() {
    for (rate, first) in [(Rate::F29_97, 2), (Rate::F59_94, 4), (Rate::F119_88, 8)] {
        let clock = form(rate, true);
        for minute in 0..60 {
            for frame in 0..first {
                let text = format!("07:{minute:02}:00;{frame:02}");
                if minute % 10 == 0 {
                    assert!(clock.parse(&text).is_ok(), "{text} at {rate}");
                } else {
                    assert!(refusal(clock, &text).contains("does not exist"), "{text}");
                }
            }
        }
        assert!(clock.parse(&format!("00:01:00;{first:02}")).is_ok());
    }
    let text = refusal(form(Rate::F29_97, true), "00:01:00;00");
    assert!(
        text.contains("`00:01:00;00`") && text.contains("first 2 labels"),
        "{text}"
    );
}

#[test]
fn fields_out_of_range_are_refused_by_name() {
    let clock = form(Rate::F25, false);
    assert_eq!(
        refusal(clock, "24:00:00:00"),
        "hours 24 is above the largest, 23"
    );
    assert_eq!(
        refusal(clock, "00:60:00:00"),
        "minutes 60 is above the largest, 59"
    );
    assert_eq!(
        refusal(clock, "00:00:60:00"),
        "seconds 60 is above the largest, 59"
    );
    assert_eq!(
        refusal(clock, "00:00:00:25"),
        "frames 25 is above the largest, 24"
    );
    for rate in Rate::TRADE {
        let clock = form(rate, false);
        let part = clock.base();
        let text = format!("00:00:00:{part:02}");
        if part < 100 || clock.last_digits() == 3 {
            assert!(refusal(clock, &text).starts_with("frames"), "{text}");
        }
        assert!(clock.count(&Label::new(0, 0, 0, part as u16)).is_err());
    }
    assert!(ClockForm::Seconds.count(&Label::new(0, 0, 0, 1)).is_err());
}

#[test]
fn drop_frame_is_refused_where_it_is_not_defined() {
    for rate in Rate::TRADE {
        assert_eq!(
            ClockForm::frames(rate, true).is_ok(),
            DROP_FRAME_RATES.contains(&rate),
            "{rate}"
        );
    }
    let text = ClockForm::frames(Rate::F25, true).unwrap_err().to_string();
    assert!(text.contains("no drop-frame at 25"), "{text}");
    // 30 fps proper has none: the labels would run away from real time.
    assert!(ClockForm::frames(Rate::F30, true).is_err());
}

#[test]
fn text_of_another_shape_is_refused_with_the_shape_wanted() {
    let clock = form(Rate::F25, false);
    for text in [
        "",
        ":",
        "::::",
        "10:00:00",
        "10:00:00:",
        "10:00:00:0a",
        "10:00:00:000",
        "10:00:00:00:00",
        "010:00:00:00",
        "10:0:00:00",
        "-1:00:00:00",
        "+1:00:00:00",
        "10.00.00.00",
        "１0:00:00:00",
        "10 00 00 00",
    ] {
        let reason = refusal(clock, text);
        assert!(reason.contains("HH:MM:SS:FF"), "{text}: {reason}");
    }
    assert!(refusal(clock, "10:00:00;00").contains("semicolon"));
    for text in ["10:00:00.5", "10:00:00.500", "10:00:00:05", "10:00:00"] {
        let reason = refusal(ClockForm::Hundredths, text);
        assert!(reason.contains("HH:MM:SS.dd"), "{text}: {reason}");
    }
    assert!(ClockForm::Seconds.parse("10:00:00:00").is_err());
}

#[test]
fn ordinary_ways_of_writing_a_label_are_taken() {
    let drop = form(Rate::F29_97, true);
    assert_eq!(drop.parse(" 1:02:03;04 "), Ok(Label::new(1, 2, 3, 4)));
    assert_eq!(drop.parse("01:02:03:04"), Ok(Label::new(1, 2, 3, 4)));
    let fast = form(Rate::F119_88, true);
    assert_eq!(fast.parse("02:34:28;12"), fast.parse("02:34:28;012"));
    assert_eq!(
        ClockForm::Thousandths.parse("23:00:09,080"),
        Ok(Label::new(23, 0, 9, 80))
    );
}

#[test]
fn forms_say_their_shape() {
    for clock in all_forms() {
        let text = clock.text(clock.counts_per_day() - 1);
        let pattern = clock.pattern();
        assert_eq!(text.len(), pattern.len(), "{text} {pattern}");
        for (a, b) in text.chars().zip(pattern.chars()) {
            assert_eq!(
                !a.is_ascii_digit(),
                !b.is_ascii_alphabetic(),
                "{text} {pattern}"
            );
            if !a.is_ascii_digit() {
                assert_eq!(a, b);
            }
        }
    }
    assert_eq!(form(Rate::F119_88, false).pattern(), "HH:MM:SS:FFF");
    assert_eq!(form(Rate::F100, false).text(99), "00:00:00:99");
}

proptest! {
    #[test]
    fn counts_return_from_labels_texts_and_digits(
        clock in any_form(),
        count in -200_000_000i64..200_000_000,
    ) {
        let of_day = count.rem_euclid(clock.counts_per_day());
        let label = clock.label(count);
        prop_assert_eq!(clock.count(&label), Ok(of_day));
        let text = clock.text(count);
        prop_assert_eq!(clock.parse(&text), Ok(label));
        let shown: String = text.chars().filter(char::is_ascii_digit).collect();
        let digits: String = clock
            .digits(count)
            .as_slice()
            .iter()
            .map(|&d| char::from(b'0' + d))
            .collect();
        prop_assert_eq!(shown, digits);
    }

    #[test]
    fn seconds_return_to_their_count(clock in any_form(), count in small_ratio()) {
        prop_assert_eq!(clock.count_at(clock.seconds(count)), count);
    }

    #[test]
    fn no_text_makes_the_parsers_panic(clock in any_form(), text in "[0-9:;.,/ a-z-]{0,14}") {
        if let Ok(label) = clock.parse(&text) {
            prop_assert!(clock.count(&label).is_ok());
        }
        if let Ok(rate) = text.parse::<Rate>() {
            prop_assert!(rate.ratio().is_positive());
        }
        if let Ok(ratio) = text.parse::<Ratio>() {
            prop_assert_eq!(ratio.to_string().parse(), Ok(ratio));
        }
    }
}
