//! Convolutions as sums of products, written out.
//!
//! A *block* is sixteen channels. Values lie pixel by pixel, the channels of a pixel together,
//! so that one value of the input, given to all lanes, meets the weights of a block of outputs.

use super::lanes::{self, Job, Lanes};
use super::planes::{BLOCK, Convolution, Kind, Planes};

/// Columns that a kernel by channel can have, and the values of a row that it and its neighbours
/// reach at most.
pub(super) const BY_CHANNEL_COLUMNS: [usize; 3] = [3, 5, 7];
const MOST_LOADED: usize = 14;

/// One layer's work.
pub(super) struct Work<'a> {
    pub layer: &'a Convolution,
    /// With a border of zeros as wide as the layer reaches out.
    pub input: &'a Planes,
    /// Added to the result, in the end; of the size of the output.
    pub plus: Option<&'a Planes>,
    pub output: &'a mut Planes,
}

/// Runs a layer.
///
/// # Panics
/// If the sizes of planes and layer do not go together.
pub(super) fn run(mut work: Work) {
    work.check();
    // SAFETY: sizes were checked.
    unsafe { lanes::run(&mut work) };
}

impl Work<'_> {
    /// That every access lies within the planes.
    ///
    /// # Panics
    /// If it does not.
    pub fn check(&self) {
        let (layer, input, output) = (self.layer, self.input, &self.output);
        assert!(input.border.0 >= layer.pad.0 && input.border.1 >= layer.pad.1);
        let reach = |size: usize, kernel: usize, step: usize| (size - 1) * step + kernel;
        assert!(reach(output.rows, layer.kernel.0, layer.step.0) <= input.rows + 2 * layer.pad.0);
        assert!(
            reach(output.columns, layer.kernel.1, layer.step.1) <= input.columns + 2 * layer.pad.1
        );
        assert_eq!(input.channels, layer.inputs);
        assert_eq!(output.channels, layer.outputs);
        assert!(output.stride.is_multiple_of(BLOCK));
        let times = match layer.kind {
            Kind::ByRow => output.rows,
            Kind::Dense | Kind::ByChannel => 1,
        };
        let blocks = times * output.stride / BLOCK;
        assert_eq!(layer.weights.len(), blocks * layer.weights_per_block());
        if layer.kind == Kind::ByChannel {
            assert!(BY_CHANNEL_COLUMNS.contains(&layer.kernel.1) && layer.step.1 == 1);
            assert_eq!(input.stride, output.stride);
        }
        assert_eq!(layer.bias.len(), output.stride);
        input.check();
        output.check();
        if let Some(plus) = self.plus {
            plus.check();
            assert_eq!(
                (plus.rows, plus.columns, plus.stride),
                (output.rows, output.columns, output.stride)
            );
        }
    }
}

impl Job for Work<'_> {
    /// See [`Work::check`] for the sizes.
    #[inline(always)]
    unsafe fn run<L: Lanes, const G: usize, const B: usize, const H: usize, const T: usize>(
        &mut self,
    ) {
        // SAFETY: the caller's.
        unsafe {
            match (self.layer.kind, self.layer.kernel.1) {
                (Kind::Dense | Kind::ByRow, _) => dense::<L, G, B, H>(self),
                (Kind::ByChannel, 3) => by_channel::<L, T, 3>(self),
                (Kind::ByChannel, 5) => by_channel::<L, T, 5>(self),
                (Kind::ByChannel, _) => by_channel::<L, T, 7>(self),
            }
        }
    }
}

/// Each channel for itself, with a kernel of `K` columns. Tile by tile of `T` columns, each from
/// the first row to the last: two of three rows that the next one needs are still at hand.
///
/// # Safety
/// See [`Job::run`].
#[inline(always)]
unsafe fn by_channel<L: Lanes, const T: usize, const K: usize>(work: &mut Work) {
    let columns = work.output.columns;
    let mut column = 0;
    while column < columns {
        // SAFETY: the caller's. The last pixels are worked out twice where they are no whole
        // tile, which gives the same again.
        unsafe {
            if columns >= T {
                column = column.min(columns - T);
                tile::<L, T, K>(work, column);
                column += T;
            } else {
                tile::<L, 1, K>(work, column);
                column += 1;
            }
        }
    }
}

/// All rows of `T` columns. Each value is loaded once and serves all pixels that it reaches.
///
/// # Safety
/// See [`Job::run`].
#[inline(always)]
unsafe fn tile<L: Lanes, const T: usize, const K: usize>(work: &mut Work, column: usize) {
    const { assert!(T + K - 1 <= MOST_LOADED) };
    let (layer, input) = (work.layer, work.input);
    let (line, stride) = (input.line(), input.stride);
    let left = column.cast_signed() - layer.pad.1.cast_signed();
    for row in 0..work.output.rows {
        let from = input.place(
            (row * layer.step.0).cast_signed() - layer.pad.0.cast_signed(),
            left,
        );
        let goal = work.goal(row, column);
        for channel in (0..stride).step_by(L::COUNT) {
            let (block, lane) = (channel / BLOCK, channel % BLOCK);
            // SAFETY: the caller's.
            unsafe {
                let source = input.values.as_ptr().add(from + channel);
                let weights = layer.weights.as_ptr();
                let mut weights = weights.add(block * layer.weights_per_block() + lane);
                let mut sums = [L::load(layer.bias.as_ptr().add(channel)); T];
                for y in 0..layer.kernel.0 {
                    let source = source.add(y * line);
                    let values: [L; MOST_LOADED] = each(|x| {
                        let x = if x < T + K - 1 { x } else { 0 };
                        L::load(source.add(x * stride))
                    });
                    for x in 0..K {
                        let weight = L::load(weights);
                        for t in 0..T {
                            sums[t] = sums[t].plus_product(values[t + x], weight);
                        }
                        weights = weights.add(BLOCK);
                    }
                }
                for (t, sum) in sums.into_iter().enumerate() {
                    goal.take(sum, t * stride + channel);
                }
            }
        }
    }
}

/// All channels in each output.
///
/// # Safety
/// See [`Job::run`].
#[inline(always)]
unsafe fn dense<L: Lanes, const G: usize, const B: usize, const H: usize>(work: &mut Work) {
    let blocks = work.output.stride / BLOCK;
    for row in 0..work.output.rows {
        let mut block = 0;
        while block < blocks {
            // SAFETY: the caller's.
            unsafe {
                if block + B <= blocks {
                    line::<L, G, B, H>(work, row, block);
                    block += B;
                } else {
                    line::<L, G, 1, H>(work, row, block);
                    block += 1;
                }
            }
        }
    }
}

/// One row of `B` blocks of the output.
///
/// # Safety
/// See [`Job::run`].
#[inline(always)]
unsafe fn line<L: Lanes, const G: usize, const B: usize, const H: usize>(
    work: &mut Work,
    row: usize,
    block: usize,
) {
    let columns = work.output.columns;
    let mut column = 0;
    while column < columns {
        // SAFETY: the caller's. The last pixels of a row are worked out twice where they are
        // no whole group, which gives the same again.
        unsafe {
            if columns >= 3 * G {
                column = column.min(columns - 3 * G);
                group::<L, G, 3, B, H>(work, row, column, block);
                column += 3 * G;
            } else if columns >= 3 {
                column = column.min(columns - 3);
                group::<L, 1, 3, B, H>(work, row, column, block);
                column += 3;
            } else {
                group::<L, 1, 1, B, H>(work, row, column, block);
                column += 1;
            }
        }
    }
}

/// `G` times `N` pixels: places in memory are worked out for every `N`th, from where the others
/// are reached without another register.
///
/// # Safety
/// See [`Job::run`].
#[expect(
    clippy::needless_range_loop,
    reason = "the numbers count registers, in several arrays at once"
)]
#[inline(always)]
unsafe fn group<L: Lanes, const G: usize, const N: usize, const B: usize, const H: usize>(
    work: &mut Work,
    row: usize,
    column: usize,
    block: usize,
) {
    let (layer, input) = (work.layer, work.input);
    let first = input.place(
        (row * layer.step.0).cast_signed() - layer.pad.0.cast_signed(),
        (column * layer.step.1).cast_signed() - layer.pad.1.cast_signed(),
    );
    let pixel = layer.step.1 * input.stride;
    let taps = layer.weights_per_block();
    let (line, stride) = (input.line(), input.stride);
    // SAFETY: the caller's. Nothing below leaves the planes, so that no sum overflows.
    unsafe {
        let source = input.values.as_ptr().add(first);
        let bias = layer.bias.as_ptr().add(block * BLOCK);
        let mut sums: [[[[L; H]; B]; N]; G] =
            [[each(|b| each(|h| L::load(bias.add(b * BLOCK + h * L::COUNT)))); N]; G];
        let blocks = match layer.kind {
            Kind::ByRow => row * (work.output.stride / BLOCK) + block,
            _ => block,
        };
        let mut weights = layer.weights.as_ptr().add(blocks * taps);
        for y in 0..layer.kernel.0 {
            let mut tap = source.add(y.unchecked_mul(line));
            for _ in 0..layer.kernel.1 {
                let mut from: [*const f32; G] = each(|g| tap.add(g * N * pixel));
                for _ in 0..layer.inputs {
                    let w: [[L; H]; B] = each(|b| {
                        each(|h| {
                            L::load(weights.wrapping_add(b.wrapping_mul(taps)).add(h * L::COUNT))
                        })
                    });
                    for g in 0..G {
                        for n in 0..N {
                            let value = L::all(*from[g].wrapping_add(n.wrapping_mul(pixel)));
                            for b in 0..B {
                                for h in 0..H {
                                    sums[g][n][b][h] =
                                        sums[g][n][b][h].plus_product(value, w[b][h]);
                                }
                            }
                        }
                        from[g] = from[g].add(1);
                    }
                    weights = weights.add(BLOCK);
                }
                tap = tap.add(stride);
            }
        }
        let goal = work.goal(row, column);
        let pixel = work.output.stride;
        for g in 0..G {
            for n in 0..N {
                for b in 0..B {
                    for h in 0..H {
                        let own = (block + b) * BLOCK + h * L::COUNT;
                        let at = (g * N + n).unchecked_mul(pixel) + own;
                        goal.take(sums[g][n][b][h], at);
                    }
                }
            }
        }
    }
}

/// Where the results of some pixels go, and what is done to them before.
pub(super) struct Goal {
    to: *mut f32,
    plus: Option<*const f32>,
    is_positive: bool,
}

impl Work<'_> {
    /// The goal of a pixel and those behind it.
    #[inline(always)]
    pub fn goal(&mut self, row: usize, column: usize) -> Goal {
        let place = |planes: &Planes| planes.place(row.cast_signed(), column.cast_signed());
        let own = place(self.output);
        assert!(own < self.output.values.len());
        Goal {
            plus: self.plus.map(|plus| plus.values[place(plus)..].as_ptr()),
            // SAFETY: within the values. No reference to them is made, which would end what goals
            // of other rows may do.
            to: unsafe { self.output.values.as_mut_ptr().add(own) },
            is_positive: self.layer.is_positive,
        }
    }
}

impl Goal {
    /// Takes the sums for some channels, `at` values behind the first pixel's first.
    ///
    /// # Safety
    /// See [`Job::run`].
    #[inline(always)]
    pub unsafe fn take<L: Lanes>(&self, mut sum: L, at: usize) {
        // SAFETY: the caller's.
        unsafe {
            if self.is_positive {
                sum = sum.positive();
            }
            if let Some(plus) = self.plus {
                sum = sum.plus(L::load(plus.add(at)));
            }
            sum.store(self.to.add(at));
        }
    }
}

#[inline(always)]
pub(super) fn each<T, const N: usize>(of: impl FnMut(usize) -> T) -> [T; N] {
    std::array::from_fn(of)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// Values that differ, -1..=1.
    pub fn value(i: usize) -> f32 {
        ((i * i + 7 * i) % 61) as f32 / 30.0 - 1.0
    }

    /// Planes of such values within a border.
    pub fn filled(size: (usize, usize, usize), border: (usize, usize)) -> Planes {
        let mut planes = Planes::first(size, border, Vec::new());
        for row in 0..size.0 {
            for column in 0..size.1 {
                let at = planes.place(row.cast_signed(), column.cast_signed());
                for channel in 0..size.2 {
                    planes.values[at + channel] = value(at + 3 * channel);
                }
            }
        }
        planes
    }

    #[test]
    fn all_ways_give_what_the_sums_written_out_give() {
        let cases = [
            (Kind::Dense, (3, 3), (1, 1), 1),
            (Kind::Dense, (3, 3), (2, 2), 5),
            (Kind::Dense, (1, 1), (1, 1), 13),
            (Kind::Dense, (4, 1), (1, 1), 31),
            (Kind::ByChannel, (1, 7), (1, 1), 2),
            (Kind::ByChannel, (5, 5), (2, 1), 26),
            (Kind::ByChannel, (3, 3), (1, 1), 9),
        ];
        // Without a spare border, what lies beyond the planes is no memory of theirs, which
        // AddressSanitizer sees.
        let spared = |case| [0, 1].map(|spare| (case, spare));
        for ((kind, kernel, step, columns), spare) in cases.into_iter().flat_map(spared) {
            let (rows, inputs, outputs) = (6, 40, 40);
            let pad = (kernel.0 / 2, kernel.1 / 2);
            let per_tap = if kind == Kind::Dense { inputs } else { 1 };
            let count = 3 * kernel.0 * kernel.1 * per_tap * BLOCK;
            let layer = Convolution {
                kind,
                inputs,
                outputs,
                kernel,
                pad,
                step,
                weights: (0..count).map(value).collect(),
                bias: (0..3 * BLOCK).map(|i| value(i + 5)).collect(),
                is_positive: true,
            };
            let border = (pad.0 + spare, pad.1 + spare);
            let input = filled((rows, columns, inputs), border);
            let length = |size: usize, pad: usize, kernel: usize, step: usize| {
                (size + 2 * pad - kernel) / step + 1
            };
            let size = (
                length(rows, pad.0, kernel.0, step.0),
                length(columns, pad.1, kernel.1, step.1),
                outputs,
            );
            let mut plus = Planes::new(size, (0, 0), Vec::new());
            (0..).zip(&mut plus.values).for_each(|(i, v)| *v = value(i));
            for number in 0..lanes::ways::<Work>().len() {
                let Some(way) = lanes::ways()[number] else {
                    continue;
                };
                let mut output = Planes::new(size, (spare, 2 * spare), Vec::new());
                let mut work = Work {
                    layer: &layer,
                    input: &input,
                    plus: Some(&plus),
                    output: &mut output,
                };
                work.check();
                // SAFETY: as in `run`.
                unsafe { way(&mut work) };
                let signed = |n: usize| n.cast_signed();
                for (row, column, channel) in (0..size.0).flat_map(|r| {
                    (0..size.1).flat_map(move |c| (0..outputs).map(move |o| (r, c, o)))
                }) {
                    let mut sum = f64::from(layer.bias[channel]);
                    for tap in 0..kernel.0 * kernel.1 {
                        let at = input.place(
                            signed(row * step.0 + tap / kernel.1) - signed(pad.0),
                            signed(column * step.1 + tap % kernel.1) - signed(pad.1),
                        );
                        for i in 0..per_tap {
                            let from = if kind == Kind::Dense { i } else { channel };
                            let weight = (channel / BLOCK * kernel.0 * kernel.1 + tap) * per_tap;
                            let weight = layer.weights[(weight + i) * BLOCK + channel % BLOCK];
                            sum += f64::from(input.values[at + from]) * f64::from(weight);
                        }
                    }
                    let told = plus.values[plus.place(signed(row), signed(column)) + channel];
                    let right = sum.max(0.0) + f64::from(told);
                    let at = output.place(signed(row), signed(column)) + channel;
                    let found = f64::from(output.values[at]);
                    assert!(
                        (found - right).abs() < 1e-3,
                        "{kind:?} {kernel:?}: {found}, not {right}"
                    );
                }
            }
        }
    }
}
