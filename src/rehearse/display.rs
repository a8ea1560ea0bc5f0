//! What a display shows when: the clock behind it, and how it gets onto the glass.

use super::flicker::{Flicker, Wave};
use super::screens::Look;
use crate::timecode::{ClockForm, Ratio};

/// The clock that drives a display. Times are seconds after the middle of
/// frame 0's exposure, exact.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Clock {
    pub form: ClockForm,
    /// Count at time 0.
    pub phi: Ratio,
    /// False for a clock that was stopped at `phi` and shows it for ever.
    pub is_running: bool,
}

impl Clock {
    pub const fn running(form: ClockForm, phi: Ratio) -> Self {
        Self {
            form,
            phi,
            is_running: true,
        }
    }

    /// Real-valued count at a time; does not wrap at midnight.
    pub fn count_at(&self, time_s: Ratio) -> Ratio {
        if self.is_running {
            self.phi + self.form.rate().ratio() * time_s
        } else {
            self.phi
        }
    }
}

/// The edge of the screen, as the text stands upright, where a refresh begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Edge {
    Top,
    Bottom,
    /// Panels that lie on their side refresh across.
    Left,
    Right,
}

/// How a count gets onto the glass.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Drive {
    /// At once and everywhere, all the time: LED hardware with a static drive.
    Direct,
    /// Only when a refresh comes round, line by line.
    Panel {
        /// Refreshes per second, > 0.
        refresh_hz: Ratio,
        /// When a refresh begins, in refreshes after time 0, 0..1.
        phase: Ratio,
        /// Share of a refresh that passes while the lines are written, 0..=1;
        /// 0 writes all lines at once.
        scan: Ratio,
        from: Edge,
    },
    /// LED hardware that lights its digits one after the other, from the left, and around
    /// again; marks shine with the digit before them. Counts change at once.
    Multiplexed {
        /// Rounds per second, > 0.
        rounds_hz: Ratio,
        /// Where in its round the display is at time 0, 0..1.
        turn: Ratio,
        /// Digits that take turns, > 0; further digits begin again with the first.
        digits: u32,
    },
}

impl Drive {
    /// How the first digit flickers; the next ones follow, each a turn share of
    /// `1 / digits` later. `None` where all digits shine all the time.
    pub fn turns(&self) -> Option<(Flicker, u32)> {
        match *self {
            Self::Direct | Self::Panel { .. } => None,
            Self::Multiplexed {
                rounds_hz,
                turn,
                digits,
            } => {
                // Between two digits all are dark for a moment, or one would shine into
                // the other (common practice, no source).
                const LIT_OF_TURN: f64 = 0.92;
                let flicker = Flicker {
                    hz: rounds_hz,
                    turn,
                    wave: Wave::Pulse {
                        on: LIT_OF_TURN / f64::from(digits.max(1)),
                        rest: 0.0,
                    },
                };
                Some((flicker, digits.max(1)))
            }
        }
    }
}

/// From `at_s` on, the first line of the screen shows `count`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Change {
    pub at_s: Ratio,
    pub count: i64,
}

/// A display: how it looks and how it is driven.
#[derive(Clone)]
pub struct Display {
    pub look: Look,
    pub drive: Drive,
    /// Constant delay between the clock and the panel, seconds, >= 0.
    pub lag_s: Ratio,
}

impl Display {
    /// How much later than the first line a line `along` the scan (0 first, 1
    /// last) is written, seconds.
    pub fn scan_delay_s(&self, along: Ratio) -> Ratio {
        match self.drive {
            Drive::Direct | Drive::Multiplexed { .. } => Ratio::ZERO,
            Drive::Panel {
                refresh_hz, scan, ..
            } => along * scan / refresh_hz,
        }
    }

    /// How long a count can wait until it is seen, seconds: a panel's refresh, a round of
    /// a multiplexed display, or 0.
    pub fn refresh_s(&self) -> Ratio {
        match self.drive {
            Drive::Direct => Ratio::ZERO,
            Drive::Panel { refresh_hz, .. } => refresh_hz.recip(),
            Drive::Multiplexed { rounds_hz, .. } => rounds_hz.recip(),
        }
    }

    /// The count that stands on the glass at a time, in a line `along` the scan
    /// (0 first, 1 last).
    pub fn lit_count(&self, clock: &Clock, time_s: Ratio, along: Ratio) -> i64 {
        let at = time_s - self.scan_delay_s(along);
        let sent_at = match self.drive {
            Drive::Direct | Drive::Multiplexed { .. } => at,
            Drive::Panel {
                refresh_hz, phase, ..
            } => {
                let refreshes = Ratio::from_integer((at * refresh_hz - phase).floor());
                (refreshes + phase) / refresh_hz
            }
        };
        whole(clock.count_at(sent_at - self.lag_s))
    }

    /// What the first line shows after `from_s` up to and including `to_s`: the
    /// changes in order. Counts that a slow panel skips are not among them.
    pub fn changes(&self, clock: &Clock, from_s: Ratio, to_s: Ratio) -> Vec<Change> {
        let mut changes: Vec<Change> = Vec::new();
        if !clock.is_running {
            return changes;
        }
        let mut count = self.lit_count(clock, from_s, Ratio::ZERO);
        loop {
            count += 1;
            let reached =
                (Ratio::from_integer(count) - clock.phi) / clock.form.rate().ratio() + self.lag_s;
            let at_s = match self.drive {
                Drive::Direct | Drive::Multiplexed { .. } => reached,
                Drive::Panel {
                    refresh_hz, phase, ..
                } => {
                    let refreshes = Ratio::from_integer((reached * refresh_hz - phase).ceil());
                    (refreshes + phase) / refresh_hz
                }
            };
            if at_s > to_s {
                return changes;
            }
            match changes.last_mut() {
                Some(last) if last.at_s == at_s => last.count = count,
                _ => changes.push(Change { at_s, count }),
            }
        }
    }

    /// The clock's count at time 0 *as displayed*: a constant lag cannot be seen
    /// in the pictures, so it belongs to the answer. The wait for a refresh and
    /// the scan, which vary, do not.
    pub fn phi_as_displayed(&self, clock: &Clock) -> Ratio {
        clock.count_at(-self.lag_s)
    }
}

/// Floor as a count.
///
/// # Panics
/// Outside i64: a clock of billions of years.
pub fn whole(count: Ratio) -> i64 {
    i64::try_from(count.floor()).expect("a count fits in 64 bits")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::timecode::Rate;

    fn ratio(num: i128, den: i128) -> Ratio {
        Ratio::new(num, den)
    }

    fn clock(rate: Rate, phi: Ratio) -> Clock {
        Clock::running(ClockForm::frames(rate, false).unwrap(), phi)
    }

    fn panel(hz: i128, phase: Ratio, scan: Ratio) -> Display {
        Display {
            look: Look::plain(),
            drive: Drive::Panel {
                refresh_hz: Ratio::from_integer(hz),
                phase,
                scan,
                from: Edge::Top,
            },
            lag_s: Ratio::ZERO,
        }
    }

    fn direct() -> Display {
        Display {
            look: Look::plain(),
            drive: Drive::Direct,
            lag_s: Ratio::ZERO,
        }
    }

    #[test]
    fn a_direct_display_shows_the_floor_of_the_count() {
        let clock = clock(Rate::F29_97, ratio(1_000_007, 10));
        for k in -50..200 {
            let t = ratio(k, 977);
            assert_eq!(
                i128::from(direct().lit_count(&clock, t, Ratio::ONE)),
                clock.count_at(t).floor()
            );
        }
    }

    /// 25 counts a second on a 60 Hz panel: each count waits for the next
    /// multiple of 1/60 s. Worked by hand: counts come at 0.04 n s, so the
    /// refreshes that show them begin at 3, 5, 8, 10 and 12 sixtieths.
    #[test]
    fn a_panel_shows_a_count_from_the_next_refresh_on() {
        let display = panel(60, Ratio::ZERO, Ratio::ZERO);
        let clock = clock(Rate::F25, Ratio::ZERO);
        let changes = display.changes(&clock, Ratio::ZERO, ratio(1, 5));
        let at: Vec<_> = changes.iter().map(|c| (c.at_s, c.count)).collect();
        assert_eq!(
            at,
            [3, 5, 8, 10, 12]
                .iter()
                .zip(1..)
                .map(|(&s, n)| (ratio(s, 60), n))
                .collect::<Vec<_>>()
        );
        assert_eq!(display.lit_count(&clock, ratio(299, 6000), Ratio::ZERO), 0);
        assert_eq!(display.lit_count(&clock, ratio(300, 6000), Ratio::ZERO), 1);
    }

    #[test]
    fn a_panel_is_late_by_less_than_one_refresh_plus_its_scan() {
        let display = panel(60, ratio(1, 3), ratio(9, 10));
        let clock = clock(Rate::F59_94, ratio(123_456, 7));
        for k in 0..500 {
            for along in [Ratio::ZERO, ratio(1, 2), Ratio::ONE] {
                let t = ratio(k, 1009);
                let lit = display.lit_count(&clock, t, along);
                let latest = t - display.scan_delay_s(along);
                let earliest = latest - display.refresh_s();
                assert!(lit <= whole(clock.count_at(latest)));
                assert!(lit >= whole(clock.count_at(earliest)));
            }
        }
    }

    #[test]
    fn scan_out_writes_new_lines_first_at_the_top() {
        let display = panel(50, Ratio::ZERO, Ratio::ONE);
        let clock = clock(Rate::F25, Ratio::ZERO);
        // Half a refresh after the panel got count 1, its upper half shows it.
        let t = ratio(1, 25) + ratio(1, 100);
        assert_eq!(display.lit_count(&clock, t, ratio(4, 10)), 1);
        assert_eq!(display.lit_count(&clock, t, ratio(6, 10)), 0);
    }

    #[test]
    fn a_slow_panel_skips_counts() {
        let display = panel(30, Ratio::ZERO, Ratio::ZERO);
        let clock = clock(Rate::F120, Ratio::ZERO);
        let counts: Vec<_> = display
            .changes(&clock, Ratio::ZERO, ratio(1, 10))
            .iter()
            .map(|c| c.count)
            .collect();
        assert_eq!(counts, [4, 8, 12]);
    }

    #[test]
    fn changes_agree_with_what_is_lit() {
        let clock = clock(Rate::F23_976, ratio(5_000_001, 13));
        for display in [direct(), panel(60, ratio(2, 7), Ratio::ONE)] {
            let (from, to) = (ratio(-3, 10), ratio(7, 10));
            for change in display.changes(&clock, from, to) {
                let just_before = change.at_s - ratio(1, 1_000_000);
                assert_eq!(
                    display.lit_count(&clock, change.at_s, Ratio::ZERO),
                    change.count
                );
                assert!(display.lit_count(&clock, just_before, Ratio::ZERO) < change.count);
            }
        }
    }

    #[test]
    fn lag_belongs_to_the_answer() {
        let clock = clock(Rate::F25, ratio(1001, 10));
        let late = Display {
            lag_s: ratio(1, 25),
            ..direct()
        };
        assert_eq!(late.phi_as_displayed(&clock), ratio(991, 10));
        assert_eq!(late.lit_count(&clock, Ratio::ZERO, Ratio::ZERO), 99);
    }

    #[test]
    fn a_stopped_clock_never_changes() {
        let stopped = Clock {
            is_running: false,
            ..clock(Rate::F25, ratio(77, 2))
        };
        assert!(
            direct()
                .changes(&stopped, Ratio::ZERO, Ratio::from_integer(100))
                .is_empty()
        );
        assert_eq!(
            direct().lit_count(&stopped, Ratio::from_integer(9), Ratio::ZERO),
            38
        );
    }

    /// Of ten digits that take turns a hundred times a second, an exposure of 1 ms sees
    /// one or two, and one of 10 ms all of them alike.
    #[test]
    fn multiplexed_digits_shine_one_after_the_other() {
        let drive = Drive::Multiplexed {
            rounds_hz: Ratio::from_integer(100),
            turn: Ratio::ZERO,
            digits: 10,
        };
        let (flicker, digits) = drive.turns().unwrap();
        let seen = |from_s: f64, to_s: f64| -> Vec<f64> {
            (0..digits)
                .map(|k| flicker.mean(from_s, to_s, f64::from(k) / f64::from(digits)))
                .collect()
        };
        let short = seen(0.0302, 0.0308);
        assert!(
            short[0] > 9.0 && short[1..].iter().all(|&l| l == 0.0),
            "{short:?}"
        );
        let next = seen(0.0312, 0.0318);
        assert!(next[1] > 9.0 && next[0] == 0.0, "{next:?}");
        assert!(seen(0.03, 0.04).iter().all(|l| (l - 1.0).abs() < 1e-9));
        assert!(Drive::Direct.turns().is_none());
    }
}
