//! The cases an editor meets.

use super::sim::{Filmed, Scene, drop_frames, frames};
use crate::fit::{ClockFit, Known, NextLook, fit};
use crate::outcome::Verdict;
use crate::timecode::{ClockForm, Rate};

fn run(filmed: &Filmed) -> ClockFit {
    fit(
        std::slice::from_ref(&filmed.sighting),
        &filmed.facts,
        &Known::default(),
    )
}

fn label(fit: &ClockFit) -> &str {
    fit.start.as_ref().map_or("", |s| s.label.as_str())
}

fn codes(fit: &ClockFit) -> Vec<&str> {
    fit.reasons.iter().map(|r| r.code.as_str()).collect()
}

#[test]
fn a_burned_in_clock_at_the_clips_own_rate_is_read_to_the_label() {
    for rate in [
        Rate::F23_976,
        Rate::F24,
        Rate::F25,
        Rate::F29_97,
        Rate::F30,
        Rate::F50,
        Rate::F59_94,
        Rate::F60,
    ] {
        let filmed = Scene::new(frames(rate), "10:20:30:07", rate).film();
        let fit = run(&filmed);
        assert_eq!(label(&fit), "10:20:30:07", "{rate}: {fit:?}");
        assert_eq!(
            fit.verdict,
            Verdict::Sure,
            "{rate}: {:?} {:?}",
            fit.reasons,
            fit.start
        );
        assert_eq!(fit.next_look, NextLook::Enough);
        assert_eq!(fit.clock.unwrap().form.rate(), rate);
    }
}
