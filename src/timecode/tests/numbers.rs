//! Rates, ratios and intervals: reading, rounding, ordering, ranges.

use super::super::{ClockForm, HalfOpen, Rate, Ratio, wrapped};
use super::small_ratio;
use proptest::prelude::*;

#[test]
fn rates_are_read_as_people_write_them() {
    for (rate, texts) in [
        (
            Rate::F23_976,
            &[
                "23.98",
                "23.97",
                "23.976",
                "23.976024",
                "23.976023976",
                "23.976023976023978",
                "24000/1001",
                " 24000 / 1001 ",
                "24/1.001",
                "23,976",
                "23.976fps",
                "23.98 FPS",
                "23.976p",
                "48000/2002",
            ][..],
        ),
        (Rate::F24, &["24", "24.0", "24.000", "24/1", "24p"]),
        (Rate::F25, &["25", "25.0", "25.00 fps", "50/2"]),
        (
            Rate::F29_97,
            &[
                "29.97",
                "29.970",
                "29.97003",
                "30000/1001",
                "29.97002997002997",
            ],
        ),
        (Rate::F30, &["30", "30.00"]),
        (Rate::F47_952, &["47.95", "47.952", "48000/1001"]),
        (Rate::F48, &["48"]),
        (Rate::F50, &["50"]),
        (
            Rate::F59_94,
            &[
                "59.94",
                "59.9",
                "59.940060",
                "60000/1001",
                "59.94005994005994",
            ],
        ),
        (Rate::F60, &["60"]),
        (Rate::F100, &["100"]),
        (Rate::F119_88, &["119.88", "119.880", "120000/1001"]),
        (Rate::F120, &["120"]),
    ] {
        for text in texts {
            assert_eq!(text.parse(), Ok(rate), "{text}");
        }
        assert_eq!(rate.to_string().parse(), Ok(rate));
        assert_eq!(rate.decimal().parse(), Ok(rate));
    }
    assert_eq!("1000/1".parse(), Ok(Rate::new(1000, 1).unwrap()));
}

#[test]
fn what_is_no_rate_is_refused_and_the_accepted_ones_are_named() {
    for text in [
        "",
        "fps",
        "0",
        "-25",
        "25/0",
        "0/25",
        "29.98",
        "23.95",
        "59.95",
        "50i",
        "25..0",
        "1e3",
        "twentyfive",
        "nan",
        "inf",
        "25/1/1",
        "4294967296",
        "99999999999999999999999999999999999999999",
        "25.",
        ".",
    ] {
        let reason = text.parse::<Rate>().unwrap_err().to_string();
        assert!(reason.contains("23.976 (or 23.98)"), "{text}: {reason}");
        assert!(reason.contains("30000/1001"), "{text}: {reason}");
    }
}

#[test]
fn rates_know_their_family_base_and_order() {
    let bases = [24, 24, 25, 30, 30, 48, 48, 50, 60, 60, 100, 120, 120];
    assert_eq!(Rate::TRADE.map(Rate::base), bases);
    assert!(Rate::TRADE.is_sorted_by(|a, b| a < b));
    for rate in Rate::TRADE {
        assert_eq!(rate.is_ntsc(), rate.ratio().den() == 1001);
        assert_eq!(Rate::from_ratio(rate.ratio()), Some(rate));
    }
    let decimals = [
        "23.976", "24", "25", "29.97", "30", "47.952", "48", "50", "59.94", "60", "100", "119.88",
        "120",
    ];
    assert_eq!(Rate::TRADE.map(Rate::decimal), decimals);
    assert_eq!(Rate::new(0, 1), None);
    assert_eq!(Rate::new(1, 0), None);
    assert_eq!(Rate::new(50, 2), Some(Rate::F25));
    assert_eq!(Rate::from_ratio(Ratio::new(-25, 1)), None);
    assert_eq!(Rate::new(1, 3).map(Rate::base), Some(1));
    assert_eq!(Rate::new(u32::MAX, 1).map(Rate::base), Some(u32::MAX));
    // A frame clock of these would have no field to count in.
    assert!(ClockForm::frames(Rate::new(1, 3).unwrap(), false).is_err());
    assert!(ClockForm::frames(Rate::new(1001, 1).unwrap(), false).is_err());
}

#[test]
fn ratios_round_as_named() {
    for (num, den, floor, ceil, round) in [
        (7, 2, 3, 4, 4),
        (-7, 2, -4, -3, -3),
        (1, 3, 0, 1, 0),
        (-1, 3, -1, 0, 0),
        (6, 3, 2, 2, 2),
        (-6, 3, -2, -2, -2),
        (2, 3, 0, 1, 1),
    ] {
        let r = Ratio::new(num, den);
        assert_eq!(
            (r.floor(), r.ceil(), r.round()),
            (floor, ceil, round),
            "{r}"
        );
    }
}

#[test]
fn ratios_compare_exactly_where_cross_products_overflow() {
    let big = i128::MAX;
    let (a, b) = (Ratio::new(big, big - 1), Ratio::new(big - 1, big - 2));
    assert!(a < b, "(n+1)/n falls as n grows");
    assert!(b > a);
    assert!(-a > -b);
    assert!(Ratio::new(big, 3) > Ratio::new(big - 1, 3));
    assert_eq!(a.cmp(&a), std::cmp::Ordering::Equal);
    assert!(Ratio::new(big, 2) > Ratio::new(big - 1, 2));
    assert!(Ratio::new(1, big) < Ratio::new(1, big - 1));
}

#[test]
fn ratios_tell_when_they_leave_their_range() {
    let big = Ratio::from_integer(i128::MAX);
    assert_eq!(big.checked_add(Ratio::ONE), None);
    assert_eq!((-big).checked_sub(Ratio::from_integer(2)), None);
    assert_eq!(big.checked_mul(Ratio::from_integer(2)), None);
    assert_eq!(big.checked_div(Ratio::new(1, 2)), None);
    assert_eq!(big.checked_div(big), Some(Ratio::ONE));
    assert_eq!(Ratio::ONE.checked_div(Ratio::ZERO), None);
    assert_eq!(Ratio::checked_new(1, 0), None);
    assert_eq!(Ratio::checked_new(i128::MIN, -1), None);
    assert_eq!(Ratio::checked_new(i128::MIN, i128::MIN), Some(Ratio::ONE));
    assert_eq!(Ratio::checked_new(0, i128::MIN), Some(Ratio::ZERO));
}

#[test]
#[should_panic(expected = "division of a ratio by zero")]
fn dividing_by_zero_panics() {
    let _ = Ratio::ONE / Ratio::ZERO;
}

#[test]
fn ratios_are_read_exactly() {
    for (text, num, den) in [
        ("25", 25, 1),
        ("-3/4", -3, 4),
        ("3/-4", -3, 4),
        ("0.04", 1, 25),
        (" 30000 / 1001 ", 30000, 1001),
        (".5", 1, 2),
        ("-0.25", -1, 4),
        ("+2", 2, 1),
    ] {
        assert_eq!(text.parse(), Ok(Ratio::new(num, den)), "{text}");
    }
    for text in [
        "", "/", "1/", "/1", "1/0", "a", "1.", "--1", "1.2.3", "1 2", "0x10", "٣",
    ] {
        assert!(text.parse::<Ratio>().is_err(), "{text}");
    }
    // As many decimals as leave room to count with.
    let long = format!("0.{}1", "0".repeat(17));
    let least: Ratio = long.parse().unwrap();
    assert_eq!((least / Ratio::from_integer(1000)).den(), 10_i128.pow(21));
    assert!(format!("{long}1").parse::<Ratio>().is_err());
    assert_eq!(Ratio::from_integer(25).to_string(), "25/1");
}

/// By hand, on a dial of 24 and on one of 25.
#[test]
fn the_short_way_round_a_dial_is_half_of_it_at_most() {
    for (value, of_24, of_25) in [
        (0, 0, 0),
        (1, 1, 1),
        (23, -1, -2),
        (-23, 1, 2),
        (11, 11, 11),
        (12, -12, 12),
        (-12, -12, -12),
        (13, -11, -12),
        (49, 1, -1),
    ] {
        for (day, short) in [(24, of_24), (25, of_25)] {
            assert_eq!(wrapped(value, day), short, "{value} of {day}");
            let [value, day, short] = [value, day, short].map(Ratio::from_integer);
            assert_eq!(value.wrapped(day), short, "{value} of {day}");
        }
    }
    let [half, day] = [Ratio::new(25, 2), Ratio::from_integer(25)];
    assert_eq!((half.wrapped(day), (-half).wrapped(day)), (-half, -half));
    let late = HalfOpen::new(Ratio::from_integer(22), Ratio::from_integer(24));
    let early = HalfOpen::new(Ratio::from_integer(-2), Ratio::ZERO);
    let day = Ratio::from_integer(24);
    assert_eq!(late.nearest_to(Ratio::ONE, day), early);
    assert_eq!(early.nearest_to(Ratio::from_integer(20), day), late);
}

#[test]
fn half_open_intervals_hold_their_low_end_only() {
    let at = |n: i128| Ratio::new(n, 10);
    let a = HalfOpen::new(at(0), at(10));
    assert!(a.contains(at(0)) && a.contains(at(9)) && !a.contains(at(10)));
    let b = HalfOpen::new(at(7), at(20));
    assert_eq!(a.intersect(b), HalfOpen::new(at(7), at(10)));
    assert_eq!(a.intersect(b).width(), Ratio::new(3, 10));
    assert_eq!(a.intersect(b).middle(), Ratio::new(17, 20));
    // Touching ends share nothing.
    let c = HalfOpen::new(at(10), at(20));
    assert!(a.intersect(c).is_empty());
    assert_eq!(
        a.intersect(HalfOpen::new(at(15), at(20))).width(),
        Ratio::ZERO
    );
    assert_eq!(a.shift(at(7)), HalfOpen::new(at(7), at(17)));
    // -1/3 lies in the tenth that begins at -0.4, 2/3 in the one that ends at 0.7.
    let thirds = HalfOpen::new(Ratio::new(-1, 3), Ratio::new(2, 3));
    let tenths = HalfOpen::new(Ratio::new(-4, 10), Ratio::new(7, 10));
    assert_eq!((thirds.outward(10), tenths.outward(10)), (tenths, tenths));
}

proptest! {
    #[test]
    fn ratios_obey_the_laws_of_arithmetic(
        a in small_ratio(),
        b in small_ratio(),
        c in small_ratio(),
    ) {
        prop_assert_eq!(a + b - b, a);
        prop_assert_eq!(a * b, b * a);
        prop_assert_eq!(a * (b + c), a * b + a * c);
        if !b.is_zero() {
            prop_assert_eq!(a / b * b, a);
        }
        prop_assert_eq!(a < b, (a - b).num() < 0);
        prop_assert!(Ratio::from_integer(a.floor()) <= a);
        prop_assert!(a < Ratio::from_integer(a.floor() + 1));
        prop_assert!((a - Ratio::from_integer(a.round())).abs() <= Ratio::new(1, 2));
        prop_assert!(approximately(a.to_f64(), a.num() as f64 / a.den() as f64));
    }

    #[test]
    fn comparison_agrees_with_subtraction_near_equality(
        num in 1i128..1 << 100,
        den in 1i128..1 << 100,
        nudge in -2i128..3,
    ) {
        // Neighbours so large that cross products overflow.
        let a = Ratio::new(num, den);
        let b = Ratio::new(num + nudge, den);
        prop_assert_eq!(a.cmp(&b), 0.cmp(&nudge));
        prop_assert_eq!(b.cmp(&a), nudge.cmp(&0));
        if num + nudge > 0 {
            prop_assert_eq!(a.recip().cmp(&b.recip()), nudge.cmp(&0));
        }
    }
}

/// Equal but for a few roundings of a double.
fn approximately(a: f64, b: f64) -> bool {
    (a - b).abs() <= 4.0 * f64::EPSILON * a.abs().max(b.abs())
}
