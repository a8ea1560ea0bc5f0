//! A clock's rate that was given for the whole card, where clips of it say otherwise. Pure.

use crate::note::Note;
use crate::outcome::{ClipOutcome, RateKnownBy, Verdict};

/// Code of the reason, as the fit gives it to a clip that shows it by itself.
const CONTRADICTED: &str = "given_rate_contradicted";

/// Holds back starts that rest on the given rate, where as many clips or more contradict it: one in
/// view for a second fits any rate near its own. `names` are those of the clips.
pub(super) fn doubt_given_rate(outcomes: &mut [ClipOutcome], names: &[&str]) {
    let contradicts = |outcome: &ClipOutcome| {
        let mut reasons = outcome.reasons.iter();
        reasons.any(|reason| reason.code == CONTRADICTED)
    };
    let rests_on_it = |outcome: &ClipOutcome| {
        let clock = outcome.clock.as_ref();
        outcome.verdict == Verdict::Sure
            && outcome.by_hand.is_none()
            && clock.is_some_and(|clock| clock.rate_known_by == RateKnownBy::Given)
    };
    let against: Vec<usize> = (0..outcomes.len())
        .filter(|&clip| contradicts(&outcomes[clip]))
        .collect();
    let resting = outcomes.iter().filter(|one| rests_on_it(one)).count();
    let Some(&first) = against.first().filter(|_| against.len() >= resting) else {
        return;
    };
    let others = match against.len() {
        1 => format!("the digits of {}", names[first]),
        n => format!("the digits of {n} clips, of {} among them,", names[first]),
    };
    for outcome in outcomes.iter_mut().filter(|one| rests_on_it(one)) {
        outcome.verdict = Verdict::Unsure;
        outcome.reasons = vec![Note::new(
            CONTRADICTED,
            format!(
                "{others} run at another rate than the one that was given, on which this start \
                 rests; check the rate, or leave it out"
            ),
        )];
    }
}
