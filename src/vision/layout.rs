//! Characters of a line -> digit places, grouped as a running clock groups them.

use super::read::{Character, Kind};
use crate::reading::Layout;
use std::ops::RangeInclusive;

/// Characters fainter than this do not shape a layout (they still count when read). Texture
/// beside a clock seldom passes for a character as surely as its digits do, but some of
/// these are faint, too: so both are tried.
const LEAST_SURENESS: [f32; 2] = [0.45, 0.9];
/// A gap of more than this many digit pitches parts two groups where no marks do.
const GROUP_GAP: f32 = 1.45;
/// The same in a line with marks: these show its groups, and a curved glass or a slim 1 may widen a
/// gap within one.
const GROUP_GAP_BESIDE_MARKS: f32 = 2.0;
/// A mark fainter than this may be none, where its line makes a fuller clock without it.
const SURE_MARK: f32 = 0.8;
/// Digits nearer to each other than this share of a pitch are one, seen as two: a 1 with a
/// foot and a flag, or half changed.
const ONE_DIGIT: f32 = 0.5;
/// Digits of a clock whose groups are told by the order of its gaps alone, at least.
const FEWEST_BY_GAPS: usize = 6;
/// Digits stand evenly if no gap is wider than the median by more than this: the ink of a 1
/// lies at one side of its place, and a curved glass widens some gaps.
const EVEN_GAPS: f32 = 1.3;
/// A gap of more than this many digit pitches ends a clock: what comes then lies beside the
/// screen, or is another number.
const STRETCH_GAP: f32 = 3.0;
/// A middle step this much wider than the outer ones of four digits parts two pairs whose
/// mark was not seen. Digits of a year stand evenly.
const PAIR_GAP: f32 = 1.15;
/// Digits of a year and of the hours behind it.
const YEAR_AND_HOURS: usize = 6;
/// A step so many times as wide as the others of three to five digits parts a number from the hours: a space
/// is half a digit wide at least, and the 1 of seven segments widens the step before it by a quarter.
const NUMBER_GAP: f32 = 1.35;

/// A digit of a line.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Place {
    /// Its middle, strip px.
    x: f32,
    /// How surely a mark (colon, semicolon, dot) stands before it; 0..=1.
    mark: f32,
    /// As [`Character::scale`].
    scale: f32,
}

impl Place {
    /// How far behind another it stands, strip px, were both as tall as the line's large digits.
    fn behind(&self, other: &Self) -> f32 {
        apart((other.x, other.scale), (self.x, self.scale))
    }
}

/// From one middle to the next, strip px; small digits stand closer.
fn apart((from, its_scale): (f32, f32), (to, scale): (f32, f32)) -> f32 {
    (to - from) / f32::midpoint(its_scale, scale)
}

/// Digits of a line that may belong to one clock, from left to right.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Stretch {
    places: Vec<Place>,
    /// A gap without a mark that is wider than this (strip px) parts groups.
    group_gap: f32,
}

/// One group of digits of a line: middles of its places in strip px.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Group {
    pub places: Vec<f32>,
    /// True if a mark (colon, semicolon, dot), not just a gap, stands before it.
    pub after_mark: bool,
}

/// Splits the characters of one line into stretches: all of them, then the sure ones alone.
pub(super) fn stretches(characters: &[Character]) -> Vec<Stretch> {
    let mut found: Vec<Stretch> = Vec::new();
    for least in LEAST_SURENESS {
        let sure: Vec<&Character> = characters.iter().filter(|c| c.sureness >= least).collect();
        for stretch in stretches_of(&sure) {
            if !found.contains(&stretch) {
                found.push(stretch);
            }
        }
    }
    found
}

/// Splits characters into stretches; a letter or a wide gap ends one.
fn stretches_of(sure: &[&Character]) -> Vec<Stretch> {
    let marks = sure.iter().filter(|c| c.kind == Kind::Mark).count();
    let pitch = usual_pitch(sure);
    let group_gap = pitch
        * if marks < 2 {
            GROUP_GAP
        } else {
            GROUP_GAP_BESIDE_MARKS
        };
    let mut all: Vec<Vec<Place>> = vec![Vec::new()];
    let mut mark = 0.0f32;
    for c in sure {
        match (c.kind, all.last_mut()) {
            (Kind::Digit, Some(current)) => {
                let (x, scale) = (c.x, c.scale);
                let place = Place { x, mark, scale };
                match current.last_mut() {
                    Some(last) if place.behind(last) > STRETCH_GAP * pitch => {
                        all.push(vec![Place { mark: 0.0, ..place }]);
                    }
                    Some(last) if mark == 0.0 && place.behind(last) < ONE_DIGIT * pitch => {
                        last.x = f32::midpoint(last.x, x);
                    }
                    _ => current.push(place),
                }
                mark = 0.0;
            }
            (Kind::Mark, _) => mark = mark.max(c.sureness),
            (Kind::Other, _) => {
                all.push(Vec::new());
                mark = 0.0;
            }
            _ => {}
        }
    }
    all.retain(|places| !places.is_empty());
    let stretch = |places| Stretch { places, group_gap };
    all.into_iter().map(stretch).collect()
}

impl Stretch {
    /// Its groups if gaps wider than `widest` (strip px) and marks surer than `surest` part them.
    fn parted_at(&self, widest: f32, surest: f32) -> Vec<Group> {
        let mut groups: Vec<Group> = Vec::new();
        let mut last = None;
        for place in &self.places {
            let after_mark = place.mark > surest;
            match groups.last_mut().zip(last) {
                Some((group, last)) if !after_mark && place.behind(last) <= widest => {
                    group.places.push(place.x);
                }
                _ => groups.push(Group {
                    places: vec![place.x],
                    after_mark,
                }),
            }
            last = Some(place);
        }
        groups
    }

    /// The groups as gaps and marks usually part them.
    fn groups(&self) -> Vec<Group> {
        self.parted_at(self.group_gap, 0.0)
    }

    /// All digits as one group, if they stand evenly and no mark parts them.
    fn evenly_spaced(&self) -> Option<Group> {
        let mut gaps: Vec<f32> = (self.places.windows(2))
            .map(|pair| pair[1].behind(&pair[0]))
            .collect();
        gaps.sort_by(f32::total_cmp);
        let is_even = gaps.last()? <= &(EVEN_GAPS * gaps[gaps.len() / 2]);
        let mut groups = self.parted_at(f32::MAX, 0.0);
        (is_even && groups.len() == 1).then(|| groups.remove(0))
    }

    /// The groups in every way in which the gaps of a group are narrower than those between
    /// groups; with all marks, and without the faint ones.
    fn partings(&self) -> Vec<Vec<Group>> {
        let mut found = Vec::new();
        for surest in [0.0, SURE_MARK] {
            let mut gaps: Vec<f32> = self
                .places
                .windows(2)
                .filter(|pair| pair[1].mark <= surest)
                .map(|pair| pair[1].behind(&pair[0]))
                .collect();
            gaps.push(self.group_gap);
            gaps.sort_by(f32::total_cmp);
            found.extend(gaps.iter().map(|&widest| self.parted_at(widest, surest)));
        }
        found
    }
}

/// Lower quartile of the distances between neighbouring digits with nothing between them.
fn usual_pitch(characters: &[&Character]) -> f32 {
    let mut steps: Vec<f32> = characters
        .windows(2)
        .filter(|w| w[0].kind == Kind::Digit && w[1].kind == Kind::Digit)
        .map(|w| apart((w[0].x, w[0].scale), (w[1].x, w[1].scale)))
        .collect();
    steps.sort_by(f32::total_cmp);
    // The lower quartile: gaps between groups without marks must not count as pitch.
    steps.get(steps.len() / 4).copied().unwrap_or(12.0)
}

/// Hours, minutes and seconds, and frames or parts of a second behind them; or a stopwatch.
const GROUPS_OF_A_CLOCK: RangeInclusive<usize> = 3..=4;

/// True if a clock we can place groups its digits like this.
pub(super) fn is_clock(layout: &Layout) -> bool {
    match layout.groups.as_slice() {
        [1 | 2, 2, 2] => true,
        [1 | 2, 2, 2, last] => (1..=3).contains(last),
        _ => false,
    }
}

/// True if the hours, minutes and seconds of a clock's groups exist, where `digit` stands at
/// a place (strip px).
pub(super) fn is_time(groups: &[Group], digit: impl Fn(f32) -> u8) -> bool {
    groups.iter().zip([24, 60, 60]).all(|(group, end)| {
        let digits = group.places.iter().map(|&x| u32::from(digit(x)));
        digits.fold(0, |value, d| 10 * value + d) < end
    })
}

/// All ways to see a clock in a stretch, fullest first: whole, without leading or
/// trailing groups (a date before, a rate behind), or one block of bare digits. Where none has
/// all of its digits, the stretch may be parted at other gaps, so that one has.
pub(super) fn clocks_in(stretch: &Stretch) -> Vec<Vec<Group>> {
    let usual = split_hours(stretch.groups());
    let mut found = clocks_among(&split_bare(&usual).unwrap_or_else(|| split_pairs(&usual)));
    let whole =
        |groups: &Vec<Group>| groups.iter().flat_map(|g| &g.places).count() == stretch.places.len();
    if !found.iter().any(whole) {
        let by_gaps = || {
            let mut partings = stretch.partings().into_iter();
            partings.find(|groups| is_clock(&layout_of(groups)) && !begins_with_a_number(groups))
        };
        // Five digits fall into a clock's groups by mere chance: a price does.
        let other = (stretch.places.len() >= FEWEST_BY_GAPS)
            .then(by_gaps)
            .flatten()
            .or_else(|| split_bare(&[stretch.evenly_spaced()?]));
        found.splice(0..0, other);
    }
    found
}

/// Runs of groups that are a clock's, fullest first.
fn clocks_among(groups: &[Group]) -> Vec<Vec<Group>> {
    let mut found: Vec<Vec<Group>> = Vec::new();
    for length in GROUPS_OF_A_CLOCK.rev() {
        for (start, part) in groups.windows(length).enumerate() {
            let layout = layout_of(part);
            if !is_clock(&layout) && !is_stopwatch(part) {
                continue;
            }
            // Cut at a mark, or a piece of a fuller clock already found: not another clock.
            // Nothing but parts of a frame follows four pairs: texture looks like a digit, too.
            // But for two digits before four pairs that marks hold together.
            let goes_on = groups.get(start + length).is_some_and(|g| g.after_mark);
            let is_held_further_on = || {
                let next = groups.get(start + 1..=start + length);
                next.is_some_and(|next| layout_of(next).groups == layout.groups && is_marked(next))
            };
            let is_cut = match layout.groups[..] {
                [2, 2, 2, 2] => goes_on && !is_marked(part) && is_held_further_on(),
                _ => goes_on || start > 0 && part[0].after_mark,
            };
            // Where marks hold a clock together and only a gap parts it from more, that may be the
            // day before the time of day, or another number behind it.
            let is_piece = found
                .iter()
                .any(|f| part.iter().all(|g| f.contains(g)) && (is_marked(f) || !is_marked(part)));
            if !is_cut && !is_piece {
                found.push(part.to_vec());
            }
        }
    }
    found
}

/// Minutes, seconds and tenths, as a stopwatch shows them. So few digits are a price or a size as
/// often as not where no marks part them.
fn is_stopwatch(groups: &[Group]) -> bool {
    matches!(layout_of(groups).groups[..], [1 | 2, 2, 1]) && is_marked(groups)
}

/// True if marks stand between all of its groups.
fn is_marked(groups: &[Group]) -> bool {
    groups.iter().skip(1).all(|group| group.after_mark)
}

/// The year of a date, or another number before the clock, and the hours behind it are two groups, though a
/// space of one digit or less parts them: the step before the last two of their digits is then the widest,
/// or that before the only digit of the hours.
fn split_hours(mut usual: Vec<Group>) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    if begins_with_a_number(&usual) {
        let hour = usual[0].places.split_off(1);
        let hours = Group {
            places: hour,
            after_mark: false,
        };
        usual.insert(1, hours);
    }
    let mut usual = usual.into_iter().peekable();
    while let Some(group) = usual.next() {
        let has_mark_behind = usual.peek().is_some_and(|next| next.after_mark);
        let least = match (group.places.len(), group.after_mark) {
            (YEAR_AND_HOURS, true) => Some(PAIR_GAP),
            (3..=5, false) if groups.is_empty() && has_mark_behind => Some(NUMBER_GAP),
            _ => None,
        };
        let at = group.places.len().saturating_sub(2);
        if least.is_some_and(|least| has_step_before(&group.places, at, least)) {
            let (number, hours) = group.places.split_at(at);
            groups.push(Group {
                places: number.to_vec(),
                after_mark: group.after_mark,
            });
            groups.push(Group {
                places: hours.to_vec(),
                after_mark: false,
            });
        } else {
            groups.push(group);
        }
    }
    groups
}

/// True if the two digits before the first mark stand so much further apart than those that follow that
/// one is the number of a camera, and the other the hour: `1 9:29:31:16`.
fn begins_with_a_number(groups: &[Group]) -> bool {
    let Some((first, others)) = groups.split_first() else {
        return false;
    };
    let pairs = others.iter().flat_map(|group| group.places.windows(2));
    let mut steps: Vec<f32> = pairs.map(|w| w[1] - w[0]).collect();
    steps.sort_by(f32::total_cmp);
    first.places.len() == 2
        && others.first().is_some_and(|next| next.after_mark)
        && (steps.get(steps.len() / 2))
            .is_some_and(|usual| first.places[1] - first.places[0] > NUMBER_GAP * usual)
}

/// True if the step before digit `at` is more than `least` times as wide as any other.
fn has_step_before(places: &[f32], at: usize, least: f32) -> bool {
    let steps: Vec<f32> = places.windows(2).map(|w| w[1] - w[0]).collect();
    let others = (steps.iter().enumerate()).filter(|(i, _)| *i != at - 1);
    let widest = others.map(|(_, step)| *step).fold(0.0, f32::max);
    steps[at - 1] > least * widest
}

/// Four or five digits with a wider step after the second are two groups; so are four between two marks
/// that part them from a pair on either side.
fn split_pairs(usual: &[Group]) -> Vec<Group> {
    let mut groups = Vec::new();
    for (at, group) in usual.iter().enumerate() {
        if has_pair_first(&group.places) || is_between_pairs(usual, at) {
            let (first, second) = group.places.split_at(2);
            groups.push(Group {
                places: first.to_vec(),
                after_mark: group.after_mark,
            });
            groups.push(Group {
                places: second.to_vec(),
                after_mark: false,
            });
        } else {
            groups.push(group.clone());
        }
    }
    groups
}

/// True of four digits between the marks of two pairs. Seven segments have their dots within the digits'
/// places at times, and one right behind a 1 is easily missed. A year stands at an end of its date.
fn is_between_pairs(groups: &[Group], at: usize) -> bool {
    let around = at.checked_sub(1).and_then(|from| groups.get(from..=at + 1));
    around.is_some_and(|around| {
        layout_of(around).groups == [2, 4, 2] && around[1].after_mark && around[2].after_mark
    })
}

/// True for four or five digits if the step after the second is wider than the others are.
fn has_pair_first(places: &[f32]) -> bool {
    let steps: Vec<f32> = places.windows(2).map(|w| w[1] - w[0]).collect();
    matches!(places.len(), 4 | 5) && {
        let others = steps.iter().sum::<f32>() - steps[1];
        steps[1] * (steps.len() - 1) as f32 > PAIR_GAP * others
    }
}

/// The last group of a stretch, if it is a pair: what stands before it may be another row's.
pub(super) fn last_pair_in(stretch: &Stretch) -> Option<Group> {
    (split_pairs(&stretch.groups()).pop()).filter(|group| group.places.len() == 2)
}

/// What may be one half of a clock in two rows: the stretch, longest first, and what is left of
/// it without the groups at its ends that only gaps part from the rest: edges of the screen
/// and texture beside it may feign digits. Last, the stretch parted into pairs at other gaps,
/// if it may be.
pub(super) fn halves_in(stretch: &Stretch) -> Vec<Vec<Group>> {
    let groups = split_pairs(&stretch.groups());
    let is_pairs = |groups: &Vec<Group>| {
        groups.len() <= 3 && groups.iter().all(|group| group.places.len() == 2)
    };
    let mut halves = Vec::new();
    for length in (1..=groups.len().min(3)).rev() {
        for start in 0..=groups.len() - length {
            let end = start + length;
            let is_cut = (start > 0 && groups[start].after_mark)
                || groups.get(end).is_some_and(|next| next.after_mark);
            if !is_cut {
                halves.push(groups[start..end].to_vec());
            }
        }
    }
    if !is_pairs(&groups) {
        halves.extend(stretch.partings().into_iter().find(is_pairs));
    }
    halves
}

/// Six, eight or nine digits without any gap are groups of two (and a last one of three).
fn split_bare(groups: &[Group]) -> Option<Vec<Group>> {
    let [only] = groups else { return None };
    let sizes: &[usize] = match only.places.len() {
        6 => &[2, 2, 2],
        8 => &[2, 2, 2, 2],
        9 => &[2, 2, 2, 3],
        _ => return None,
    };
    let mut rest = only.places.as_slice();
    Some(
        sizes
            .iter()
            .map(|&n| {
                let (head, tail) = rest.split_at(n);
                rest = tail;
                Group {
                    places: head.to_vec(),
                    after_mark: false,
                }
            })
            .collect(),
    )
}

pub(super) fn layout_of(groups: &[Group]) -> Layout {
    Layout {
        groups: groups
            .iter()
            .map(|g| g.places.len().min(255) as u8)
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::read::tests::perfect;
    use super::*;

    fn clocks(text: &str) -> Vec<Vec<u8>> {
        let columns = perfect(text, 10.0, 12.0, 200);
        stretches(&columns.characters())
            .iter()
            .flat_map(clocks_in)
            .map(|g| layout_of(&g).groups)
            .collect()
    }

    /// Digits with these steps between them, and marks before some.
    fn line_of(start: f32, steps: &[f32], marked: &[usize]) -> Stretch {
        let mut characters = vec![digit(start)];
        let mut x = start;
        for (i, step) in steps.iter().enumerate() {
            if marked.contains(&(i + 1)) {
                let mark = Character {
                    kind: Kind::Mark,
                    ..digit(x + step / 2.0)
                };
                characters.push(mark);
            }
            x += step;
            characters.push(digit(x));
        }
        stretches(&characters).remove(0)
    }

    /// As a desk clock shows them: digits of two fifths of the size behind the minutes.
    #[test]
    fn small_seconds_stand_as_close_as_they_are_small() {
        let characters: Vec<Character> = [35.0, 51.1, 82.9, 99.0, 117.3, 124.2]
            .into_iter()
            .enumerate()
            .map(|(i, x)| Character {
                scale: if i < 4 { 1.0 } else { 0.4 },
                ..digit(x)
            })
            .collect();
        let of_line = stretches(&characters).remove(0);
        let found = clocks_in(&of_line);
        assert_eq!(layout_of(&found[0]).groups, [2, 2, 2]);
    }

    fn digit(x: f32) -> Character {
        Character {
            kind: Kind::Digit,
            x,
            sureness: 1.0,
            scale: 1.0,
        }
    }

    #[test]
    fn what_marks_hold_together_is_a_clock_of_its_own_beside_the_whole_line() {
        for text in ["26  10:20:30", "10:20:30  26"] {
            assert_eq!(clocks(text), [vec![2, 2, 2, 2], vec![2, 2, 2]], "{text}");
        }
    }

    #[test]
    fn clock_lines_are_grouped() {
        for (text, groups) in [
            ("10:20:30:12", vec![2, 2, 2, 2]),
            ("10:20:30;12", vec![2, 2, 2, 2]),
            ("10 20 30 12", vec![2, 2, 2, 2]),
            ("10.20.30.123", vec![2, 2, 2, 3]),
            ("10:20:30", vec![2, 2, 2]),
            ("9:20:30.5", vec![1, 2, 2, 1]),
            ("10203012", vec![2, 2, 2, 2]),
            ("P 9:20:30", vec![1, 2, 2]),
            // A stopwatch.
            ("10:20.5", vec![2, 2, 1]),
            ("1:20:5", vec![1, 2, 1]),
            // A space of one digit between date and time.
            ("27.11.2031 10:20:30:12", vec![2, 2, 2, 2]),
            ("27.11.2031 10:20:30", vec![2, 2, 2]),
            // Texture beside the screen.
            ("10:20:30:12    :5", vec![2, 2, 2, 2]),
            ("4    10:20:30", vec![2, 2, 2]),
            ("10:20:30:12:5", vec![2, 2, 2, 2]),
        ] {
            assert_eq!(clocks(text), [groups], "{text}");
        }
    }

    #[test]
    fn half_a_clock_may_have_edges_beside_it_that_look_like_digits() {
        for (text, halves) in [
            ("10:20:30", vec![vec![2, 2, 2]]),
            ("10:20:30  1", vec![vec![2, 2, 2], vec![1]]),
            ("1  10:20", vec![vec![1, 2, 2], vec![2, 2], vec![1]]),
            (
                "1  12  3",
                vec![
                    vec![1, 2, 1],
                    vec![1, 2],
                    vec![2, 1],
                    vec![1],
                    vec![2],
                    vec![1],
                ],
            ),
            ("10:20.1", vec![vec![2, 2, 1]]),
            ("10:20:30:12", vec![]),
        ] {
            let columns = perfect(text, 10.0, 12.0, 200);
            let found = halves_in(&stretches(&columns.characters())[0]);
            let found: Vec<Vec<u8>> = found.iter().map(|g| layout_of(g).groups).collect();
            assert_eq!(found, halves, "{text}");
        }
    }

    #[test]
    fn numbers_that_are_no_clock_are_left_out() {
        for text in [
            "24.95",
            "10:24",
            "1234",
            "17566068123",
            "2024-08",
            "123:456",
            // Minutes, seconds and tenths have marks between them.
            "10 20 5",
            "10:20 5",
            "27.11.2031",
            "27.11.203110",
        ] {
            assert!(clocks(text).is_empty(), "{text}");
        }
    }

    #[test]
    fn a_mark_that_was_not_seen_leaves_a_wider_step() {
        let clocks = |middle: f32| {
            let steps = [12.0, 18.0, 12.0, 18.0, 12.0, middle, 12.0];
            clocks_in(&line_of(10.0, &steps, &[2, 4]))
        };
        assert_eq!(layout_of(&clocks(16.0)[0]).groups, [2, 2, 2, 2]);
        assert!(clocks(12.0).is_empty(), "a day, a month and a year");
    }

    /// Dots that take no room: the one between the 3 and the 5 of 17.43.51.57 was not seen.
    #[test]
    fn of_three_marks_the_middle_one_may_be_missing() {
        let steps = [16.3, 17.0, 16.4, 18.0, 15.8, 16.1, 16.2];
        for (marked, groups) in [
            (&[2, 6][..], &[2, 2, 2, 2][..]),
            // A date.
            (&[2, 4], &[]),
            (&[2], &[]),
        ] {
            let found = clocks_in(&line_of(24.7, &steps, marked));
            let found = found.first().map(|f| layout_of(f).groups);
            assert_eq!(found.unwrap_or_default(), groups, "{marked:?}");
        }
    }

    #[test]
    fn a_number_before_a_clock_is_left_aside() {
        let clock = [12.0, 18.0, 12.0, 18.0, 12.0, 18.0, 12.0];
        // Two digits, that may pass for hours, and the space before the clock; or one, two, or three.
        for (before, from) in [
            (vec![12.0, 26.0], 2),
            (vec![18.0], 1),
            (vec![12.0, 18.0], 2),
            (vec![12.0, 12.0, 18.0], 3),
        ] {
            let steps = [&before[..], &clock].concat();
            let marked = [2, 4, 6].map(|digit| digit + before.len());
            let found = clocks_in(&line_of(10.0, &steps, &marked));
            let first_x = 10.0 + before.iter().sum::<f32>();
            assert_eq!(found.len(), 1, "{from}: {found:?}");
            assert_eq!(layout_of(&found[0]).groups, [2, 2, 2, 2], "{from}");
            assert_eq!(found[0][0].places[0], first_x, "{from}");
        }
        // Evenly spaced digits, or with the 1 of seven segments at one side, are one number.
        for first in [[12.0, 12.0], [15.0, 12.0]] {
            let steps = [&first[..], &clock[1..]].concat();
            let found = clocks_in(&line_of(10.0, &steps, &[3, 5, 7]));
            assert!(found.is_empty(), "{first:?}: {found:?}");
        }
    }

    /// `1 9:29:31:16` was sure of 19 hours, as were 13 more of 17 such clips.
    #[test]
    fn a_number_before_hours_of_one_digit_is_none_of_their_digits() {
        for (step, groups) in [
            (17.0, &[1, 2, 2, 2][..]),
            (22.0, &[1, 2, 2, 2]),
            // The 1 of seven segments stands at one side of its place.
            (15.5, &[2, 2, 2, 2]),
        ] {
            let found = clocks_in(&line_of(
                10.0,
                &[step, 18.0, 12.0, 18.0, 12.0, 18.0, 12.0],
                &[2, 4, 6],
            ));
            let found: Vec<_> = found.iter().map(|f| layout_of(f).groups).collect();
            assert_eq!(found, [groups], "{step}");
        }
    }

    #[test]
    fn gaps_part_groups_where_they_are_wider_than_those_within() {
        for (steps, groups) in [
            // One gap is wider than usual, the others are not.
            (
                vec![16.0, 24.0, 16.0, 22.0, 15.0, 22.0, 15.0],
                vec![2, 2, 2, 2],
            ),
            // Seen from the side, everything narrows.
            (
                vec![16.0, 24.0, 16.0, 22.0, 15.0, 18.0, 14.0],
                vec![2, 2, 2, 2],
            ),
            (
                vec![18.0, 26.0, 19.0, 27.0, 19.0, 30.0, 19.0, 19.0],
                vec![2, 2, 2, 3],
            ),
            (vec![25.0, 16.0, 24.0, 16.0, 24.0, 16.0], vec![1, 2, 2, 2]),
            // A price.
            (vec![20.0, 16.0, 20.0, 16.0], vec![]),
            // Neither even nor in pairs: ones, on a curved glass.
            (
                vec![14.0, 20.0, 24.0, 24.0, 20.0, 21.0, 15.0],
                vec![2, 2, 2, 2],
            ),
            // A telephone number.
            (vec![16.0, 16.0, 24.0, 16.0, 16.0, 23.0, 16.0], vec![]),
        ] {
            let found = clocks_in(&line_of(20.0, &steps, &[]));
            let found = found.first().map(|f| layout_of(f).groups);
            assert_eq!(found.unwrap_or_default(), groups, "{steps:?}");
        }
    }

    #[test]
    fn a_rate_behind_the_clock_leaves_the_clock_alone_too() {
        let found = clocks("10:20:30:12 25");
        assert!(found.contains(&vec![2, 2, 2, 2]), "{found:?}");
    }
}
