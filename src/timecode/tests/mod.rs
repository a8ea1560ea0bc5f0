//! Tests of counting ([`counting`]), of rate changes ([`change`]) and of the numbers
//! under them ([`numbers`]).

mod change;
mod counting;
mod numbers;

use super::Ratio;
use proptest::prelude::*;

/// Ratios of the size that clips bring, of both signs.
fn small_ratio() -> impl Strategy<Value = Ratio> {
    (
        -1_000_000_000_000i128..1_000_000_000_000,
        1i128..1_000_000_000,
    )
        .prop_map(|(num, den)| Ratio::new(num, den))
}
