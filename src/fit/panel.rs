//! Is there a panel that would make these late digits?
//!
//! A display may be late by up to a refresh, but not as it likes. A panel of f Hz draws at its
//! ticks: how late each look finds it follows from f, from the phase of the ticks, and from that
//! of the clock. These three are searched by halving. Of a box of them it is summed up what each
//! look says at best for any count that it may show somewhere in the box; if that is less than
//! asked for, no panel in the box will do. All is rounded outwards, so that none is missed. Of a
//! box that leaves hardly anything open its middle decides: at a refresh that is the clock's own
//! rate, all changes may fall on ticks, and no box is too small to leave each look both counts.

use super::looks::{Looks, Times};
use super::refresh::Refresh;
use super::sweep::{Grid, Strip};
use super::window::Scored;
use crate::timecode::Ratio;

/// The slowest panel in common use, in hertz, less what its crystal may be off, and more: 49.9.
const SLOWEST_HZ: Ratio = Ratio::new(10 * Refresh::SLOWEST_PANEL.hz() as i128 - 1, 10);
/// Faster than most, in hertz. Displays that are faster still are late as they like, within a
/// refresh of this.
const FASTEST_HZ: Ratio = Ratio::new(250, 1);
/// Boxes looked at before the search ends, with a panel not ruled out. To rule all out takes some
/// hundred where the counts that a clock would have had to hide are many.
const MOST_BOXES: usize = 2_000;
/// Looks searched, next to each other; the others have the best that any panel gives them.
const MOST_LOOKS: usize = 256;
/// One count, one refresh: this module computes in such parts of both.
const ONE: i64 = 1 << 20;
/// Counts up to which a box leaves open what a look shows, where it is not halved any more.
const FINEST: i64 = ONE / 128;

/// False if no panel shows the clock of `start` such that the looks gain as much as on a display
/// that is late at will, less `may_lose` nats.
pub(super) fn may_be_a_panel(
    looks: &Looks,
    times: &Times,
    start: &Scored,
    reference_tick: i64,
    may_lose: f64,
) -> bool {
    let Some(grid) = Grid::of(looks, times, &start.pace, reference_tick) else {
        return true;
    };
    let form = start.pace.form;
    let rate = form.rate().ratio();
    let per_count = |hz: Ratio| fixed(hz / rate);
    let refreshes = Range {
        low: per_count(SLOWEST_HZ),
        high: per_count(FASTEST_HZ),
    };
    let latest = ONE * ONE / refreshes.low + 1;
    let Ok(count) = i64::try_from(start.bounds.middle().floor()) else {
        return true;
    };
    let after_count = |phase: Ratio| fixed(phase - Ratio::from_integer(count));
    let phases = Range {
        low: after_count(start.bounds.low) - ONE,
        high: after_count(start.bounds.high) + ONE + latest,
    };
    let reach = phases.high.max(-phases.low) / ONE + 2;
    let strip = Strip::of(looks, &grid, form, count, reach);
    let least = strip.peaks(Some(Refresh::SLOWEST_PANEL)).0 - may_lose;
    let all = Panels {
        refreshes,
        ticks: Range { low: 0, high: ONE },
        phases,
    };
    let mut search = Search {
        strip: &strip,
        looks: Vec::new(),
    };
    let mut most = 0.0;
    let first = looks.len().saturating_sub(MOST_LOOKS) / 2;
    for look in 0..looks.len() {
        let (low, high) = strip.position(look, ONE);
        let at = Range { low, high };
        let says = search.says(look, at, &all, all.refresh());
        most += says;
        if (first..first + MOST_LOOKS).contains(&look) {
            search.looks.push(Sought {
                look,
                at,
                most: says,
            });
        }
    }
    search.finds(all, most - least)
}

fn fixed(of: Ratio) -> i64 {
    let whole = (of * Ratio::from_integer(ONE)).floor();
    i64::try_from(whole).unwrap_or(i64::MAX / 4)
}

/// The product of two numbers in parts, in parts. That of the counts and refreshes of a few hours
/// leaves 64 bits before it is divided, not after.
const fn product(a: i64, b: i64) -> i64 {
    (a as i128 * b as i128 / ONE as i128) as i64
}

/// From `low` to `high`, both included.
#[derive(Clone, Copy)]
struct Range {
    low: i64,
    high: i64,
}

impl Range {
    const fn width(self) -> i64 {
        self.high - self.low
    }

    const fn middle(self) -> Self {
        let middle = self.low + self.width() / 2;
        Self {
            low: middle,
            high: middle,
        }
    }

    const fn halves(self) -> [Self; 2] {
        let middle = self.low + self.width() / 2;
        [
            Self {
                high: middle,
                ..self
            },
            Self {
                low: middle,
                ..self
            },
        ]
    }
}

/// A box of panels, and of clocks behind them.
#[derive(Clone, Copy)]
struct Panels {
    /// Refreshes that pass in one count of the clock.
    refreshes: Range,
    /// Refreshes since the last tick, at the reference.
    ticks: Range,
    /// The clock's count there.
    phases: Range,
}

impl Panels {
    /// Counts that pass in one refresh.
    const fn refresh(&self) -> Range {
        Range {
            low: ONE * ONE / self.refreshes.high,
            high: ONE * ONE / self.refreshes.low + 1,
        }
    }

    /// How late the display is, in counts, so many counts after the reference.
    const fn late(&self, at: Range, refresh: Range) -> Range {
        let Range { low, high } = self.refreshes;
        let passed = [
            product(at.low, if at.low < 0 { high } else { low }),
            product(at.high, if at.high < 0 { low } else { high }),
        ];
        let from = passed[0] - 1 + self.ticks.low;
        let to = passed[1] + 1 + self.ticks.high;
        if from.div_euclid(ONE) != to.div_euclid(ONE) {
            return Range { low: 0, ..refresh };
        }
        Range {
            low: from.rem_euclid(ONE) * refresh.low / ONE,
            high: to.rem_euclid(ONE) * refresh.high / ONE + 1,
        }
    }

    const fn middle(&self) -> Self {
        Self {
            refreshes: self.refreshes.middle(),
            ticks: self.ticks.middle(),
            phases: self.phases.middle(),
        }
    }

    /// Both halves of what leaves most open, to looks up to `farthest` counts from the reference;
    /// `None` if that is little.
    fn halves(&self, farthest: i64) -> Option<[Self; 2]> {
        let refresh = ONE * ONE / self.refreshes.low;
        let by_rate = product(product(self.refreshes.width(), farthest), refresh);
        let by_tick = product(self.ticks.width(), refresh);
        let by_phase = self.phases.width();
        let most = by_rate.max(by_tick).max(by_phase);
        if most < FINEST {
            return None;
        }
        Some(if most == by_phase {
            self.phases.halves().map(|phases| Self { phases, ..*self })
        } else if most == by_tick {
            self.ticks.halves().map(|ticks| Self { ticks, ..*self })
        } else {
            let halves = self.refreshes.halves();
            halves.map(|refreshes| Self { refreshes, ..*self })
        })
    }
}

/// A look that is searched.
struct Sought {
    look: usize,
    /// Counts after the reference.
    at: Range,
    /// Nats that it says at best, on any panel.
    most: f64,
}

/// The looks that are searched.
struct Search<'s, 'g> {
    strip: &'s Strip<'g>,
    looks: Vec<Sought>,
}

impl Search<'_, '_> {
    /// Nats that a look says at best on any panel of a box.
    fn says(&self, look: usize, at: Range, panels: &Panels, refresh: Range) -> f64 {
        let late = panels.late(at, refresh);
        let newest = (panels.phases.high + at.high - late.low).div_euclid(ONE);
        let oldest = (panels.phases.low + at.low - late.high).div_euclid(ONE);
        self.strip.says_at_best(look, oldest..=newest)
    }

    /// Nats that the looks lose on any panel of a box, at least; `None` if more than `may_lose`.
    fn loss(&self, panels: &Panels, may_lose: f64) -> Option<f64> {
        let mut loss = 0.0;
        let refresh = panels.refresh();
        for sought in &self.looks {
            loss += sought.most - self.says(sought.look, sought.at, panels, refresh);
            if loss > may_lose {
                return None;
            }
        }
        Some(loss)
    }

    /// True if a panel in `all` loses no more than `may_lose`, or if that takes too long to say.
    fn finds(&self, all: Panels, may_lose: f64) -> bool {
        let ends = [self.looks.first(), self.looks.last()];
        let ends = ends.into_iter().flatten();
        let farthest = ends.map(|s| s.at.low.abs().max(s.at.high.abs())).max();
        let farthest = farthest.unwrap_or_default();
        let mut boxes = vec![all];
        for _ in 0..MOST_BOXES {
            let Some(panels) = boxes.pop() else {
                return false;
            };
            if self.loss(&panels.middle(), may_lose).is_some() {
                return true;
            }
            let Some(halves) = panels.halves(farthest) else {
                continue;
            };
            let lose = |half: Panels| Some((self.loss(&half, may_lose)?, half));
            let mut possible: Vec<(f64, Panels)> = halves.into_iter().filter_map(lose).collect();
            // The likelier half is looked at first.
            possible.sort_by(|a, b| b.0.total_cmp(&a.0));
            boxes.extend(possible.into_iter().map(|(_, half)| half));
        }
        true
    }
}
