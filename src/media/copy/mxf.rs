//! The start timecode of an MXF file, set in its place: every MXF file has a
//! timecode track, whose start, base and drop-frame flag are fields of fixed
//! length (SMPTE ST 377-1, annex B, 'Timecode Component').

use super::{CopyTimecode, cannot_write};
use crate::error::{Error, ErrorKind, Result};
use crate::timecode::{ClockForm, Rate};
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};

/// What each key of the standard begins with, and the version byte that readers
/// must not look at (ST 377-1, 7.1; ST 336).
const VERSION_AT: usize = 7;
const PARTITION: [u8; 13] = [
    0x06, 0x0E, 0x2B, 0x34, 0x02, 0x05, 0x01, 0x01, 0x0D, 0x01, 0x02, 0x01, 0x01,
];
const TIMECODE_COMPONENT: [u8; 16] = [
    0x06, 0x0E, 0x2B, 0x34, 0x02, 0x53, 0x01, 0x01, 0x0D, 0x01, 0x01, 0x01, 0x01, 0x01, 0x14, 0x00,
];
/// System items, which may repeat a timecode for each picture (ST 385, ST 394).
const SYSTEM_ITEM: [u8; 14] = [
    0x06, 0x0E, 0x2B, 0x34, 0x02, 0x05, 0x01, 0x01, 0x0D, 0x01, 0x03, 0x01, 0x04, 0x01,
];

/// Local tags of the component.
const START: u16 = 0x1501;
const BASE: u16 = 0x1502;
const DROP_FRAME: u16 = 0x1503;

/// What may stand before the first partition, in bytes (ST 377-1, 6.5).
const LONGEST_RUN_IN: usize = 65_536;
/// A timecode component is about 75 bytes long.
const LONGEST_COMPONENT: u64 = 65_536;

/// What was replaced, and what was seen on the way.
#[derive(Debug, Default)]
pub(super) struct Patched {
    pub replaced: Vec<String>,
    pub has_system_items: bool,
}

/// Sets every timecode component of `file`, which is a copy and ours to change:
/// they lie in several packages, and packages are repeated in several partitions.
///
/// # Errors
/// [`ErrorKind::Undecodable`] if the end of the file cuts it off;
/// [`ErrorKind::BadRequest`] if it has no timecode component.
pub(super) fn patch(file: &mut File, timecode: &CopyTimecode) -> Result<Patched> {
    let file_len = file.metadata().map_err(cannot_write)?.len();
    let mut at = first_partition(file)
        .map_err(cannot_write)?
        .ok_or_else(not_whole)?;
    let mut patched = Patched::default();
    while at < file_len {
        let Some((key, body, len)) = packet(file, at).map_err(cannot_write)? else {
            return Err(not_whole());
        };
        if len > file_len - body.min(file_len) {
            return Err(Error::new(
                ErrorKind::Undecodable,
                "is cut off: its last packet is longer than the file",
            )
            .next("copy it from the card again; a new timecode would hide the damage"));
        }
        patched.has_system_items |= is_key(&key, &SYSTEM_ITEM);
        if is_key(&key, &TIMECODE_COMPONENT) && len <= LONGEST_COMPONENT {
            let mut set = vec![0; usize::try_from(len).expect("bounded")];
            file.seek(SeekFrom::Start(body))
                .and_then(|_| file.read_exact(&mut set))
                .map_err(cannot_write)?;
            let old = change(&mut set, timecode).ok_or_else(not_whole)?;
            patched.replaced.push(old);
            file.seek(SeekFrom::Start(body))
                .and_then(|_| file.write_all(&set))
                .map_err(cannot_write)?;
        }
        at = body + len;
    }
    if patched.replaced.is_empty() {
        return Err(Error::new(
            ErrorKind::BadRequest,
            "has no timecode track that could be set",
        )
        .next("wrap it anew with a program that writes complete MXF, or use another output"));
    }
    patched.replaced.sort();
    patched.replaced.dedup();
    Ok(patched)
}

/// True if a key begins as expected, whatever its version.
fn is_key(key: &[u8; 16], expected: &[u8]) -> bool {
    let pairs = key.iter().zip(expected).enumerate();
    pairs
        .into_iter()
        .all(|(at, (found, expected))| at == VERSION_AT || found == expected)
}

fn first_partition(file: &mut File) -> io::Result<Option<u64>> {
    let mut head = Vec::new();
    file.seek(SeekFrom::Start(0))?;
    file.take(LONGEST_RUN_IN as u64 + 16)
        .read_to_end(&mut head)?;
    let at = head
        .windows(PARTITION.len())
        .position(|window| window == PARTITION);
    Ok(at.map(|at| at as u64))
}

/// Key, place and length of the value of the packet at an offset; `None` if the
/// length makes no sense.
fn packet(file: &mut File, at: u64) -> io::Result<Option<([u8; 16], u64, u64)>> {
    let mut head = Vec::new();
    file.seek(SeekFrom::Start(at))?;
    file.take(25).read_to_end(&mut head)?;
    let (Some(key), Some(first)) = (head.first_chunk::<16>(), head.get(16)) else {
        return Ok(None);
    };
    // Below 128 the length itself, else how many bytes of length follow (ST 336, BER).
    let (size, len) = match first {
        short @ 0..0x80 => (1, u64::from(*short)),
        long => {
            let count = usize::from(long & 0x7F);
            let Some(bytes) = head.get(17..17 + count).filter(|_| count <= 8) else {
                return Ok(None);
            };
            (
                1 + count,
                bytes
                    .iter()
                    .fold(0, |sum, byte| sum << 8 | u64::from(*byte)),
            )
        }
    };
    let body = at + 16 + size as u64;
    Ok(body.checked_add(len).map(|_| (*key, body, len)))
}

/// Sets the fields of one component and tells what they said. `None` if one is
/// missing or has another length than the standard's.
fn change(set: &mut [u8], timecode: &CopyTimecode) -> Option<String> {
    let form = timecode.form();
    let base = u16::from(timecode.base());
    let old_base = u16::from_be_bytes(*field(set, BASE)?);
    let old_drop = field::<1>(set, DROP_FRAME)?[0] != 0;
    let start = field::<8>(set, START)?;
    let old_start = i64::from_be_bytes(*start);
    *start = timecode.count().to_be_bytes();
    *field(set, BASE)? = base.to_be_bytes();
    *field(set, DROP_FRAME)? = [u8::from(form.drop_frame())];
    let old_rate = if old_drop {
        Rate::new(u32::from(old_base) * 1000, 1001)
    } else {
        Rate::new(old_base.into(), 1)
    };
    let old_form = old_rate.and_then(|rate| ClockForm::frames(rate, old_drop).ok());
    Some(match old_form {
        Some(form) => format!("timecode track {}, base {old_base}", form.text(old_start)),
        None => "timecode track without a legible label".to_owned(),
    })
}

/// The value of a local tag that has `N` bytes.
fn field<const N: usize>(set: &mut [u8], tag: u16) -> Option<&mut [u8; N]> {
    let mut at = 0;
    loop {
        let head = set.get(at..at + 4)?;
        let found = u16::from_be_bytes([head[0], head[1]]);
        let len = usize::from(u16::from_be_bytes([head[2], head[3]]));
        at += 4;
        if found == tag && len == N {
            return set.get_mut(at..)?.first_chunk_mut();
        }
        at += len;
    }
}

fn not_whole() -> Error {
    Error::new(ErrorKind::Undecodable, "is no whole MXF file").next("copy it from the card again")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_component_is_set_and_says_what_it_said() {
        let mut set = vec![];
        for (tag, value) in [
            (0x3C0A_u16, &[9; 16][..]),
            (START, &107_892i64.to_be_bytes()),
            (BASE, &30u16.to_be_bytes()),
            (DROP_FRAME, &[1]),
        ] {
            set.extend(tag.to_be_bytes());
            set.extend((value.len() as u16).to_be_bytes());
            set.extend(value);
        }
        let timecode = CopyTimecode::new(Rate::F25, false, 1000).unwrap();
        let old = change(&mut set, &timecode);
        assert_eq!(old.as_deref(), Some("timecode track 01:00:00;00, base 30"));
        let old = change(&mut set, &timecode);
        assert_eq!(old.as_deref(), Some("timecode track 00:00:40:00, base 25"));
        set.truncate(set.len() - 1);
        assert_eq!(change(&mut set, &timecode), None);
    }

    #[test]
    fn versions_of_keys_are_not_looked_at() {
        let mut key = TIMECODE_COMPONENT;
        key[VERSION_AT] = 9;
        assert!(is_key(&key, &TIMECODE_COMPONENT));
        key[14] = 0x15;
        assert!(!is_key(&key, &TIMECODE_COMPONENT));
    }
}
