//! Boxes of the ISO base media file format (ISO/IEC 14496-12, 4.2), as far as
//! FFmpeg keeps silent about them: why a file has no index, and where a new
//! file keeps its matrix.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::ops::Range;
use std::path::Path;

/// More top-level boxes than this are not looked at: enough for the header and
/// the first fragments of any file.
const MOST_BOXES: usize = 64;

/// Box types that movies begin with (14496-12 and the QuickTime file format).
const FIRST_BOXES: [&[u8; 4]; 9] = [
    b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot", b"uuid", b"moof",
];

/// What the top level of a file looks like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum TopLevel {
    /// Not made of boxes.
    Other,
    /// Boxes, one of them a whole `moov`.
    WithIndex,
    /// Boxes, but no `moov`, or one that the end of the file cuts off.
    WithoutIndex,
}

/// Looks at the box headers of the top level; reads a few hundred bytes at most.
pub(super) fn top_level(path: &Path) -> std::io::Result<TopLevel> {
    let mut file = File::open(path)?;
    let file_len = file.metadata()?.len();
    if file_len < 8 {
        return Ok(TopLevel::Other);
    }
    let mut at = 0;
    for nth in 0..MOST_BOXES {
        let mut head = [0; 16];
        let Some(room) = file_len.checked_sub(at).filter(|room| *room >= 8) else {
            break;
        };
        let wanted = if room < 16 { 8 } else { 16 };
        file.seek(SeekFrom::Start(at))?;
        file.read_exact(&mut head[..wanted])?;
        let kind: [u8; 4] = [head[4], head[5], head[6], head[7]];
        if nth == 0 && !FIRST_BOXES.contains(&&kind) {
            return Ok(TopLevel::Other);
        }
        let size = match u32::from_be_bytes([head[0], head[1], head[2], head[3]]) {
            0 => room,
            1 => u64::from_be_bytes(head[8..].try_into().expect("eight bytes")),
            small => u64::from(small),
        };
        if &kind == b"moov" && size <= room {
            return Ok(TopLevel::WithIndex);
        }
        if size < 8 {
            break;
        }
        let Some(next) = at.checked_add(size) else {
            break;
        };
        at = next;
    }
    Ok(TopLevel::WithoutIndex)
}

/// The children of the box whose contents are `within`: type and contents.
/// Stops at the first child that does not fit.
pub(super) fn children(bytes: &[u8], within: Range<usize>) -> Vec<([u8; 4], Range<usize>)> {
    let mut found = Vec::new();
    let mut at = within.start;
    while let Some(head) = bytes.get(at..at + 8).filter(|_| at + 8 <= within.end) {
        let mut body = at + 8;
        let size = match u32::from_be_bytes([head[0], head[1], head[2], head[3]]) {
            0 => within.end - at,
            1 => {
                let Some(long) = bytes.get(at + 8..at + 16) else {
                    break;
                };
                body = at + 16;
                usize::try_from(u64::from_be_bytes(long.try_into().expect("eight bytes")))
                    .unwrap_or(usize::MAX)
            }
            small => small as usize,
        };
        match at.checked_add(size) {
            Some(end) if end >= body && end <= within.end => {
                found.push(([head[4], head[5], head[6], head[7]], body..end));
                at = end;
            }
            _ => break,
        }
    }
    found
}

pub(super) fn child(bytes: &[u8], within: &Range<usize>, kind: &[u8; 4]) -> Option<Range<usize>> {
    children(bytes, within.clone())
        .into_iter()
        .find(|(found, _)| found == kind)
        .map(|(_, body)| body)
}

/// Where the picture track's matrix lies in the bytes of a `moov` box's
/// contents: nine big-endian 32-bit numbers in the track header (14496-12,
/// 8.3.2). `None` if there is no picture track.
pub(super) fn picture_matrix(moov: &[u8]) -> Option<Range<usize>> {
    let tracks = children(moov, 0..moov.len());
    tracks
        .into_iter()
        .filter(|(kind, _)| kind == b"trak")
        .find_map(|(_, track)| {
            let media = child(moov, &track, b"mdia")?;
            let handler = child(moov, &media, b"hdlr")?;
            // Version and flags, then a field of QuickTime's, then the handler type.
            if moov.get(handler.start + 8..handler.start + 12)? != b"vide" {
                return None;
            }
            let header = child(moov, &track, b"tkhd")?;
            // Version 1 has 64-bit times and length: 12 bytes more.
            let offset = if *moov.get(header.start)? == 1 {
                52
            } else {
                40
            };
            let matrix = header.start + offset..header.start + offset + 36;
            (matrix.end <= header.end).then_some(matrix)
        })
}

/// Contents of the file's `moov` box: offset in the file and bytes.
pub(super) fn read_moov(file: &mut File) -> std::io::Result<Option<(u64, Vec<u8>)>> {
    let file_len = file.metadata()?.len();
    let mut at = 0;
    while at + 8 <= file_len {
        let mut head = [0; 8];
        file.seek(SeekFrom::Start(at))?;
        file.read_exact(&mut head)?;
        let (header_len, size) = match u32::from_be_bytes([head[0], head[1], head[2], head[3]]) {
            0 => (8, file_len - at),
            1 => {
                let mut long = [0; 8];
                file.read_exact(&mut long)?;
                (16, u64::from_be_bytes(long))
            }
            small => (8, u64::from(small)),
        };
        if size < header_len || size > file_len - at {
            break;
        }
        if &head[4..] == b"moov" {
            let mut body = vec![0; usize::try_from(size - header_len).expect("fits in memory")];
            file.seek(SeekFrom::Start(at + header_len))?;
            file.read_exact(&mut body)?;
            return Ok(Some((at + header_len, body)));
        }
        at += size;
    }
    Ok(None)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    fn boxed(kind: &[u8; 4], body: &[u8]) -> Vec<u8> {
        let mut bytes = u32::try_from(8 + body.len())
            .unwrap()
            .to_be_bytes()
            .to_vec();
        bytes.extend(kind);
        bytes.extend(body);
        bytes
    }

    fn look(bytes: &[u8]) -> TopLevel {
        let mut file = tempfile::NamedTempFile::new().unwrap();
        file.write_all(bytes).unwrap();
        top_level(file.path()).unwrap()
    }

    #[test]
    fn an_index_counts_only_if_it_is_whole() {
        let mut movie = boxed(b"ftyp", b"qt  ");
        movie.extend(boxed(b"mdat", &[7; 100]));
        assert_eq!(look(&movie), TopLevel::WithoutIndex);
        movie.extend(boxed(b"moov", &[0; 50]));
        assert_eq!(look(&movie), TopLevel::WithIndex);
        movie.truncate(movie.len() - 1);
        assert_eq!(look(&movie), TopLevel::WithoutIndex);
    }

    #[test]
    fn a_64_bit_size_is_followed() {
        let mut movie = boxed(b"ftyp", b"qt  ");
        movie.extend(1u32.to_be_bytes());
        movie.extend(b"mdat");
        movie.extend(20u64.to_be_bytes());
        movie.extend([1; 4]);
        movie.extend(boxed(b"moov", &[]));
        assert_eq!(look(&movie), TopLevel::WithIndex);
    }

    #[test]
    fn text_and_absurd_sizes_end_the_walk() {
        assert_eq!(
            look(b"Scene 4, take 2: the one with the dog"),
            TopLevel::Other
        );
        assert_eq!(look(b"moo"), TopLevel::Other);
        let mut endless = 1u32.to_be_bytes().to_vec();
        endless.extend(b"mdat");
        endless.extend(u64::MAX.to_be_bytes());
        assert_eq!(look(&endless), TopLevel::WithoutIndex);
        let mut tiny = boxed(b"ftyp", b"qt  ");
        tiny.extend(3u32.to_be_bytes());
        tiny.extend(b"mdat");
        assert_eq!(look(&tiny), TopLevel::WithoutIndex);
    }

    #[test]
    fn the_matrix_of_the_picture_track_is_found_behind_a_sound_track() {
        let track = |handler: &[u8; 4], version: u8| {
            let mut header = vec![0; if version == 1 { 96 } else { 84 }];
            header[0] = version;
            let offset = if version == 1 { 52 } else { 40 };
            header[offset..offset + 4].copy_from_slice(handler);
            let mut description = vec![0; 8];
            description.extend(handler);
            let media = boxed(b"mdia", &boxed(b"hdlr", &description));
            boxed(b"trak", &[boxed(b"tkhd", &header), media].concat())
        };
        for version in [0, 1] {
            let moov = [track(b"soun", 0), track(b"vide", version)].concat();
            let matrix = picture_matrix(&moov).unwrap();
            assert_eq!(&moov[matrix.start..matrix.start + 4], b"vide");
        }
        assert_eq!(picture_matrix(&track(b"soun", 0)), None);
    }
}
