//! Convolutions of three by three in steps of one, by Winograd's way: a square of 4 x 4 outputs
//! takes 36 products a pair of channels, where the sums written out take 144 (A. Lavin and S. Gray,
//! "Fast Algorithms for Convolutional Neural Networks", 2015, arXiv:1509.09308, F(4 x 4, 3 x 3)).
//!
//! The 6 x 6 inputs that a square of outputs depends on become 36 *points*, as the kernel does once
//! and for all. Point by point, the channels meet the weights as in a convolution of one by one;
//! of the 36 points that come out, the 4 x 4 outputs are made.

use super::direct::{self, Goal, Work, each};
use super::lanes::{self, Job, Lanes};
use super::planes::{BLOCK, Convolution, Kind, Planes};

/// Outputs along a side of a square, and the inputs that they depend on.
const SIDE: usize = 4;
const REACH: usize = 6;
const POINTS: usize = REACH * REACH;
/// Squares whose points are held at once, if a row has no more: few enough that they stay at hand,
/// enough that the weights are not fetched for little.
const MOST_SQUARES: usize = 48;

/// The layer of a layer's points, each of which has its own weights; `None` if it has none.
pub(super) fn points_of(layer: &Convolution) -> Option<Convolution> {
    // A single input does not lie in blocks.
    let is_of_kind = layer.kind == Kind::Dense
        && layer.inputs > 1
        && (layer.kernel, layer.pad, layer.step) == ((3, 3), (1, 1), (1, 1));
    if !is_of_kind {
        return None;
    }
    let (inputs, whole) = (layer.inputs, layer.bias.len());
    let mut weights = vec![0.0; POINTS * inputs * whole];
    for (block, kernels) in layer.weights.chunks_exact(9 * inputs * BLOCK).enumerate() {
        for i in 0..inputs * BLOCK {
            let kernel: [[f32; 3]; 3] =
                each(|y| each(|x| kernels[(3 * y + x) * inputs * BLOCK + i]));
            for (point, weight) in points_of_kernel(kernel).as_flattened().iter().enumerate() {
                weights[(point * whole / BLOCK + block) * inputs * BLOCK + i] = *weight;
            }
        }
    }
    Some(Convolution {
        kind: Kind::ByRow,
        inputs,
        outputs: layer.outputs,
        kernel: (1, 1),
        pad: (0, 0),
        step: (1, 1),
        weights,
        bias: vec![0.0; whole],
        is_positive: false,
    })
}

fn points_of_kernel(kernel: [[f32; 3]; 3]) -> [[f32; REACH]; REACH] {
    let along = |[a, b, c]: [f32; 3]| {
        let (even, odd) = (a + c, a + 4.0 * c);
        [
            a / 4.0,
            -(even + b) / 6.0,
            -(even - b) / 6.0,
            (odd + 2.0 * b) / 24.0,
            (odd - 2.0 * b) / 24.0,
            c,
        ]
    };
    let columns: [[f32; REACH]; 3] = each(|x| along(each(|y| kernel[y][x])));
    each(|y| along(each(|x| columns[x][y])))
}

/// Whether a layer of such points can be run for an output of so many rows and columns.
pub(super) fn suits(rows: usize, columns: usize) -> bool {
    rows.min(columns) >= SIDE
}

/// Runs a layer by its points, in memory that may hold anything. Gives the memory back.
///
/// # Panics
/// If the sizes of planes and layer do not go together, or the output does not suit.
pub(super) fn run(mut work: Work, points: &Convolution, memory: [Vec<f32>; 2]) -> [Vec<f32>; 2] {
    work.check();
    assert!(suits(work.output.rows, work.output.columns));
    let of = |layer: &Convolution| (layer.inputs, layer.outputs);
    assert_eq!(of(points), of(work.layer));
    let [mut before, mut behind] = memory;
    // The last squares reach back over those before, and work them out twice.
    let starts = |size: usize| (0..size).step_by(SIDE).map(move |at| at.min(size - SIDE));
    let across = starts(work.output.columns).len();
    let rows: Vec<usize> = starts(work.output.rows).collect();
    for rows in rows.chunks((MOST_SQUARES / across).max(1)) {
        let columns = || starts(work.output.columns);
        let squares: Vec<(usize, usize)> = (rows.iter())
            .flat_map(|&row| columns().map(move |column| (row, column)))
            .collect();
        let size = |channels| (POINTS, squares.len(), channels);
        let mut spread = Planes::new(size(points.inputs), (0, 0), before);
        let mut met = Planes::new(size(points.outputs), (0, 0), behind);
        // SAFETY: the squares lie within the output, and their inputs within the border of the
        // input, as `check` found.
        unsafe {
            lanes::run(&mut Spread {
                input: work.input,
                squares: &squares,
                points: &mut spread,
            });
        }
        direct::run(Work {
            layer: points,
            input: &spread,
            plus: None,
            output: &mut met,
        });
        // SAFETY: see above.
        unsafe {
            lanes::run(&mut Gather {
                points: &met,
                squares: &squares,
                work: &mut work,
            });
        }
        (before, behind) = (spread.values, met.values);
    }
    [before, behind]
}

/// Makes points of inputs.
struct Spread<'a> {
    /// With a border of one at least.
    input: &'a Planes,
    /// Row and column of each square's first output.
    squares: &'a [(usize, usize)],
    /// A row for each point, a column for each square.
    points: &'a mut Planes,
}

impl Job for Spread<'_> {
    #[inline(always)]
    unsafe fn run<L: Lanes, const G: usize, const B: usize, const H: usize, const T: usize>(
        &mut self,
    ) {
        let (input, stride) = (self.input, self.input.stride);
        let (line, far) = (input.line(), self.points.line());
        for (square, &(row, column)) in self.squares.iter().enumerate() {
            let first = input.place(row.cast_signed() - 1, column.cast_signed() - 1);
            for channel in (0..stride).step_by(L::COUNT) {
                // SAFETY: the caller's.
                unsafe {
                    let from = input.values.as_ptr().add(first + channel);
                    let to = self.points.values.as_mut_ptr();
                    let to = to.add(square * stride + channel);
                    let mut down = [[L::all(0.0); REACH]; REACH];
                    for (x, down) in down.iter_mut().enumerate() {
                        for (y, value) in down.iter_mut().enumerate() {
                            *value = L::load(from.add(y * line + x * stride));
                        }
                        *down = spread(*down);
                    }
                    let [a, b, c, d, e, f] = down;
                    for y in 0..REACH {
                        let points = spread([a[y], b[y], c[y], d[y], e[y], f[y]]);
                        for (x, point) in points.into_iter().enumerate() {
                            point.store(to.add((y * REACH + x) * far));
                        }
                    }
                }
            }
        }
    }
}

/// Makes outputs of points.
struct Gather<'a, 'b> {
    /// As [`Spread::points`].
    points: &'a Planes,
    squares: &'a [(usize, usize)],
    work: &'a mut Work<'b>,
}

impl Job for Gather<'_, '_> {
    #[inline(always)]
    unsafe fn run<L: Lanes, const G: usize, const B: usize, const H: usize, const T: usize>(
        &mut self,
    ) {
        let (far, stride) = (self.points.line(), self.points.stride);
        let layer = self.work.layer;
        for (square, &(row, column)) in self.squares.iter().enumerate() {
            let mut goal = |y| self.work.goal(row + y, column);
            let goals: [Goal; SIDE] = [goal(0), goal(1), goal(2), goal(3)];
            for channel in (0..stride).step_by(L::COUNT) {
                // SAFETY: the caller's.
                unsafe {
                    let from = self.points.values.as_ptr().add(square * stride + channel);
                    let mut across = [[L::all(0.0); SIDE]; REACH];
                    for (y, across) in across.iter_mut().enumerate() {
                        let mut points = [L::all(0.0); REACH];
                        for (x, point) in points.iter_mut().enumerate() {
                            *point = L::load(from.add((y * REACH + x) * far));
                        }
                        *across = gather(points);
                    }
                    let bias = L::load(layer.bias.as_ptr().add(channel));
                    let [a, b, c, d, e, f] = across;
                    for x in 0..SIDE {
                        let outputs = gather([a[x], b[x], c[x], d[x], e[x], f[x]]);
                        for (goal, output) in goals.iter().zip(outputs) {
                            goal.take(output.plus(bias), x * stride + channel);
                        }
                    }
                }
            }
        }
    }
}

/// Six inputs in a line become six points.
///
/// # Safety
/// The processor has these lanes.
#[inline(always)]
unsafe fn spread<L: Lanes>([a, b, c, d, e, f]: [L; REACH]) -> [L; REACH] {
    // SAFETY: the caller's.
    unsafe {
        let (two, four) = (L::all(2.0), L::all(4.0));
        let (less, less_two) = (L::all(-1.0), L::all(-2.0));
        let (less_four, less_five) = (L::all(-4.0), L::all(-5.0));
        let (even, odd) = (e.plus_product(c, less_four), d.plus_product(b, less_four));
        let (near, far) = (e.plus_product(c, less), d.plus_product(b, less));
        [
            e.plus_product(a, four).plus_product(c, less_five),
            even.plus(odd),
            even.plus_product(odd, less),
            near.plus_product(far, two),
            near.plus_product(far, less_two),
            f.plus_product(b, four).plus_product(d, less_five),
        ]
    }
}

/// Six points in a line become four outputs.
///
/// # Safety
/// The processor has these lanes.
#[inline(always)]
unsafe fn gather<L: Lanes>([a, b, c, d, e, f]: [L; REACH]) -> [L; SIDE] {
    // SAFETY: the caller's.
    unsafe {
        let (less, two) = (L::all(-1.0), L::all(2.0));
        let (four, eight) = (L::all(4.0), L::all(8.0));
        let (even, odd) = (b.plus(c), b.plus_product(c, less));
        let (far_even, far_odd) = (d.plus(e), d.plus_product(e, less));
        [
            a.plus(even).plus(far_even),
            odd.plus_product(far_odd, two),
            even.plus_product(far_even, four),
            odd.plus_product(far_odd, eight).plus(f),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::super::direct::tests::{filled, value};
    use super::*;

    #[test]
    fn outputs_are_those_of_the_sums_written_out() {
        for (rows, columns, inputs, outputs) in
            [(4, 4, 16, 24_usize), (5, 30, 40, 40), (19, 7, 2, 16)]
        {
            let whole = outputs.next_multiple_of(BLOCK);
            let layer = Convolution {
                kind: Kind::Dense,
                inputs,
                outputs,
                kernel: (3, 3),
                pad: (1, 1),
                step: (1, 1),
                weights: (0..whole * 9 * inputs).map(value).collect(),
                bias: (0..whole).map(|i| value(i + 5)).collect(),
                is_positive: true,
            };
            let input = filled((rows, columns, inputs), (1, 1));
            let size = (rows, columns, outputs);
            let mut plus = Planes::new(size, (0, 0), Vec::new());
            (0..).zip(&mut plus.values).for_each(|(i, v)| *v = value(i));
            let mut right = Planes::new(size, (0, 0), Vec::new());
            let mut found = Planes::new(size, (0, 0), Vec::new());
            let work = |output| Work {
                layer: &layer,
                input: &input,
                plus: Some(&plus),
                output,
            };
            direct::run(work(&mut right));
            let points = points_of(&layer).unwrap();
            // Used memory that holds what is not to be seen.
            let memory = [(); 2].map(|()| vec![f32::NAN; 999]);
            run(work(&mut found), &points, memory);
            for (i, (found, right)) in found.values.iter().zip(&right.values).enumerate() {
                let off: f32 = found - right;
                let off = off.abs();
                assert!(off < 1e-3, "{rows} x {columns}, {i}: {found}, not {right}");
            }
        }
    }

    #[test]
    fn all_ways_give_the_same() {
        let squares = [(0, 0), (1, 3)];
        let mut input = Planes::new((5, 7, 40), (1, 1), Vec::new());
        (0..)
            .zip(&mut input.values)
            .for_each(|(i, v)| *v = value(i));
        let layer = Convolution {
            kind: Kind::Dense,
            inputs: 40,
            outputs: 40,
            kernel: (3, 3),
            pad: (1, 1),
            step: (1, 1),
            weights: Vec::new(),
            bias: (0..3 * BLOCK).map(|i| value(i + 5)).collect(),
            is_positive: true,
        };
        let size = (POINTS, squares.len(), 40);
        let mut before: Vec<[Vec<f32>; 2]> = Vec::new();
        for number in 0..lanes::ways::<Spread>().len() {
            let mut points = Planes::new(size, (0, 0), Vec::new());
            let mut output = Planes::new((5, 7, 40), (0, 0), Vec::new());
            let Some(way) = lanes::ways()[number] else {
                continue;
            };
            let mut spread = Spread {
                input: &input,
                squares: &squares,
                points: &mut points,
            };
            // SAFETY: the squares lie within 5 x 7, which is the size of input and output.
            unsafe { way(&mut spread) };
            let Some(way) = lanes::ways()[number] else {
                continue;
            };
            let mut work = Work {
                layer: &layer,
                input: &input,
                plus: None,
                output: &mut output,
            };
            let mut gather = Gather {
                points: &points,
                squares: &squares,
                work: &mut work,
            };
            // SAFETY: see above.
            unsafe { way(&mut gather) };
            let found = [points.values, output.values];
            let first = before.first().unwrap_or(&found);
            for (a, b) in first.iter().flatten().zip(found.iter().flatten()) {
                assert!((a - b).abs() < 1e-3, "{number}: {b}, not {a}");
            }
            before.push(found);
        }
    }

    #[test]
    fn only_kernels_of_three_by_three_that_go_by_one_have_points() {
        let layer = |kernel, pad, step| Convolution {
            kind: Kind::Dense,
            inputs: 16,
            outputs: 16,
            kernel,
            pad,
            step,
            weights: vec![0.0; kernel.0 * kernel.1 * 16 * BLOCK],
            bias: vec![0.0; BLOCK],
            is_positive: false,
        };
        assert!(points_of(&layer((3, 3), (1, 1), (1, 1))).is_some());
        assert!(points_of(&layer((3, 3), (1, 1), (2, 2))).is_none());
        assert!(points_of(&layer((3, 3), (0, 0), (1, 1))).is_none());
        assert!(points_of(&layer((1, 1), (0, 0), (1, 1))).is_none());
    }
}
