//! Whole seconds of which nobody can say whose they are: a camera may lay its own clock over its
//! pictures, and another of its clips shows that one beside a slate. Pure.

use crate::note::Note;
use crate::outcome::{ClipOutcome, Corrected, Start, Verdict};
use crate::timecode::ClockForm;

/// Code of the reason.
const ANOTHERS: &str = "may_be_another_clock";
/// Code of the fit's reason for two clocks in view.
const TWO_CLOCKS: &str = "clocks_disagree";
/// Seconds by which a start that was said by hand differs from one that was read of another clock.
const APART_S: f64 = 0.5;

/// Holds back starts by whole seconds, the form of such stamps, in clips of cameras of which another
/// clip shows two clocks that do not agree. `camera_of` and `names` are those of the clips.
pub(super) fn doubt_lone_seconds(
    outcomes: &mut [ClipOutcome],
    camera_of: &[usize],
    names: &[&str],
) {
    for clip in 0..outcomes.len() {
        let shows_two = |&other: &usize| {
            camera_of[other] == camera_of[clip] && shows_two_clocks(&outcomes[other])
        };
        if !is_of_seconds_alone(&outcomes[clip]) {
            continue;
        }
        let Some(other) = (0..outcomes.len()).find(shows_two) else {
            continue;
        };
        outcomes[clip].verdict = Verdict::Unsure;
        outcomes[clip].reasons = vec![Note::new(
            ANOTHERS,
            format!(
                "{} shows two clocks that do not agree, and this clip of the same camera one of \
                 whole seconds, which may be the other one, as a camera's own stamp is; compare one \
                 frame by eye",
                names[other]
            ),
        )];
    }
}

fn is_of_seconds_alone(outcome: &ClipOutcome) -> bool {
    let form = outcome.clock.as_ref().map(|clock| clock.form.as_str());
    outcome.verdict == Verdict::Sure
        && outcome.by_hand.is_none()
        && form == Some(ClockForm::Seconds.pattern())
}

/// Also where a person said another start than was read.
fn shows_two_clocks(outcome: &ClipOutcome) -> bool {
    let set = outcome.by_hand.as_ref().filter(|hand| {
        let seconds = |start: Option<&Start>| start.map(|start| start.seconds);
        let said = seconds(outcome.start.as_ref()).zip(seconds(hand.read_start.as_ref()));
        hand.what == Corrected::Set
            && hand.says_start
            && said.is_some_and(|(said, read)| (said - read).abs() > APART_S)
    });
    set.is_some()
        || outcome
            .reasons
            .iter()
            .any(|reason| reason.code == TWO_CLOCKS)
}
