//! A model file, as far as our networks need it: layers and their weights, in the format of
//! ONNX (github.com/onnx/onnx, `onnx.proto`: protocol buffers, whose encoding is at
//! protobuf.dev/programming-guides/encoding).

/// Why a model file cannot be used, in a few words.
pub(super) type Fault = String;

/// One layer: an operation and the names of what goes in and comes out.
#[derive(Debug, Default)]
pub(super) struct Node {
    pub operation: String,
    pub inputs: Vec<String>,
    pub outputs: Vec<String>,
    pub attributes: Vec<Attribute>,
}

impl Node {
    /// Whole numbers that an attribute holds; empty without it.
    pub fn numbers(&self, name: &str) -> &[i64] {
        self.attribute(name).map_or(&[], |a| &a.numbers)
    }

    /// An attribute's text; empty without it.
    pub fn text(&self, name: &str) -> &str {
        self.attribute(name).map_or("", |a| &a.text)
    }

    /// An attribute's tensor.
    pub fn tensor(&self, name: &str) -> Option<&Tensor> {
        self.attribute(name)?.tensor.as_ref()
    }

    fn attribute(&self, name: &str) -> Option<&Attribute> {
        self.attributes.iter().find(|a| a.name == name)
    }
}

#[derive(Debug, Default)]
pub(super) struct Attribute {
    name: String,
    numbers: Vec<i64>,
    text: String,
    tensor: Option<Tensor>,
}

/// Numbers that belong to the model.
#[derive(Debug, Default)]
pub(super) struct Tensor {
    pub name: String,
    /// Length along each axis.
    pub shape: Vec<usize>,
    pub values: Vec<f32>,
}

/// Layers in the order in which they run.
#[derive(Debug, Default)]
pub(super) struct Graph {
    pub nodes: Vec<Node>,
    pub weights: Vec<Tensor>,
    /// Names of what the user gives (weights are not among them) and gets.
    pub inputs: Vec<String>,
    pub outputs: Vec<String>,
}

/// Reads a model file.
pub(super) fn parse(bytes: &[u8]) -> Result<Graph, Fault> {
    let mut graph = Graph::default();
    for field in Fields(bytes) {
        if let (7, Value::Bytes(bytes)) = field? {
            for field in Fields(bytes) {
                match field? {
                    (1, Value::Bytes(node)) => graph.nodes.push(parse_node(node)?),
                    (5, Value::Bytes(tensor)) => graph.weights.push(parse_tensor(tensor)?),
                    (11, Value::Bytes(info)) => graph.inputs.push(name_of(info)?),
                    (12, Value::Bytes(info)) => graph.outputs.push(name_of(info)?),
                    _ => {}
                }
            }
        }
    }
    let weights = &graph.weights;
    graph
        .inputs
        .retain(|input| weights.iter().all(|w| w.name != *input));
    Ok(graph)
}

fn parse_node(bytes: &[u8]) -> Result<Node, Fault> {
    let mut node = Node::default();
    for field in Fields(bytes) {
        match field? {
            (1, Value::Bytes(name)) => node.inputs.push(text(name)),
            (2, Value::Bytes(name)) => node.outputs.push(text(name)),
            (4, Value::Bytes(name)) => node.operation = text(name),
            (5, Value::Bytes(attribute)) => node.attributes.push(parse_attribute(attribute)?),
            _ => {}
        }
    }
    Ok(node)
}

fn parse_attribute(bytes: &[u8]) -> Result<Attribute, Fault> {
    let mut attribute = Attribute::default();
    for field in Fields(bytes) {
        match field? {
            (1, Value::Bytes(name)) => attribute.name = text(name),
            (3 | 8, Value::Number(number)) => attribute.numbers.push(number.cast_signed()),
            (8, Value::Bytes(packed)) => attribute.numbers.extend(packed_numbers(packed)?),
            (4, Value::Bytes(value)) => attribute.text = text(value),
            (5, Value::Bytes(tensor)) => attribute.tensor = Some(parse_tensor(tensor)?),
            _ => {}
        }
    }
    Ok(attribute)
}

/// Data type of 32-bit floats.
const FLOAT: u64 = 1;

fn parse_tensor(bytes: &[u8]) -> Result<Tensor, Fault> {
    let (mut tensor, mut kind) = (Tensor::default(), 0);
    let mut shape: Vec<i64> = Vec::new();
    for field in Fields(bytes) {
        match field? {
            (1, Value::Number(length)) => shape.push(length.cast_signed()),
            (1, Value::Bytes(packed)) => shape.extend(packed_numbers(packed)?),
            (2, Value::Number(number)) => kind = number,
            (8, Value::Bytes(name)) => tensor.name = text(name),
            (4 | 9, Value::Bytes(raw)) => {
                tensor.values = raw
                    .as_chunks::<4>()
                    .0
                    .iter()
                    .map(|four| f32::from_le_bytes(*four))
                    .collect();
            }
            _ => {}
        }
    }
    let lengths = shape.into_iter().map(usize::try_from);
    tensor.shape = lengths
        .collect::<Result<_, _>>()
        .map_err(|_| "a tensor of negative size".to_owned())?;
    if kind != FLOAT || tensor.values.len() != tensor.shape.iter().product::<usize>() {
        return Err(format!("'{}' is no whole tensor of floats", tensor.name));
    }
    Ok(tensor)
}

/// The name of an input or output.
fn name_of(bytes: &[u8]) -> Result<String, Fault> {
    for field in Fields(bytes) {
        if let (1, Value::Bytes(name)) = field? {
            return Ok(text(name));
        }
    }
    Ok(String::new())
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn packed_numbers(mut bytes: &[u8]) -> Result<Vec<i64>, Fault> {
    let mut numbers = Vec::new();
    while !bytes.is_empty() {
        numbers.push(varint(&mut bytes)?.cast_signed());
    }
    Ok(numbers)
}

enum Value<'a> {
    Number(u64),
    Bytes(&'a [u8]),
    /// Floats and doubles, which nothing here needs.
    Other,
}

/// The fields of a protocol buffer, with their numbers.
struct Fields<'a>(&'a [u8]);

impl<'a> Fields<'a> {
    fn field(&mut self) -> Result<(u64, Value<'a>), Fault> {
        let tag = varint(&mut self.0)?;
        let value = match tag & 7 {
            0 => Value::Number(varint(&mut self.0)?),
            1 => take(&mut self.0, 8).map(|_| Value::Other)?,
            2 => {
                let length = varint(&mut self.0)?;
                let length = usize::try_from(length).map_err(|_| cut_off())?;
                Value::Bytes(take(&mut self.0, length)?)
            }
            5 => take(&mut self.0, 4).map(|_| Value::Other)?,
            kind => return Err(format!("a field of unknown kind {kind}")),
        };
        Ok((tag >> 3, value))
    }
}

impl<'a> Iterator for Fields<'a> {
    type Item = Result<(u64, Value<'a>), Fault>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.0.is_empty() {
            return None;
        }
        let field = self.field();
        if field.is_err() {
            self.0 = &[];
        }
        Some(field)
    }
}

fn varint(bytes: &mut &[u8]) -> Result<u64, Fault> {
    let mut number = 0;
    for shift in (0..64).step_by(7) {
        let byte = take(bytes, 1)?[0];
        number |= u64::from(byte & 0x7f) << shift;
        if byte & 0x80 == 0 {
            return Ok(number);
        }
    }
    Err("a number of too many bytes".to_owned())
}

fn take<'a>(bytes: &mut &'a [u8], count: usize) -> Result<&'a [u8], Fault> {
    let (taken, rest) = bytes.split_at_checked(count).ok_or_else(cut_off)?;
    *bytes = rest;
    Ok(taken)
}

fn cut_off() -> Fault {
    "it ends in the middle of a field".to_owned()
}
