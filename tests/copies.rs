//! Copies with a timecode track, of real files made by the `ffmpeg` program.
//! `ffprobe`, `ffmpeg` and a reader of boxes of our own (`copies/boxes.rs`) are
//! the second opinions; none of them shares code with what is tested.

#[path = "copies/boxes.rs"]
mod boxes;
#[allow(dead_code, reason = "the tests of the media layer use the rest")]
#[path = "media/clips.rs"]
mod clips;
#[path = "copies/kept.rs"]
mod kept;
#[path = "copies/labels.rs"]
mod labels;
#[allow(dead_code, reason = "other tests use the rest")]
#[path = "common/movie.rs"]
mod movie;
#[allow(dead_code, reason = "the tests of the media layer use the rest")]
#[path = "common/mxf.rs"]
mod mxf;
#[path = "copies/playable.rs"]
mod playable;
#[path = "copies/rewrapped.rs"]
mod rewrapped;
#[path = "copies/safety.rs"]
mod safety;
#[path = "copies/second.rs"]
mod second;

use clips::Workshop;
use rollmark::media::{self, CopiedStream, CopyReport, CopyTimecode};
use rollmark::progress::Deaf;
use rollmark::timecode::Rate;
use std::path::{Path, PathBuf};

/// Two seconds of FFmpeg's test picture at 25 frames per second, with a tone.
const SOURCE: &str = "testsrc=s=160x90:r=25:d=2 -f lavfi -i sine=d=2:r=48000";

const H264: &str = "-c:v libx264 -bf 2 -g 12 -pix_fmt yuv420p";

fn timecode(rate: Rate, label: &str) -> CopyTimecode {
    CopyTimecode::from_label(rate, label.contains(';'), label).expect("a legal label")
}

fn ten_hours() -> CopyTimecode {
    timecode(Rate::F25, "10:00:00:00")
}

fn copied(source: &Path, target: &Path, start: &CopyTimecode) -> CopyReport {
    let report = media::copy_with_timecode(source, target, start, &mut Deaf);
    report
        .unwrap_or_else(|e| panic!("{e}"))
        .expect("nobody said stop")
}

fn is_equal(stream: &CopiedStream) -> bool {
    stream.source.sha256 == stream.copy.sha256
}

/// Copies within the workshop under the name that the copy is to have.
fn copy(shop: &Workshop, source: &Path, start: &CopyTimecode) -> (PathBuf, CopyReport) {
    let name = media::copied_name(source).unwrap_or_else(|e| panic!("{e}"));
    let target = shop.path("copies").join(name);
    let report = copied(source, &target, start);
    (target, report)
}
