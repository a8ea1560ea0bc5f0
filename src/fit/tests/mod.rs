//! Tests of the fit over simulated readings.

mod carry;
mod cases;
mod checks;
mod doubts;
mod drop_frame;
mod excused;
mod facing;
mod given;
mod held;
mod laws;
mod minutes;
mod no_clock;
mod odd;
mod panels;
mod proven;
mod reasons;
mod shape;
mod sim;
mod speeds;
mod unruly;
mod windows;
