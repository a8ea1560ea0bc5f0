//! Bytes of a QuickTime or MP4 file (ISO/IEC 14496-12) that FFmpeg's command
//! line cannot set.

use std::path::Path;

/// Track matrices that turn the picture clockwise when shown, for a coded
/// picture of `width` by `height` pixels: `{a, b, u, c, d, v, x, y, w}`.
pub fn turn_clockwise(degrees: u16, width: i32, height: i32) -> [i32; 9] {
    const ONE: i32 = 1 << 16;
    const W: i32 = 1 << 30;
    let (x, y) = (width * ONE, height * ONE);
    match degrees {
        90 => [0, ONE, 0, -ONE, 0, 0, y, 0, W],
        180 => [-ONE, 0, 0, 0, -ONE, 0, x, y, W],
        270 => [0, -ONE, 0, ONE, 0, 0, 0, x, W],
        _ => panic!("no quarter turn: {degrees}"),
    }
}

/// Replaces the matrix of the first track's header.
pub fn set_matrix(path: &Path, matrix: [i32; 9]) {
    let mut bytes = std::fs::read(path).unwrap();
    let whole = 0..bytes.len();
    let movie = find_box(&bytes, whole, b"moov").expect("a movie box");
    let track = find_box(&bytes, movie, b"trak").expect("a track");
    let header = find_box(&bytes, track, b"tkhd").expect("a track header");
    // Version and flags, four times and numbers, eight reserved bytes, layer,
    // group, volume, reserved; times are twice as long in version 1.
    let version = bytes[header.start];
    let at = header.start + if version == 0 { 40 } else { 52 };
    for (field, value) in bytes[at..at + 36].chunks_exact_mut(4).zip(matrix) {
        field.copy_from_slice(&value.to_be_bytes());
    }
    std::fs::write(path, bytes).unwrap();
}

/// The body of the first box of that kind directly inside `range`.
fn find_box(
    bytes: &[u8],
    range: std::ops::Range<usize>,
    kind: &[u8; 4],
) -> Option<std::ops::Range<usize>> {
    let mut at = range.start;
    while at + 8 <= range.end {
        let length = u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
        // The clips made here are far too small for 64-bit lengths.
        let end = at + usize::try_from(length).unwrap();
        assert!(length >= 8 && end <= range.end, "a broken box at {at}");
        if &bytes[at + 4..at + 8] == kind {
            return Some(at + 8..end);
        }
        at = end;
    }
    None
}

/// Writes the first `percent` of a file under another name.
pub fn cut(from: &Path, to: &Path, percent: usize) {
    let bytes = std::fs::read(from).unwrap();
    std::fs::write(to, &bytes[..bytes.len() * percent / 100]).unwrap();
}
