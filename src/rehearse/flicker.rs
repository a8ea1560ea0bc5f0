//! Light that comes and goes many times a second: lamps on the mains, digits that are
//! driven one after the other.

use crate::timecode::Ratio;
use std::f64::consts::TAU;

/// How the light changes within one period.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wave {
    /// Up and down by `depth` of the mean, 0.0..=1.0: a filament or a ballast lamp.
    Sine { depth: f64 },
    /// On for a share `on` of the period, 0.0..1.0 excluded, and down to a share `rest` of
    /// that light, 0.0..=1.0, for the rest of it: a cheap LED lamp, or a digit that waits
    /// for its turn.
    Pulse { on: f64, rest: f64 },
}

/// A periodic light with a mean of 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flicker {
    /// Periods per second, > 0. A lamp flickers at twice the mains' frequency.
    pub hz: Ratio,
    /// Where in its period the light is at time 0, in turns, 0..1; a pulse begins at 0.
    pub turn: Ratio,
    pub wave: Wave,
}

impl Flicker {
    /// Mean light between two times, seconds after the middle of frame 0's exposure,
    /// relative to the mean over all time; `late` turns later than [`Flicker::turn`] says.
    pub fn mean(&self, from_s: f64, to_s: f64, late: f64) -> f64 {
        let turns = |s: f64| s * self.hz.to_f64() + self.turn.to_f64() - late;
        let (a, b) = (turns(from_s), turns(to_s));
        if b - a < 1e-9 {
            return self.level(a);
        }
        (self.sum(b) - self.sum(a)) / (b - a)
    }

    fn level(&self, turn: f64) -> f64 {
        match self.wave {
            Wave::Sine { depth } => 1.0 + depth * (TAU * turn).sin(),
            Wave::Pulse { on, rest } => {
                let lit = 1.0 / (on + rest * (1.0 - on));
                if turn.rem_euclid(1.0) < on {
                    lit
                } else {
                    lit * rest
                }
            }
        }
    }

    /// Integral of the light over turns, from 0.
    fn sum(&self, turn: f64) -> f64 {
        match self.wave {
            Wave::Sine { depth } => turn - depth * (TAU * turn).cos() / TAU,
            Wave::Pulse { on, rest } => {
                let within = turn.rem_euclid(1.0);
                let sum = within.min(on) + rest * (within - on).max(0.0);
                turn.floor() + sum / (on + rest * (1.0 - on))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn pulse() -> Flicker {
        Flicker {
            hz: Ratio::from_integer(100),
            turn: Ratio::ZERO,
            wave: Wave::Pulse {
                on: 0.25,
                rest: 0.0,
            },
        }
    }

    #[test]
    fn whole_periods_give_the_mean() {
        let rest = 0.1;
        for wave in [Wave::Sine { depth: 0.6 }, Wave::Pulse { on: 0.25, rest }] {
            let light = Flicker { wave, ..pulse() };
            for k in 0..20 {
                let from_s = f64::from(k) * 0.0013 - 5.0;
                assert_relative_eq!(light.mean(from_s, from_s + 0.03, 0.0), 1.0, epsilon = 1e-9);
            }
        }
    }

    /// On for the first 2.5 ms of every 10: four times as bright as the mean, or dark.
    #[test]
    fn a_pulse_is_four_times_its_mean_for_a_quarter_of_the_time() {
        assert_relative_eq!(pulse().mean(0.0005, 0.0015, 0.0), 4.0, epsilon = 1e-9);
        assert_relative_eq!(pulse().mean(0.005, 0.009, 0.0), 0.0, epsilon = 1e-9);
        assert_relative_eq!(pulse().mean(0.0015, 0.0035, 0.0), 2.0, epsilon = 1e-9);
        // Half a period later, the same light shines in the other half.
        assert_relative_eq!(pulse().mean(0.0055, 0.0065, 0.5), 4.0, epsilon = 1e-9);
        assert_relative_eq!(pulse().mean(7.0055, 7.0055, 0.5), 4.0, epsilon = 1e-9);
    }

    /// Half a period of a sine of depth d has mean 1 +- 2 d / pi.
    #[test]
    fn short_exposures_catch_the_crest() {
        let light = Flicker {
            wave: Wave::Sine { depth: 0.5 },
            ..pulse()
        };
        let crest = 1.0 + 1.0 / std::f64::consts::PI;
        assert_relative_eq!(light.mean(0.0, 0.005, 0.0), crest, epsilon = 1e-9);
        assert_relative_eq!(light.mean(0.005, 0.01, 0.0), 2.0 - crest, epsilon = 1e-9);
    }

    /// A quarter at full light and three at a fifth of it: 1 / (1/4 + 3/20) = 2.5 times the
    /// mean, and half of the mean.
    #[test]
    fn some_light_rests_in_the_dark_part() {
        let wave = Wave::Pulse {
            on: 0.25,
            rest: 0.2,
        };
        let light = Flicker { wave, ..pulse() };
        assert_relative_eq!(light.mean(0.0005, 0.0015, 0.0), 2.5, epsilon = 1e-9);
        assert_relative_eq!(light.mean(0.004, 0.009, 0.0), 0.5, epsilon = 1e-9);
        assert_relative_eq!(light.mean(0.009, 0.009, 0.0), 0.5, epsilon = 1e-9);
    }
}
