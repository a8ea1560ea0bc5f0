//! What single frames say as whole labels, where the fit says something else.

use super::ballot::{ENOUGH, Group};
use super::looks::{Agreement, Looks};
use super::placed::Placed;
use crate::timecode::{ClockForm, Label, wrapped};
use std::collections::BTreeMap;

/// Nats by which the digits of a single frame must speak against the fit to be believed: as much
/// as a start must lead by.
const BELIEVED: f32 = ENOUGH as f32;
/// Places in which it must: one digit may be misread beyond doubt.
const PLACES_OF_ONE_FRAME: usize = 2;
/// Frames with a number that the clock has not, or of another second, before they count.
pub(super) const FEWEST: usize = 2;

/// Looks in a row, of those that tell a place of the hours or minutes, that must show the same
/// other digit there: with one digit misread in a fifth of all frames, one clip in ten thousand
/// has three by chance.
const OTHER_VALUE_LOOKS: usize = 3;
/// Probability from which a digit is plain.
const PLAIN: f32 = 0.9;

/// Seconds after midnight that the digits of a label show. `None` without all six of its hours,
/// minutes and seconds.
pub(super) fn seconds_shown(digits: &[u8]) -> Option<i32> {
    let &[h, hh, m, mm, s, ss] = digits.first_chunk()?;
    let two = |tens: u8, ones: u8| 10 * i32::from(tens) + i32::from(ones);
    Some(two(h, hh) * 3600 + two(m, mm) * 60 + two(s, ss))
}

/// Counts from the fitted one to that which a look tells; places that do not speak against the
/// fit are taken to agree. `None` if all agree, or if the clock never shows that label.
fn told_off(placed: &Placed, look: usize) -> Option<i64> {
    let (looks, form) = (placed.looks, placed.form);
    let fitted = placed.label(look);
    let mut digits: Vec<u8> = fitted.as_slice().to_vec();
    let hidden = looks.dial.hidden_digits();
    for (place, digit) in digits[hidden..].iter_mut().enumerate() {
        if looks.place_against(look, place, *digit) == Some(true) {
            *digit = looks.reading(look).places[place].best().0;
        }
    }
    if digits == fitted.as_slice() {
        return None;
    }
    let number = |of: &[u8]| of.iter().fold(0, |sum, &d| 10 * sum + u16::from(d));
    let two = |from: usize| number(&digits[from..from + 2]) as u8;
    let label = Label::new(two(0), two(2), two(4), number(&digits[6..]));
    let there = form.count(&label).ok()?;
    Some(wrapped(there - placed.counts[look], form.counts_per_day()))
}

/// How many of `some` looks tell a count that is `least` or more from that of the fit, or none
/// that the clock ever shows.
pub(super) fn away(placed: &Placed, some: &[usize], least: i64) -> usize {
    let is_away = |&&look: &&usize| told_off(placed, look).is_none_or(|off| off.abs() >= least);
    some.iter().filter(is_away).count()
}

/// True if the clock was seen to carry as no counter of anything else does: some looks agree with the
/// counts of one second and some with those of another, or of one minute and of another where any
/// counter goes on to the seconds behind the same number, as behind 99 hundredths.
pub(super) fn carries(placed: &Placed) -> bool {
    let form = placed.form;
    let mut seen: BTreeMap<u8, usize> = BTreeMap::new();
    for look in placed.agreeing() {
        let label = form.label(placed.counts[look]);
        let carried_to = match goes_on_as_any(form) {
            true => label.minutes(),
            false => label.seconds(),
        };
        *seen.entry(carried_to).or_default() += 1;
    }
    seen.values().filter(|&&looks| looks >= FEWEST).count() > 1
}

/// True for a clock whose digits behind the seconds go on to 9, 99 or 999, or that has none: there any
/// counter goes on as it does.
pub(super) fn goes_on_as_any(form: ClockForm) -> bool {
    form.base() == 10u32.pow(form.last_digits().into())
}

/// Looks that show a number which would follow the clock's last one if its seconds were longer.
/// A frame that caught the change to the next second has some of both on it, and leaves open what
/// neither shows: the number must be the one that it tells best.
pub(super) fn beyond_the_last(placed: &Placed) -> usize {
    let (looks, form, counts) = (placed.looks, placed.form, &placed.counts);
    let of_the_clock = form.base()..10u32.pow(form.last_digits().into());
    let is_against = |&look: &usize| placed.agreement(look).against > 0;
    let is_beyond = |look: usize| {
        let near = (0..=2).map(|before| form.label(counts[look] - before));
        near.flat_map(|label| [(label, 1), (label, 2)])
            .any(|(label, more)| {
                let (hours, minutes, seconds) = (label.hours(), label.minutes(), label.seconds());
                let part = label.part() + more;
                let shown = || form.digits_of(Label::new(hours, minutes, seconds, part));
                of_the_clock.contains(&part.into())
                    && looks.agreement(look, shown().as_slice()).agrees()
                    && tells_best(looks, look, shown().as_slice(), form.last_digits())
            })
    };
    let against = (0..looks.len()).filter(is_against);
    against.filter(|&look| is_beyond(look)).count()
}

/// True if each of the last `places` of a look tells the digit of `label` that it has there best.
fn tells_best(looks: &Looks, look: usize, label: &[u8], places: u8) -> bool {
    let told = looks.reading(look).places.iter().rev();
    let mut last = told.zip(label.iter().rev()).take(places.into());
    last.all(|(odds, &digit)| odds.best().0 == digit)
}

/// True if the first looks tell another time, `least` counts away or more: the clock was set, or
/// ran otherwise, before the rest was seen. A single look is believed if it says so plainly, in
/// several digits; two or more if they agree with each other. Looks that tell less than most do
/// have no say.
pub(super) fn begin_elsewhere(placed: &Placed, least: i64) -> bool {
    let looks = placed.looks.len();
    let agreements: Vec<Agreement> = (0..looks).map(|look| placed.agreement(look)).collect();
    let mut read: Vec<usize> = agreements.iter().map(|a| a.read).collect();
    let middle = read.len() / 2;
    let usual = *read.select_nth_unstable(middle).1;
    let first: Vec<usize> = (0..looks)
        .filter(|&look| agreements[look].read >= usual.max(1))
        .take_while(|&look| agreements[look].against > 0)
        .collect();
    let off = |&look: &usize| told_off(placed, look);
    let Some(offs) = first.iter().map(off).collect::<Option<Vec<i64>>>() else {
        return false;
    };
    let are_alike = |pair: &[i64]| {
        pair[0].signum() == pair[1].signum() && (pair[0] - pair[1]).abs() <= 2 * least
    };
    match *offs {
        [] => false,
        [off] => off.abs() >= least && is_plain(placed, first[0]),
        [off, ..] => off.abs() >= least && offs.windows(2).all(are_alike),
    }
}

/// True if a look speaks against the fit in several digits, all of them together plainly.
fn is_plain(placed: &Placed, look: usize) -> bool {
    let looks = placed.looks;
    let against = |place: usize| {
        let digit = placed.digit(look, place);
        let says = looks.place(look, place);
        let most = says.iter().copied().fold(f32::MIN, f32::max);
        (looks.place_against(look, place, digit) == Some(true))
            .then(|| most - says[usize::from(digit)])
    };
    let nats: Vec<f32> = (0..looks.dial.places()).filter_map(against).collect();
    nats.len() >= PLACES_OF_ONE_FRAME && nats.iter().sum::<f32>() >= BELIEVED
}

/// The second that the display shows, in the frames whose parts are `near` counts from those of
/// `start` or less, if it is the one before or after that of the fit in most of them: seconds that
/// come from another source change with another number than 0. In seconds after that of `start`.
pub(super) fn other_second_at(placed: &Placed, start: i64, near: i64) -> Option<i64> {
    let (looks, form, counts) = (placed.looks, placed.form, &placed.counts);
    let base = i64::from(form.base());
    let part = |count: i64| i64::from(form.label(count).part());
    let is_near = |&look: &usize| wrapped(part(counts[look]) - part(start), base).abs() <= near;
    let mut others = [0, 0];
    let mut agreeing = 0;
    for look in (0..looks.len())
        .filter(|&look| looks.is_read(look))
        .filter(is_near)
    {
        match told_off(placed, look) {
            None => agreeing += 1,
            Some(off) if off == -base => others[0] += 1,
            Some(off) if off == base => others[1] += 1,
            Some(_) => {}
        }
    }
    let most = if others[0] >= others[1] {
        (others[0], -1)
    } else {
        (others[1], 1)
    };
    (most.0 >= FEWEST && most.0 > agreeing).then_some(most.1)
}

/// What the hours or minutes of `group` are in the fit, and what they would be by one of their
/// places in some looks in a row, if these are plain and all say the same. Misread digits fall
/// here and there; but a display that is followed with its places moved by one shows another
/// digit of the label from then on, and one that was set another time.
pub(super) fn other_value(placed: &Placed, group: Group) -> Option<(usize, usize)> {
    let looks = placed.looks;
    let places = group.places(looks);
    places.clone().find_map(|place| {
        let (mut run, mut before) = (0, None);
        for look in 0..looks.len() {
            let fitted = placed.digit(look, place);
            let Some(is_against) = looks.place_against(look, place, fitted) else {
                continue;
            };
            let (shown, odds) = looks.reading(look).places[place].best();
            let other = (is_against && odds >= PLAIN).then_some((fitted, shown));
            run = match other {
                Some(_) if other == before => run + 1,
                Some(_) => 1,
                None => 0,
            };
            before = other;
            if run >= OTHER_VALUE_LOOKS {
                let value = group.value(placed.form, placed.counts[look]);
                let tens = place + 1 < places.end;
                let by = if tens { 10 } else { 1 };
                let without = value - by * usize::from(fitted);
                return Some((value, without + by * usize::from(shown)));
            }
        }
        None
    })
}

/// Looks that tell a digit at a place that was left out, and those of them against the fit, if nine in
/// ten tell one digit or two: one that is blended or hard to read says many.
pub(super) fn says_one_or_two(placed: &Placed, place: usize) -> Option<(usize, usize)> {
    let mut shown_in = [0; 10];
    let mut against = 0;
    for look in 0..placed.looks.len() {
        if let Some(shown) = placed.looks.reading(look).places[place].told() {
            shown_in[usize::from(shown)] += 1;
            against += usize::from(shown != placed.digit(look, place));
        }
    }
    let told: usize = shown_in.iter().sum();
    shown_in.sort_unstable();
    (10 * (shown_in[8] + shown_in[9]) >= 9 * told).then_some((told, against))
}

/// True if a place that was left out goes on with the others, but by so much off: a clock that
/// was set while in view, and no place that is misread.
pub(super) fn runs_apart(placed: &Placed, place: usize) -> bool {
    let mut off_by = [[0usize; 10]; 10];
    let mut told = 0;
    for look in 0..placed.looks.len() {
        if let Some(shown) = placed.looks.reading(look).places[place].told() {
            let fitted = placed.digit(look, place);
            off_by[usize::from((10 + shown - fitted) % 10)][usize::from(fitted)] += 1;
            told += 1;
        }
    }
    off_by[1..].iter().any(|by_digit| {
        let looks: usize = by_digit.iter().sum();
        2 * looks >= told && by_digit.iter().filter(|&&n| n >= FEWEST).count() >= FEWEST
    })
}
