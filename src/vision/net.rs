//! The trained networks behind a small trait, so that tests can use fakes.

mod direct;
mod lanes;
mod model;
mod planes;
mod winograd;

use self::planes::Network;
use crate::digest::hex;
use crate::error::{Error, ErrorKind, Result};
use ndarray::Array4;
use sha2::{Digest, Sha256};

/// Where are lines of digits; see `models/manifest.json`.
const FINDER_ONNX: &[u8] = include_bytes!("../../models/finder.onnx");
/// Which character stands in each column of a strip; see `models/manifest.json`.
const READER_ONNX: &[u8] = include_bytes!("../../models/reader.onnx");
/// Where AM or PM is written around a clock; see `models/manifest.json`.
const HALF_DAY_ONNX: &[u8] = include_bytes!("../../models/half_day.onnx");

/// SHA-256 over all model files, hexadecimal: names the eyes that read a clip.
pub fn model_hash() -> String {
    let digest = Sha256::new()
        .chain_update(FINDER_ONNX)
        .chain_update(READER_ONNX)
        .chain_update(HALF_DAY_ONNX)
        .finalize();
    hex(&digest)
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
    Ok(Box::new(ModelNet::load("finder", FINDER_ONNX)?))
}

/// Loads the reader: input a normalised strip 32 px high; output 20 planes of one row at
/// half of the width.
pub(super) fn reader() -> Result<Box<dyn Net>> {
    Ok(Box::new(ModelNet::load("reader", READER_ONNX)?))
}

/// Loads the network that finds AM and PM: input luma / 127.5 - 1 of a picture whose sides are
/// multiples of 16, each block of 4 x 4 px as 16 planes, row by row; output one plane at an eighth
/// of the picture's size.
pub(super) fn half_day() -> Result<Box<dyn Net>> {
    Ok(Box::new(ModelNet::load("half_day", HALF_DAY_ONNX)?))
}

/// A network of a model file.
struct ModelNet {
    name: &'static str,
    network: Network,
}

impl ModelNet {
    fn load(name: &'static str, bytes: &[u8]) -> Result<Self> {
        let network = model::parse(bytes).and_then(|graph| Network::new(&graph));
        Ok(Self {
            name,
            network: network.map_err(|fault| broken(name, fault))?,
        })
    }
}

impl Net for ModelNet {
    fn run(&self, input: Array4<f32>) -> Result<Array4<f32>> {
        let output = self.network.run(&input);
        output.map_err(|fault| broken(self.name, fault))
    }
}

fn broken(name: &str, fault: String) -> Error {
    Error::new(
        ErrorKind::Model,
        format!("the built-in network '{name}' does not run"),
    )
    .because(fault)
    .next("this build is broken: install it again or report it with this message")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::digest;

    #[test]
    fn the_manifest_describes_the_networks_that_are_built_in() {
        let manifest = include_str!("../../models/manifest.json");
        let manifest: serde_json::Value = serde_json::from_str(manifest).unwrap();
        for (name, bytes) in [
            ("finder", FINDER_ONNX),
            ("reader", READER_ONNX),
            ("half_day", HALF_DAY_ONNX),
        ] {
            let digest = digest::sha256(bytes);
            assert_eq!(manifest["networks"][name]["sha256"], digest, "{name}");
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
        let out = half_day()
            .unwrap()
            .run(Array4::zeros((1, 16, 16, 24)))
            .unwrap();
        assert_eq!(out.dim(), (1, 1, 8, 12));
    }

    /// What tract, which we did not write, makes of the same.
    fn by_tract(mut bytes: &[u8], input: &Array4<f32>) -> Array4<f32> {
        use tract_onnx::prelude::*;
        let (_, planes, h, w) = input.dim();
        let plan = tract_onnx::onnx()
            .model_for_read(&mut bytes)
            .and_then(|model| model.with_input_fact(0, f32::fact([1, planes, h, w]).into()))
            .and_then(|model| model.into_optimized())
            .and_then(|model| model.into_runnable())
            .unwrap();
        let outputs = plan.run(tvec!(Tensor::from(input.clone()).into())).unwrap();
        let view = outputs[0].to_plain_array_view::<f32>().unwrap();
        view.to_owned().into_dimensionality().unwrap()
    }

    #[test]
    fn the_networks_answer_as_another_implementation_has_it() {
        for (name, bytes, planes, sizes) in [
            ("finder", FINDER_ONNX, 16, [(8, 8), (24, 40), (136, 72)]),
            ("reader", READER_ONNX, 1, [(32, 64), (32, 192), (32, 320)]),
            ("half_day", HALF_DAY_ONNX, 16, [(8, 8), (24, 40), (56, 136)]),
        ] {
            let net = ModelNet::load(name, bytes).unwrap();
            for (h, w) in sizes {
                // Edges and stripes of all widths.
                let input = Array4::from_shape_fn((1, planes, h, w), |(_, c, y, x)| {
                    ((x * x + 3 * y * c + 7 * y) % 41) as f32 / 20.0 - 1.0
                });
                let (own, other) = (net.run(input.clone()).unwrap(), by_tract(bytes, &input));
                assert_eq!(own.dim(), other.dim(), "{name} {h} x {w}");
                for (a, b) in own.iter().zip(&other) {
                    assert!(
                        (a - b).abs() <= 2e-4 * (1.0 + b.abs()),
                        "{name}: {a}, not {b}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_model_that_is_cut_off_or_asks_for_more_is_refused() {
        for length in [0, 1, 100, READER_ONNX.len() - 1] {
            assert!(ModelNet::load("reader", &READER_ONNX[..length]).is_err());
        }
        let renamed: Vec<u8> = {
            // Field 4 of a node, four bytes long.
            let at = READER_ONNX
                .windows(6)
                .position(|six| six == b"\x22\x04Relu");
            let mut bytes = READER_ONNX.to_vec();
            bytes[at.unwrap() + 2] = b'P';
            bytes
        };
        let Err(error) = ModelNet::load("reader", &renamed) else {
            panic!("an unknown layer was taken");
        };
        assert!(error.to_string().contains("Pelu"), "{error}");
    }
}
