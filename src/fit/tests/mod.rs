//! Tests of the fit over simulated readings.

mod cases;
mod doubts;
mod laws;
mod sim;
mod windows;
