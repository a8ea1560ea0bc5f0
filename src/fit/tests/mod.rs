//! Tests of the fit over simulated readings.

mod bench;
mod cases;
mod laws;
mod sim;
mod windows;
