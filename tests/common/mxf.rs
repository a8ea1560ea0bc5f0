//! Fields of MXF files that FFmpeg writes but does not let us set (SMPTE ST 336, ST 377-1).

use std::path::Path;

/// Last bytes of the keys of sets.
pub const SHOWN_PACKAGE: u8 = 0x36;
pub const STORED_PACKAGE: u8 = 0x37;
pub const SEQUENCE: u8 = 0x0F;
pub const CLIP: u8 = 0x11;
pub const TIMECODE: u8 = 0x14;
pub const TRACK: u8 = 0x3B;

/// Local tags.
pub const LENGTH: u16 = 0x0202;
pub const POSITION: u16 = 0x1201;
pub const BASE: u16 = 0x1502;
pub const EDIT_RATE: u16 = 0x4B01;
pub const ORIGIN: u16 = 0x4B02;

/// Hands every field of every set to `change`: the package that it stands behind, the set, the
/// tag, the value.
pub fn edit(file: &Path, mut change: impl FnMut(u8, u8, u16, &mut [u8])) {
    let mut bytes = std::fs::read(file).unwrap();
    let (mut at, mut package) = (0, 0);
    while at + 17 <= bytes.len() {
        let kind = bytes[at + 14];
        let is_set = bytes[at + 4..at + 6] == [2, 0x53];
        let first = usize::from(bytes[at + 16]);
        let (head_len, len) = if first < 0x80 {
            (17, first)
        } else {
            let count = first & 0x7F;
            let long = &bytes[at + 17..at + 17 + count];
            let len = long.iter().fold(0, |sum, b| sum << 8 | usize::from(*b));
            (17 + count, len)
        };
        let end = at + head_len + len;
        let mut field = at + head_len;
        at = end;
        if !is_set {
            continue;
        }
        if [SHOWN_PACKAGE, STORED_PACKAGE].contains(&kind) {
            package = kind;
        }
        while field + 4 <= end {
            let two = |at: usize| u16::from_be_bytes([bytes[at], bytes[at + 1]]);
            let (tag, len) = (two(field), usize::from(two(field + 2)));
            change(package, kind, tag, &mut bytes[field + 4..field + 4 + len]);
            field += 4 + len;
        }
    }
    std::fs::write(file, bytes).unwrap();
}

/// The package that is shown leaves out so many of the pictures stored, at their head.
pub fn begin_at(file: &Path, position: i64, pictures: i64) {
    edit(file, |package, set, tag, value| {
        if package != SHOWN_PACKAGE {
            return;
        }
        match (set, tag) {
            (CLIP, POSITION) => value.copy_from_slice(&position.to_be_bytes()),
            (CLIP | SEQUENCE | TIMECODE, LENGTH) => {
                value.copy_from_slice(&(pictures - position).max(1).to_be_bytes());
            }
            _ => {}
        }
    });
}

/// The zero of stored tracks lies so many pictures behind their first.
pub fn set_origin(file: &Path, origin: i64) {
    edit(file, |package, set, tag, value| {
        if (package, set, tag) == (STORED_PACKAGE, TRACK, ORIGIN) {
            value.copy_from_slice(&origin.to_be_bytes());
        }
    });
}
