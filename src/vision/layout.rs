//! Characters of a line -> digit places, grouped as a running clock groups them.

use super::read::{Character, Kind};
use crate::reading::Layout;

/// Characters fainter than this do not shape a layout (they still count when read).
const LEAST_SURENESS: f32 = 0.45;
/// A gap of more than this many digit pitches parts two groups.
const GROUP_GAP: f32 = 1.45;
/// ... where no marks part them; a line with marks shows its groups by these, and a curved
/// glass or a slim one may widen a gap within a group.
const GROUP_GAP_BESIDE_MARKS: f32 = 2.0;
/// A gap of more than this many digit pitches ends a clock: what comes then lies beside the
/// screen, or is another number.
const STRETCH_GAP: f32 = 3.0;
/// A middle step this much wider than the outer ones of four digits parts two pairs whose
/// mark was not seen. Digits of a year stand evenly.
const PAIR_GAP: f32 = 1.15;

/// One group of digits of a line: middles of its places in strip px.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Group {
    pub places: Vec<f32>,
    /// True if a mark (colon, semicolon, dot), not just a gap, stands before it.
    pub after_mark: bool,
}

/// Splits the characters of one line into stretches of groups; a letter ends a stretch.
pub(super) fn stretches(characters: &[Character]) -> Vec<Vec<Group>> {
    let sure: Vec<&Character> = characters
        .iter()
        .filter(|c| c.sureness >= LEAST_SURENESS)
        .collect();
    let marks = sure.iter().filter(|c| c.kind == Kind::Mark).count();
    let pitch = usual_pitch(&sure);
    let widest = pitch
        * if marks < 2 {
            GROUP_GAP
        } else {
            GROUP_GAP_BESIDE_MARKS
        };
    let mut all: Vec<Vec<Group>> = Vec::new();
    let mut current: Vec<Group> = Vec::new();
    let mut last_digit: Option<f32> = None;
    let mut mark_since = false;
    for c in sure {
        match c.kind {
            Kind::Digit => {
                let gap = last_digit.map_or(0.0, |x| c.x - x);
                if gap > STRETCH_GAP * pitch {
                    all.push(std::mem::take(&mut current));
                    mark_since = false;
                }
                let apart = gap > widest;
                if current.is_empty() || mark_since || apart {
                    current.push(Group {
                        places: vec![c.x],
                        after_mark: mark_since,
                    });
                } else if let Some(group) = current.last_mut() {
                    group.places.push(c.x);
                }
                last_digit = Some(c.x);
                mark_since = false;
            }
            Kind::Mark => mark_since = true,
            Kind::Other => {
                if !current.is_empty() {
                    all.push(std::mem::take(&mut current));
                }
                (last_digit, mark_since) = (None, false);
            }
            Kind::Nothing => {}
        }
    }
    if !current.is_empty() {
        all.push(current);
    }
    all
}

/// Median distance between neighbouring digits with nothing between them.
fn usual_pitch(characters: &[&Character]) -> f32 {
    let mut steps: Vec<f32> = characters
        .windows(2)
        .filter(|w| w[0].kind == Kind::Digit && w[1].kind == Kind::Digit)
        .map(|w| w[1].x - w[0].x)
        .collect();
    steps.sort_by(f32::total_cmp);
    // The lower quartile: gaps between groups without marks must not count as pitch.
    steps.get(steps.len() / 4).copied().unwrap_or(12.0)
}

/// True if a clock we can place groups its digits like this.
pub(super) fn is_clock(layout: &Layout) -> bool {
    match layout.groups.as_slice() {
        [1 | 2, 2, 2] => true,
        [1 | 2, 2, 2, last] => (1..=3).contains(last),
        _ => false,
    }
}

/// All ways to see a clock in a stretch, fullest first: whole, without leading or
/// trailing groups (a date before, a rate behind), or one block of bare digits.
pub(super) fn clocks_in(stretch: &[Group]) -> Vec<Vec<Group>> {
    let mut found: Vec<Vec<Group>> = Vec::new();
    let groups = &split_bare(stretch).unwrap_or_else(|| split_pairs(stretch));
    for length in (3..=groups.len()).rev() {
        for start in 0..=groups.len() - length {
            let part = &groups[start..start + length];
            if !is_clock(&layout_of(part)) {
                continue;
            }
            // Cut at a mark, or a piece of a fuller clock already found: not another clock.
            let is_cut = (start > 0 && part[0].after_mark)
                || groups.get(start + length).is_some_and(|g| g.after_mark);
            let is_piece = found.iter().any(|f| part.iter().all(|g| f.contains(g)));
            if !is_cut && !is_piece {
                found.push(part.to_vec());
            }
        }
    }
    found
}

/// Four or five digits with a wider step after the second are two groups.
fn split_pairs(stretch: &[Group]) -> Vec<Group> {
    let mut groups = Vec::new();
    for group in stretch {
        if has_pair_first(&group.places) {
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

/// True for four or five digits if the step after the second is wider than the others are.
fn has_pair_first(places: &[f32]) -> bool {
    let steps: Vec<f32> = places.windows(2).map(|w| w[1] - w[0]).collect();
    matches!(places.len(), 4 | 5) && {
        let others = steps.iter().sum::<f32>() - steps[1];
        steps[1] * (steps.len() - 1) as f32 > PAIR_GAP * others
    }
}

/// What may be one half of a clock in two rows: the stretch, and the same without a lone
/// digit at its end, which an edge of the screen may feign.
pub(super) fn halves_in(stretch: &[Group]) -> Vec<Vec<Group>> {
    let groups = split_pairs(stretch);
    let without_last = match &groups[..] {
        [whole @ .., last] if !whole.is_empty() && last.places.len() == 1 && !last.after_mark => {
            Some(whole.to_vec())
        }
        _ => None,
    };
    let mut halves = vec![groups];
    halves.extend(without_last);
    halves.retain(|half| half.len() <= 3);
    halves
}

/// Six, eight or nine digits without any gap are groups of two (and a last one of three).
fn split_bare(stretch: &[Group]) -> Option<Vec<Group>> {
    let [only] = stretch else { return None };
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
            .flat_map(|s| clocks_in(s))
            .map(|g| layout_of(&g).groups)
            .collect()
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
            // Texture beside the screen.
            ("10:20:30:12    :5", vec![2, 2, 2, 2]),
            ("4    10:20:30", vec![2, 2, 2]),
        ] {
            assert_eq!(clocks(text), [groups], "{text}");
        }
    }

    #[test]
    fn half_a_clock_may_have_an_edge_behind_it_that_looks_like_a_digit() {
        for (text, halves) in [
            ("10:20:30", vec![vec![2, 2, 2]]),
            ("10:20:30  1", vec![vec![2, 2, 2]]),
            ("10 20  1", vec![vec![2, 2, 1], vec![2, 2]]),
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
        ] {
            assert!(clocks(text).is_empty(), "{text}");
        }
    }

    #[test]
    fn a_mark_that_was_not_seen_leaves_a_wider_step() {
        let group = |places: &[f32]| Group {
            places: places.to_vec(),
            after_mark: true,
        };
        let (hours, minutes) = (group(&[10.0, 22.0]), group(&[40.0, 52.0]));
        let rest = |middle: f32| group(&[70.0, 82.0, 82.0 + middle, 94.0 + middle]);
        let clocks = |middle: f32| clocks_in(&[hours.clone(), minutes.clone(), rest(middle)]);
        assert_eq!(layout_of(&clocks(16.0)[0]).groups, [2, 2, 2, 2]);
        assert!(clocks(12.0).is_empty(), "a day, a month and a year");
    }

    #[test]
    fn a_rate_behind_the_clock_leaves_the_clock_alone_too() {
        let found = clocks("10:20:30:12 25");
        assert!(found.contains(&vec![2, 2, 2, 2]), "{found:?}");
    }
}
