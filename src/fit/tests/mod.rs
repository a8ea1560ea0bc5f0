//! Tests of the fit over simulated readings.

mod carry;
mod cases;
mod checks;
mod doubts;
mod excused;
mod facing;
mod held;
mod laws;
mod minutes;
mod odd;
mod panels;
mod proven;
mod reasons;
mod shape;
mod sim;
mod unruly;
mod windows;
