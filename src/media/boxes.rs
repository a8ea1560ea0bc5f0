//! Boxes of the ISO base media file format (ISO/IEC 14496-12, 4.2), as far as
//! FFmpeg keeps silent about them: why a file has no index, and where a new
//! file keeps its matrix.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::ops::Range;
use std::path::Path;

/// More top-level boxes than this are not looked at: footage in one piece has a handful, what is
/// recorded in fragments two for each, which is 36 hours of a second each.
pub(super) const MOST_BOXES: usize = 1 << 18;

/// An index lies among the first so many, if its file begins with it.
const MOST_BEFORE_INDEX: usize = 64;

/// Of the boxes in one that a file holds no more are looked at: a movie has a track for each stream.
const MOST_CHILDREN: usize = 1 << 10;

/// Box types that movies begin with (14496-12 and the QuickTime file format).
const FIRST_BOXES: [&[u8; 4]; 9] = [
    b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot", b"uuid", b"moof",
];

/// Box types of the top level (14496-12, table 1, and the QuickTime file format).
const TOP_LEVEL: [&[u8; 4]; 20] = [
    b"ftyp", b"styp", b"pdin", b"moov", b"moof", b"mfra", b"mdat", b"imda", b"free", b"skip",
    b"meta", b"meco", b"sidx", b"ssix", b"prft", b"emsg", b"uuid", b"udta", b"wide", b"pnot",
];

/// What a box says of itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Header {
    pub kind: [u8; 4],
    /// Bytes of the header: 8, or 16 with a 64-bit size.
    pub len: u64,
    /// Bytes of the whole box, its header among them; may be fewer than those, and more than there are.
    pub size: u64,
    /// The box goes on to the end of what it lies in.
    pub is_open: bool,
}

impl Header {
    /// The header that `bytes` begin with, of a box with `room` bytes for it; `None` if it is cut off.
    fn of(bytes: &[u8], room: u64) -> Option<Self> {
        let (short, rest) = bytes.split_first_chunk()?;
        let (kind, rest) = rest.split_first_chunk()?;
        let short = u32::from_be_bytes(*short);
        let (len, size) = match short {
            0 => (8, room),
            1 => (16, u64::from_be_bytes(*rest.first_chunk()?)),
            small => (8, u64::from(small)),
        };
        Some(Self {
            kind: *kind,
            len,
            size,
            is_open: short == 0,
        })
    }

    /// The header at an offset of a file; `None` at its end.
    pub fn read(file: &mut File, at: u64, file_len: u64) -> std::io::Result<Option<Self>> {
        let room = file_len.saturating_sub(at);
        let mut head = Vec::with_capacity(16);
        file.seek(SeekFrom::Start(at))?;
        file.take(room.min(16)).read_to_end(&mut head)?;
        Ok(Self::of(&head, room))
    }

    /// Whether this may be a box with `room` bytes for it, and not what happens to lie behind
    /// the last one: types are printable, and © begins user data of QuickTime. One that goes on
    /// behind the end is cut off if a standard knows its type, else words of the camera's maker.
    pub fn is_box(&self, room: u64) -> bool {
        let is_printable = |byte: &u8| (0x20..0x7F).contains(byte) || *byte == 0xA9;
        self.size >= self.len
            && self.kind.iter().all(is_printable)
            && (self.size <= room || TOP_LEVEL.contains(&&self.kind))
    }
}

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
    let mut at = 0;
    for nth in 0..MOST_BEFORE_INDEX {
        let header = Header::read(&mut file, at, file_len)?;
        let is_box = |header: &Header| nth > 0 || FIRST_BOXES.contains(&&header.kind);
        let Some(header) = header.filter(is_box) else {
            return Ok(match nth {
                0 => TopLevel::Other,
                _ => TopLevel::WithoutIndex,
            });
        };
        if header.size < header.len || header.size > file_len - at {
            break;
        }
        if &header.kind == b"moov" {
            return Ok(TopLevel::WithIndex);
        }
        at += header.size;
    }
    Ok(TopLevel::WithoutIndex)
}

/// True if the end of the file cuts off a box of its top level, of `most` boxes that are looked
/// at. Reads headers alone.
pub(super) fn is_cut_off(path: &Path, most: usize) -> std::io::Result<bool> {
    let mut file = File::open(path)?;
    let file_len = file.metadata()?.len();
    let mut at = 0;
    for nth in 0..most {
        let room = file_len.saturating_sub(at);
        let header = Header::read(&mut file, at, file_len)?.filter(|header| header.is_box(room));
        let Some(header) = header.filter(|h| nth > 0 || FIRST_BOXES.contains(&&h.kind)) else {
            return Ok(false);
        };
        if header.size > room {
            return Ok(true);
        }
        at += header.size;
    }
    Ok(false)
}

/// The children of the box whose contents are `within`: type and contents.
/// Stops at the first child that does not fit.
pub(super) fn children(bytes: &[u8], within: Range<usize>) -> Vec<([u8; 4], Range<usize>)> {
    let mut found = Vec::new();
    let mut at = within.start;
    while let Some(rest) = bytes.get(at..within.end) {
        let room = rest.len() as u64;
        let fits = |header: &Header| (header.len..=room).contains(&header.size);
        let Some(header) = Header::of(rest, room).filter(fits) else {
            break;
        };
        let end = at + usize::try_from(header.size).expect("a size within memory");
        found.push((header.kind, at + header.len as usize..end));
        at = end;
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

/// Where in the file the contents of its `moov` box lie. Reads headers alone.
pub(super) fn moov_at(file: &mut File) -> std::io::Result<Option<Range<u64>>> {
    let file_len = file.metadata()?.len();
    let mut at = 0;
    while let Some(header) = Header::read(file, at, file_len)? {
        if header.size < header.len || header.size > file_len - at {
            break;
        }
        if &header.kind == b"moov" {
            return Ok(Some(at + header.len..at + header.size));
        }
        at += header.size;
    }
    Ok(None)
}

/// As [`children`], of a file: type and where the contents lie. Reads headers alone.
pub(super) fn children_in(
    file: &mut File,
    within: Range<u64>,
) -> std::io::Result<Vec<([u8; 4], Range<u64>)>> {
    let mut found = Vec::new();
    let mut at = within.start;
    while found.len() < MOST_CHILDREN
        && let Some(header) = Header::read(file, at, within.end)?
        && (header.len..=within.end - at).contains(&header.size)
    {
        found.push((header.kind, at + header.len..at + header.size));
        at += header.size;
    }
    Ok(found)
}

/// Contents of the file's `moov` box: offset in the file and bytes.
pub(super) fn read_moov(file: &mut File) -> std::io::Result<Option<(u64, Vec<u8>)>> {
    let Some(within) = moov_at(file)? else {
        return Ok(None);
    };
    let len = usize::try_from(within.end - within.start).expect("fits in memory");
    let mut body = vec![0; len];
    file.seek(SeekFrom::Start(within.start))?;
    file.read_exact(&mut body)?;
    Ok(Some((within.start, body)))
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
    fn a_last_box_that_ends_behind_the_file_is_cut_off() {
        let cut = |bytes: &[u8]| {
            let mut file = tempfile::NamedTempFile::new().unwrap();
            file.write_all(bytes).unwrap();
            is_cut_off(file.path(), 5).unwrap()
        };
        let mut movie = [boxed(b"ftyp", b"isom"), boxed(b"moov", &[0; 20])].concat();
        for _ in 0..2 {
            movie.extend(boxed(b"moof", &[0; 9]));
            movie.extend(boxed(b"mdat", &[0xFF; 30]));
        }
        assert!(!cut(&movie[..movie.len() - 38]), "five boxes");
        assert!(cut(&movie[..movie.len() - 39]));
        assert!(
            !cut(&movie[..movie.len() - 1]),
            "the sixth is not looked at"
        );
        assert!(cut(&movie[..20]));
        // What lies behind the last box is none.
        assert!(!cut(&[&movie[..12], &[0xFF; 40]].concat()));
        assert!(!cut(&[&movie[..12], b"GPMFtrailer of a maker"].concat()));
        assert!(!cut(b"Scene 4, take 2"));
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
    fn a_header_that_is_cut_off_is_no_box() {
        let first = boxed(b"free", &[0; 4]);
        let mut long = 1u32.to_be_bytes().to_vec();
        long.extend(b"free");
        long.extend(16u64.to_be_bytes());
        let open = [&0u32.to_be_bytes()[..], b"free"].concat();
        for (second, whole) in [(&long, 16), (&open, 8), (&first, 12)] {
            for len in 0..=second.len() {
                let bytes = [&first, &second[..len]].concat();
                let found = children(&bytes, 0..bytes.len());
                let wanted = if len == whole { 2 } else { 1 };
                assert_eq!(found.len(), wanted, "{len} of {second:?}");
                // A box does not reach beyond what it lies in.
                assert_eq!(children(&bytes, 0..first.len()).len(), 1);
            }
            assert_eq!(look(&second[..whole.min(8) - 1]), TopLevel::Other);
        }
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
