//! A network as a list of layers, and the planes that pass between them.

use super::direct::{self, BY_CHANNEL_COLUMNS, Work};
use super::model::{Fault, Graph, Node, Tensor};
use super::winograd;
use ndarray::{Array4, Axis};
use std::collections::HashMap;
use std::sync::Mutex;

/// Channels that are worked on together.
pub(super) const BLOCK: usize = 16;

/// Values of all channels of a picture, pixel by pixel, with a border of zeros.
pub(super) struct Planes {
    pub rows: usize,
    pub columns: usize,
    pub channels: usize,
    /// Values from one pixel to the next: channels, in whole blocks where layers write them;
    /// those behind the last channel are zero.
    pub stride: usize,
    /// Rows above and below, columns left and right.
    pub border: (usize, usize),
    /// At least as many as the planes have.
    pub values: Vec<f32>,
}

impl Planes {
    /// Planes in memory that was used before, `values`, and may hold anything; so may the planes,
    /// but for their border.
    pub fn new(size: (usize, usize, usize), border: (usize, usize), values: Vec<f32>) -> Self {
        Self::with_stride(size.2.next_multiple_of(BLOCK), size, border, values)
    }

    /// The same for a first layer, which asks for no whole blocks of a single plane.
    pub fn first(size: (usize, usize, usize), border: (usize, usize), values: Vec<f32>) -> Self {
        match size.2 {
            1 => Self::with_stride(1, size, border, values),
            _ => Self::new(size, border, values),
        }
    }

    fn with_stride(
        stride: usize,
        (rows, columns, channels): (usize, usize, usize),
        border: (usize, usize),
        values: Vec<f32>,
    ) -> Self {
        let mut planes = Self {
            rows,
            columns,
            channels,
            stride,
            border,
            values,
        };
        let (line, side) = (planes.line(), border.1 * stride);
        let length = (rows + 2 * border.0) * line;
        if planes.values.len() < length {
            planes.values.resize(length, 0.0);
        }
        let lines = planes.values[..length].chunks_exact_mut(line.max(1));
        for (row, values) in lines.enumerate() {
            if row < border.0 || row >= border.0 + rows {
                values.fill(0.0);
            } else {
                values[..side].fill(0.0);
                values[line - side..].fill(0.0);
            }
        }
        planes
    }

    /// Values from one row to the next.
    #[inline]
    pub fn line(&self) -> usize {
        (self.columns + 2 * self.border.1) * self.stride
    }

    /// That all of its pixels, the border's too, have their values.
    ///
    /// # Panics
    /// If some have none.
    pub fn check(&self) {
        assert!(self.values.len() >= (self.rows + 2 * self.border.0) * self.line());
    }

    /// Place of a pixel's first value; rows and columns from minus the border on.
    ///
    /// # Panics
    /// If the pixel lies beyond the border on the upper or left side.
    #[inline]
    pub fn place(&self, row: isize, column: isize) -> usize {
        let row = self.border.0.checked_add_signed(row);
        let column = self.border.1.checked_add_signed(column);
        let (row, column) = row.zip(column).expect("within the border");
        row * self.line() + column * self.stride
    }

    /// The values of a row's pixels, without the border.
    fn row(&self, row: usize) -> &[f32] {
        &self.values[self.place(row.cast_signed(), 0)..][..self.columns * self.stride]
    }

    fn row_mut(&mut self, row: usize) -> &mut [f32] {
        let (place, length) = (self.place(row.cast_signed(), 0), self.columns * self.stride);
        &mut self.values[place..][..length]
    }

    fn size(&self) -> (usize, usize, usize) {
        (self.rows, self.columns, self.channels)
    }
}

/// What a convolution's outputs are made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// All channels.
    Dense,
    /// All channels, with other weights for each row; of one by one.
    ByRow,
    /// Each of its own channel.
    ByChannel,
}

/// A convolution and what follows it at once.
pub(super) struct Convolution {
    pub kind: Kind,
    pub inputs: usize,
    pub outputs: usize,
    /// Rows and columns of weights, of zeros around the input, and from one output to the next
    /// in the input.
    pub kernel: (usize, usize),
    pub pad: (usize, usize),
    pub step: (usize, usize),
    /// By row of the output (where by row), block of outputs, row and column of the kernel, input
    /// (unless by channel); the weights for the outputs of a block side by side.
    pub weights: Vec<f32>,
    /// By output, in whole blocks.
    pub bias: Vec<f32>,
    /// Negative results become zero.
    pub is_positive: bool,
}

impl Convolution {
    fn new(node: &Node, weights: &Tensor, bias: &Tensor) -> Result<Self, Fault> {
        let unknown = |what: &str| format!("a convolution with {what}");
        let &[outputs, inputs, rows, columns] = &weights.shape[..] else {
            return Err(unknown("weights that are not of four axes"));
        };
        let pair = |name: &str, default: usize| match node.numbers(name) {
            [] => Ok((default, default)),
            &[a, b] => match (usize::try_from(a), usize::try_from(b)) {
                (Ok(a), Ok(b)) => Ok((a, b)),
                _ => Err(unknown("a negative size")),
            },
            _ => Err(unknown("other than two axes")),
        };
        let pad = match node.numbers("pads") {
            [] => (0, 0),
            &[top, left, bottom, right] if (top, left) == (bottom, right) => (
                usize::try_from(top).map_err(|_| unknown("negative borders"))?,
                usize::try_from(left).map_err(|_| unknown("negative borders"))?,
            ),
            _ => return Err(unknown("uneven borders")),
        };
        let kind = match node.numbers("group") {
            [] | [1] => Kind::Dense,
            [groups] if usize::try_from(*groups) == Ok(outputs) && inputs == 1 => Kind::ByChannel,
            _ => return Err(unknown("groups of channels")),
        };
        if pair("dilations", 1)? != (1, 1) || bias.shape != [outputs] {
            return Err(unknown("holes, or without a bias"));
        }
        let step = pair("strides", 1)?;
        if step.0 == 0 || step.1 == 0 || rows * columns == 0 {
            return Err(unknown("no size"));
        }
        if kind == Kind::ByChannel && (step.1 != 1 || !BY_CHANNEL_COLUMNS.contains(&columns)) {
            return Err(unknown(
                "steps or a kernel that those by channel do not have",
            ));
        }
        let whole = outputs.next_multiple_of(BLOCK);
        let mut layer = Self {
            kind,
            inputs: if kind == Kind::Dense { inputs } else { outputs },
            outputs,
            kernel: (rows, columns),
            pad,
            step,
            weights: Vec::new(),
            bias: bias.values.clone(),
            is_positive: false,
        };
        layer.bias.resize(whole, 0.0);
        layer.weights = vec![0.0; whole / BLOCK * layer.weights_per_block()];
        for (i, &weight) in weights.values.iter().enumerate() {
            let (output, rest) = (i / (inputs * rows * columns), i % (inputs * rows * columns));
            let (input, tap) = (rest / (rows * columns), rest % (rows * columns));
            let place = output / BLOCK * layer.weights_per_block()
                + (tap * inputs + input) * BLOCK
                + output % BLOCK;
            layer.weights[place] = weight;
        }
        Ok(layer)
    }

    pub fn weights_per_block(&self) -> usize {
        let inputs = match self.kind {
            Kind::Dense | Kind::ByRow => self.inputs,
            Kind::ByChannel => 1,
        };
        self.kernel.0 * self.kernel.1 * inputs * BLOCK
    }

    /// Rows, columns and channels of what comes out; `None` if the input is too small.
    fn size_of(&self, input: &Planes) -> Option<(usize, usize, usize)> {
        let length = |size: usize, pad: usize, kernel: usize, step: usize| {
            Some((size + 2 * pad).checked_sub(kernel)? / step + 1)
        };
        Some((
            length(input.rows, self.pad.0, self.kernel.0, self.step.0)?,
            length(input.columns, self.pad.1, self.kernel.1, self.step.1)?,
            self.outputs,
        ))
    }
}

/// A layer; numbers name the planes that go in.
enum Layer {
    Convolve {
        from: usize,
        layer: Convolution,
        /// The same by Winograd's way, where there is one.
        points: Option<Box<Convolution>>,
        /// Planes added in the end.
        plus: Option<usize>,
    },
    /// Twice as many rows and columns, each pixel four times.
    Double { from: usize },
    Add {
        a: usize,
        b: usize,
        is_positive: bool,
    },
}

impl Layer {
    fn inputs(&self) -> Vec<usize> {
        match self {
            Self::Convolve { from, plus, .. } => [*from].into_iter().chain(*plus).collect(),
            Self::Double { from } => vec![*from],
            Self::Add { a, b, .. } => vec![*a, *b],
        }
    }
}

/// A network from planes to planes. Planes 0 are its input, planes n + 1 the output of layer n.
pub(super) struct Network {
    layers: Vec<Layer>,
    channels: usize,
    /// Zeros that the layers behind ask for around each planes.
    borders: Vec<(usize, usize)>,
    /// The layer behind which planes are no longer needed.
    last_uses: Vec<usize>,
    /// Memory of planes that are no longer needed, for those of the next run.
    spares: Mutex<Vec<Vec<f32>>>,
}

/// Memory that is kept from run to run: so many planes of so many values at most, 5 MiB
/// each. The largest pictures, which are rare, get theirs anew.
const MOST_SPARES: usize = 12;
const MOST_SPARE_VALUES: usize = 5 << 18;

impl Network {
    pub fn new(graph: &Graph) -> Result<Self, Fault> {
        let ([input], [output]) = (&graph.inputs[..], &graph.outputs[..]) else {
            return Err("more than one input or output".to_owned());
        };
        let weights: HashMap<&str, &Tensor> = graph.weights.iter().map(|w| (&*w.name, w)).collect();
        let constants: HashMap<&str, &Tensor> = graph
            .nodes
            .iter()
            .filter(|node| node.operation == "Constant")
            .filter_map(|node| Some((node.outputs.first()?.as_str(), node.tensor("value")?)))
            .collect();
        let uses = |name: &str| {
            let inputs = graph.nodes.iter().flat_map(|node| &node.inputs);
            inputs.filter(|input| *input == name).count()
        };
        let mut planes: HashMap<&str, usize> = HashMap::from([(&**input, 0)]);
        let mut layers: Vec<Layer> = Vec::new();
        for node in &graph.nodes {
            let name = |i: usize| node.inputs.get(i).map_or("", |name| &**name);
            let at = |i: usize| {
                let known = planes.get(name(i)).copied();
                known.ok_or_else(|| format!("'{}' comes from nowhere", name(i)))
            };
            // What the layer before gives, if it goes nowhere else.
            let is_last =
                |i: usize| planes.get(name(i)) == Some(&layers.len()) && uses(name(i)) == 1;
            match &*node.operation {
                "Constant" => continue,
                "Conv" => {
                    let tensor = |i: usize| {
                        let known = weights.get(name(i)).copied();
                        known.ok_or_else(|| format!("weights '{}' are missing", name(i)))
                    };
                    let layer = Convolution::new(node, tensor(1)?, tensor(2)?)?;
                    layers.push(Layer::Convolve {
                        from: at(0)?,
                        points: winograd::points_of(&layer).map(Box::new),
                        layer,
                        plus: None,
                    });
                }
                "Relu" => {
                    let of_last = is_last(0);
                    match layers.last_mut().filter(|_| of_last) {
                        Some(Layer::Convolve {
                            layer, plus: None, ..
                        }) => layer.is_positive = true,
                        Some(Layer::Add { is_positive, .. }) => *is_positive = true,
                        _ => return Err("a Relu that stands alone".to_owned()),
                    }
                }
                "Add" => {
                    let (a, b) = (at(0)?, at(1)?);
                    let other = if is_last(0) {
                        Some(b)
                    } else {
                        is_last(1).then_some(a)
                    };
                    match (layers.last_mut(), other) {
                        (Some(Layer::Convolve { plus, .. }), Some(other)) if plus.is_none() => {
                            *plus = Some(other);
                        }
                        _ => layers.push(Layer::Add {
                            a,
                            b,
                            is_positive: false,
                        }),
                    }
                }
                "Resize" => {
                    let scales = constants.get(name(2)).map(|t| &*t.values);
                    let is_doubling = scales == Some(&[1.0, 1.0, 2.0, 2.0])
                        && node.text("mode") == "nearest"
                        && node.text("nearest_mode") == "floor"
                        && node.text("coordinate_transformation_mode") == "asymmetric";
                    if !is_doubling {
                        return Err("a Resize that does not double every pixel".to_owned());
                    }
                    layers.push(Layer::Double { from: at(0)? });
                }
                other => return Err(format!("the operation '{other}' is not known")),
            }
            let [result] = &node.outputs[..] else {
                return Err("a layer with other than one output".to_owned());
            };
            planes.insert(result, layers.len());
        }
        if planes.get(&**output) != Some(&layers.len()) {
            return Err("the output is not what the last layer gives".to_owned());
        }
        let Some(Layer::Convolve {
            from: 0,
            layer: first,
            ..
        }) = layers.first()
        else {
            return Err("the first layer is no convolution of the input".to_owned());
        };
        let channels = first.inputs;
        let mut borders = vec![(0, 0); layers.len() + 1];
        let mut last_uses = vec![0; layers.len() + 1];
        for (i, layer) in layers.iter().enumerate() {
            for from in layer.inputs() {
                last_uses[from] = i;
            }
            if let Layer::Convolve { from, layer, .. } = layer {
                let border = &mut borders[*from];
                *border = (border.0.max(layer.pad.0), border.1.max(layer.pad.1));
            }
        }
        Ok(Self {
            layers,
            channels,
            borders,
            last_uses,
            spares: Mutex::default(),
        })
    }

    /// Input and output `1 x channels x rows x columns`.
    pub fn run(&self, input: &Array4<f32>) -> Result<Array4<f32>, Fault> {
        let (count, channels, rows, columns) = input.dim();
        if count != 1 || channels != self.channels {
            return Err(format!("an input of {count} x {channels} planes"));
        }
        let mut spares =
            std::mem::take(&mut *self.spares.lock().unwrap_or_else(|e| e.into_inner()));
        let mut first = Planes::first(
            (rows, columns, channels),
            self.borders[0],
            largest_of(&mut spares),
        );
        for (row, values) in input.axis_iter(Axis(2)).enumerate() {
            let stride = first.stride;
            let line = first.row_mut(row);
            for (channel, values) in values.lanes(Axis(2)).into_iter().enumerate() {
                let line = line[channel..].iter_mut().step_by(stride);
                for (to, from) in line.zip(values) {
                    *to = *from;
                }
            }
        }
        let mut planes: Vec<Option<Planes>> = vec![Some(first)];
        for (i, layer) in self.layers.iter().enumerate() {
            let result = {
                let of = |at: usize| planes[at].as_ref().expect("kept until its last use");
                layer_of(layer, of, self.borders[i + 1], &mut spares)?
            };
            for from in layer.inputs() {
                if self.last_uses[from] == i {
                    spares.extend(planes[from].take().map(|planes| planes.values));
                }
            }
            planes.push(Some(result));
        }
        let last = planes.pop().flatten().expect("the last layer's");
        let mut output = Array4::zeros((1, last.channels, last.rows, last.columns));
        for (row, mut values) in output.axis_iter_mut(Axis(2)).enumerate() {
            let line = last.row(row);
            for (channel, values) in values.lanes_mut(Axis(2)).into_iter().enumerate() {
                let line = line[channel..].iter().step_by(last.stride);
                for (to, from) in values.into_iter().zip(line) {
                    *to = *from;
                }
            }
        }
        spares.push(last.values);
        spares.retain(|values| values.capacity() <= MOST_SPARE_VALUES);
        let mut kept = self.spares.lock().unwrap_or_else(|e| e.into_inner());
        spares.truncate(MOST_SPARES - kept.len());
        kept.append(&mut spares);
        Ok(output)
    }
}

/// The largest of some memory, which is taken out.
fn largest_of(spares: &mut Vec<Vec<f32>>) -> Vec<f32> {
    let largest = (0..spares.len()).max_by_key(|&i| spares[i].len());
    largest.map_or_else(Vec::new, |i| spares.swap_remove(i))
}

/// What a layer gives, in memory from `spares`.
fn layer_of<'a>(
    layer: &Layer,
    of: impl Fn(usize) -> &'a Planes,
    border: (usize, usize),
    spares: &mut Vec<Vec<f32>>,
) -> Result<Planes, Fault> {
    let memory = largest_of(spares);
    match layer {
        Layer::Convolve {
            from,
            layer,
            points,
            plus,
        } => {
            let input = of(*from);
            let size = layer
                .size_of(input)
                .filter(|_| input.channels == layer.inputs);
            let size = size.ok_or("an input that is too small, or of other planes")?;
            let mut output = Planes::new(size, border, memory);
            let plus = plus.map(of);
            if plus.is_some_and(|plus| plus.size() != size) {
                return Err("planes of different sizes".to_owned());
            }
            let work = Work {
                layer,
                input,
                plus,
                output: &mut output,
            };
            match points.as_ref().filter(|_| winograd::suits(size.0, size.1)) {
                Some(points) => {
                    let memory = [(); 2].map(|()| largest_of(spares));
                    spares.extend(winograd::run(work, points, memory));
                }
                None => direct::run(work),
            }
            Ok(output)
        }
        Layer::Double { from } => {
            let input = of(*from);
            let (rows, columns, channels) = input.size();
            let mut output = Planes::new((2 * rows, 2 * columns, channels), border, memory);
            let stride = input.stride;
            for row in 0..2 * rows {
                let pixels = input.row(row / 2).chunks_exact(stride);
                for (to, from) in output.row_mut(row).chunks_exact_mut(2 * stride).zip(pixels) {
                    to[..stride].copy_from_slice(from);
                    to[stride..].copy_from_slice(from);
                }
            }
            Ok(output)
        }
        Layer::Add { a, b, is_positive } => {
            let (a, b) = (of(*a), of(*b));
            if a.size() != b.size() {
                return Err("planes of different sizes".to_owned());
            }
            let mut output = Planes::new(a.size(), border, memory);
            let least = if *is_positive { 0.0 } else { f32::MIN };
            for row in 0..a.rows {
                let values = a.row(row).iter().zip(b.row(row));
                for (sum, (a, b)) in output.row_mut(row).iter_mut().zip(values) {
                    *sum = (a + b).max(least);
                }
            }
            Ok(output)
        }
    }
}
