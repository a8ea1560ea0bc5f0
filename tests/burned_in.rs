//! The program, end to end, on clips with a clock burned in: every count is
//! known exactly, so every start label must be exactly right.

mod common;

#[path = "burned_in/files.rs"]
mod files;
#[path = "burned_in/frame_zero.rs"]
mod frame_zero;
#[path = "burned_in/looking.rs"]
mod looking;
#[path = "burned_in/no_clock.rs"]
mod no_clock;
#[path = "burned_in/pictures.rs"]
mod pictures;
#[path = "burned_in/rates.rs"]
mod rates;
#[path = "burned_in/rows.rs"]
mod rows;
#[path = "burned_in/segments.rs"]
mod segments;

use common::program::{Said, read};
use common::{BurnedIn, FONT, H264, Shelf};

const TEN: &str = "10:00:00:00";

/// Makes the clip as plain H.264 in MP4, and reads it.
fn read_burned_in(clock: &BurnedIn) -> Said {
    let shelf = Shelf::new();
    read(&shelf.clip("clip.mp4", clock, H264))
}

/// Reads clips of clocks that start at these labels, and names all that fail.
fn must_all_be_read(clocks: &[(&'static str, &'static str, &str)]) {
    for &(label, rate, shown) in clocks {
        let said = read_burned_in(&BurnedIn::new(label, rate));
        said.must_be_sure_of(shown);
        said.must_run_at(&rational(rate));
    }
}

/// `25` as `25/1`.
fn rational(rate: &str) -> String {
    match rate.contains('/') {
        true => rate.to_owned(),
        false => format!("{rate}/1"),
    }
}

/// FFmpeg's filter that draws what `source` says, its upper left corner at `at`.
fn draw(source: &str, font_px: u32, ink: &str, (x, y): (i32, i32)) -> String {
    format!("drawtext=fontfile={FONT}:{source}:fontsize={font_px}:fontcolor={ink}:x={x}:y={y}")
}
