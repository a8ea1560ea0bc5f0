//! The trained networks behind a small trait, so that tests can use fakes.

use crate::error::{Error, ErrorKind, Result};
use ndarray::{Array4, ArrayView4};
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::fmt::Write as _;
use std::sync::{Arc, Mutex};
use tract_onnx::prelude::*;
use tract_onnx::tract_core::knobs::KnobScope;

/// Where are lines of digits; see `models/manifest.json`.
const FINDER_ONNX: &[u8] = include_bytes!("../../models/finder.onnx");
/// Which character stands in each column of a strip; see `models/manifest.json`.
const READER_ONNX: &[u8] = include_bytes!("../../models/reader.onnx");

/// SHA-256 over both model files, hexadecimal: names the eyes that read a clip.
pub fn model_hash() -> String {
    let digest = Sha256::new()
        .chain_update(FINDER_ONNX)
        .chain_update(READER_ONNX)
        .finalize();
    let mut text = String::with_capacity(64);
    for byte in digest {
        write!(text, "{byte:02x}").expect("writing to a string cannot fail");
    }
    text
}

/// A network from planes to planes. Input `1 x B x H x W`, output `1 x C x h x w`, both f32;
/// the value ranges are each network's own.
pub(super) trait Net: Send + Sync {
    fn run(&self, input: Array4<f32>) -> Result<Array4<f32>>;
}

/// Loads the finder: input luma / 127.5 - 1 of a picture whose sides are multiples of 32, each
/// block of 4 x 4 px as 16 planes, row by row; output 28 planes at an eighth of the picture's
/// size: 7 values for each of the 2 x 2 cells of 4 px.
pub(super) fn finder() -> Result<Box<dyn Net>> {
    Ok(Box::new(OnnxNet::load("finder", FINDER_ONNX, &[])?))
}

/// Loads the reader: input a normalised strip 32 px high; output 20 planes of one row at
/// half of the width.
pub(super) fn reader() -> Result<Box<dyn Net>> {
    Ok(Box::new(OnnxNet::load("reader", READER_ONNX, BY_PRODUCTS)?))
}

/// Has tract run narrow 3 x 3 convolutions as matrix products: its own way for them takes 0.75
/// of the reader's 1.85 ms where products take 0.3 (a strip 256 px wide). In the finder, whose
/// maps are large, it is the other way round: 28 against 31 ms.
const BY_PRODUCTS: &[(&str, &str)] = &[("TRACT_DISABLE_DIRECT_SPATIAL", "true")];

type Plan = Arc<TypedRunnableModel>;

/// A network with one optimised plan per input size: tract runs fixed shapes fastest.
struct OnnxNet {
    name: &'static str,
    model: InferenceModel,
    /// What tract is told for this network while it plans.
    knobs: KnobScope,
    plans: Mutex<HashMap<(usize, usize, usize), Plan>>,
}

impl OnnxNet {
    fn load(name: &'static str, mut bytes: &'static [u8], knobs: &[(&str, &str)]) -> Result<Self> {
        let model = tract_onnx::onnx()
            .model_for_read(&mut bytes)
            .map_err(|e| broken(name, e))?;
        Ok(Self {
            name,
            model,
            knobs: KnobScope::new(knobs.iter().copied()).map_err(|e| broken(name, e))?,
            plans: Mutex::new(HashMap::new()),
        })
    }

    fn plan(&self, planes: usize, h: usize, w: usize) -> Result<Plan> {
        let mut plans = self.plans.lock().unwrap_or_else(|e| e.into_inner());
        if let Some(plan) = plans.get(&(planes, h, w)) {
            return Ok(plan.clone());
        }
        let model = self.model.clone();
        let plan = self
            .knobs
            .enter(|| {
                model
                    .with_input_fact(0, f32::fact([1, planes, h, w]).into())?
                    .into_optimized()?
                    .into_runnable()
            })
            .map_err(|e| broken(self.name, e))?;
        plans.insert((planes, h, w), plan.clone());
        Ok(plan)
    }
}

impl Net for OnnxNet {
    fn run(&self, input: Array4<f32>) -> Result<Array4<f32>> {
        let (_, planes, h, w) = input.dim();
        let outputs = self
            .plan(planes, h, w)?
            .run(tvec!(Tensor::from(input).into()))
            .map_err(|e| broken(self.name, e))?;
        let view: ArrayView4<f32> = outputs[0]
            .to_plain_array_view::<f32>()
            .and_then(|v| Ok(v.into_dimensionality()?))
            .map_err(|e| broken(self.name, e))?;
        Ok(view.to_owned())
    }
}

fn broken(name: &str, cause: TractError) -> Error {
    Error::new(
        ErrorKind::Model,
        format!("the built-in network '{name}' does not run"),
    )
    .because(cause.to_string())
    .next("this build is broken: install it again or report it with this message")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_manifest_describes_the_networks_that_are_built_in() {
        let manifest = include_str!("../../models/manifest.json");
        let manifest: serde_json::Value = serde_json::from_str(manifest).unwrap();
        for (name, bytes) in [("finder", FINDER_ONNX), ("reader", READER_ONNX)] {
            let digest: String = Sha256::digest(bytes)
                .iter()
                .map(|b| format!("{b:02x}"))
                .collect();
            assert_eq!(
                manifest["networks"][name]["sha256"],
                digest.as_str(),
                "{name}"
            );
        }
        let training = manifest["networks"]["reader"]["training"]
            .as_array()
            .unwrap();
        let temperature = training.last().unwrap()["digit_temperature"]
            .as_f64()
            .unwrap();
        approx::assert_relative_eq!(
            f64::from(super::super::read::DIGIT_TEMPERATURE),
            temperature,
            epsilon = 1e-6
        );
    }

    #[test]
    fn the_networks_load_and_answer_in_the_shapes_that_are_promised() {
        let out = finder()
            .unwrap()
            .run(Array4::zeros((1, 16, 16, 24)))
            .unwrap();
        assert_eq!(out.dim(), (1, 28, 8, 12));
        let out = reader()
            .unwrap()
            .run(Array4::zeros((1, 1, 32, 128)))
            .unwrap();
        assert_eq!(out.dim(), (1, 20, 1, 64));
    }
}
