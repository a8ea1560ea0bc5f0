//! Tests of counting ([`counting`]), of rate changes ([`change`]) and of the numbers
//! under them ([`numbers`]).

mod change;
mod counting;
mod numbers;

use super::{ClockForm, Rate, Ratio};
use proptest::prelude::*;

/// Ratios of the size that clips bring, of both signs.
fn small_ratio() -> impl Strategy<Value = Ratio> {
    (
        -1_000_000_000_000i128..1_000_000_000_000,
        1i128..1_000_000_000,
    )
        .prop_map(|(num, den)| Ratio::new(num, den))
}

fn form(rate: Rate, drop_frame: bool) -> ClockForm {
    ClockForm::frames(rate, drop_frame).unwrap()
}

/// Every form the program knows.
pub(crate) fn all_forms() -> Vec<ClockForm> {
    let mut forms = ClockForm::WITHOUT_FRAMES.to_vec();
    for rate in Rate::TRADE {
        forms.push(form(rate, false));
        if rate.has_drop_frame() {
            forms.push(form(rate, true));
        }
    }
    forms
}
