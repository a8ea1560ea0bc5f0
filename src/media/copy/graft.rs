//! A timecode track put into a QuickTime or MP4 file without moving a byte of
//! its media: the new index goes behind everything else, the old one becomes
//! free space.

use super::CopyTimecode;
use super::moov::{self, Amends, Wanted};
use super::tree::boxed;
use crate::error::{Error, ErrorKind, Result};
use crate::media::boxes::{self, Header, MOST_BOXES};
use crate::timecode::Ratio;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};

/// An index longer than this is not read into memory, in bytes: a day of video
/// with sound has one of about 100 megabytes.
const LONGEST_INDEX: u64 = 256 << 20;

/// An XMP packet longer than this is not searched, in bytes.
const LONGEST_XMP: u64 = 16 << 20;
/// The `uuid` box in which MP4 holds XMP (XMP specification, part 3).
const XMP_UUID: [u8; 16] = [
    0xBE, 0x7A, 0xCF, 0xCB, 0x97, 0xA9, 0x42, 0xE8, 0x9C, 0x71, 0x99, 0x94, 0x91, 0xE3, 0xAF, 0xAC,
];

/// Begins the words in the last box of every copy.
const MARK: &str = "Rollmark copy with timecode of ";

/// What is to be put in. See [`moov::Wanted`].
pub(super) struct Plan<'a> {
    pub timecode: &'a CopyTimecode,
    pub picture_track: u32,
    pub frame_0_s: Ratio,
    pub amends: Option<&'a Amends>,
    /// Whose copy this is: stands in the last box of the file.
    pub copied_from: &'a str,
}

/// What putting in has replaced, and what was seen on the way.
#[derive(Debug, Default)]
pub(super) struct Grafted {
    pub replaced: Vec<String>,
    /// Bytes behind the last box, which the copy has not: readers of the format do not look
    /// there, but some makers' own programs may.
    pub junk_len: u64,
    pub has_xmp_timecode: bool,
}

/// One box of the top level.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Slot {
    at: u64,
    header: Header,
}

impl Slot {
    const fn end(&self) -> u64 {
        self.at + self.header.size
    }

    const fn body_at(&self) -> u64 {
        self.at + self.header.len
    }

    const fn body_len(&self) -> u64 {
        self.header.size - self.header.len
    }
}

/// The top level of a file.
#[derive(Debug)]
pub(super) struct Layout {
    slots: Vec<Slot>,
    /// End of the last box.
    end: u64,
    file_len: u64,
    index: Slot,
    pub is_quicktime: bool,
    /// The index is spread over the file.
    pub is_fragmented: bool,
}

impl Layout {
    /// # Errors
    /// [`ErrorKind::Undecodable`] if the end of the file cuts a box off,
    /// [`ErrorKind::NoIndex`] if there is no index.
    pub(super) fn of(file: &mut File) -> Result<Self> {
        let file_len = file.metadata().map_err(unreadable)?.len();
        let mut slots: Vec<Slot> = Vec::new();
        let mut at = 0;
        while let Some(slot) = slot_at(file, at, file_len).map_err(unreadable)? {
            if slot.header.size > file_len - at {
                return Err(cut_off());
            }
            at = slot.end();
            slots.push(slot);
            if slots.len() > MOST_BOXES {
                return Err(broken_index());
            }
        }
        let mut of_kind = slots.iter().filter(|slot| slot.header.kind == *b"moov");
        let (Some(index), None) = (of_kind.next().copied(), of_kind.next()) else {
            return Err(
                Error::new(ErrorKind::NoIndex, "has no single index (moov box)")
                    .next("copy it from the card again"),
            );
        };
        let mut brand = [0; 4];
        let has_brand = slots[0].header.kind == *b"ftyp" && slots[0].header.size >= 12;
        if has_brand {
            file.seek(SeekFrom::Start(slots[0].body_at()))
                .and_then(|_| file.read_exact(&mut brand))
                .map_err(unreadable)?;
        }
        let mut layout = Self {
            end: at,
            file_len,
            index,
            is_quicktime: !has_brand || brand == *b"qt  ",
            is_fragmented: slots.iter().any(|slot| slot.header.kind == *b"moof"),
            slots,
        };
        let moov = layout.read_index(file)?;
        layout.is_fragmented |= boxes::child(&moov, &(0..moov.len()), b"mvex").is_some();
        Ok(layout)
    }

    pub(super) fn read_index(&self, file: &mut File) -> Result<Vec<u8>> {
        let len = self.index.body_len();
        if len > LONGEST_INDEX {
            return Err(broken_index());
        }
        let mut bytes = vec![0; usize::try_from(len).map_err(|_| broken_index())?];
        file.seek(SeekFrom::Start(self.index.body_at()))
            .and_then(|_| file.read_exact(&mut bytes))
            .map_err(unreadable)?;
        Ok(bytes)
    }
}

/// The box at an offset; `None` at the end of the file or where there is none.
fn slot_at(file: &mut File, at: u64, file_len: u64) -> io::Result<Option<Slot>> {
    let room = file_len.saturating_sub(at);
    let header = Header::read(file, at, file_len)?.filter(|header| header.is_box(room));
    Ok(header.map(|header| Slot { at, header }))
}

/// Puts the track into `file`, which is a copy and ours to change.
///
/// # Errors
/// Those of [`Layout::of`]; [`ErrorKind::CannotWrite`] if writing fails.
pub(super) fn graft(file: &mut File, plan: &Plan) -> Result<Grafted> {
    let layout = Layout::of(file)?;
    let moov = layout.read_index(file)?;
    let mut end = layout.end;
    // Cameras write the index last: then there is nothing to keep free.
    let is_last = layout.index.end() == layout.end;
    if is_last {
        end = layout.index.at;
    }
    let edited = moov::with_timecode(
        &moov,
        &Wanted {
            timecode: plan.timecode,
            picture: plan.picture_track,
            frame_0_s: plan.frame_0_s,
            sample_at: end + 8,
            is_quicktime: layout.is_quicktime,
            amends: plan.amends,
        },
    )
    .ok_or_else(broken_index)?;
    let mut replaced = Vec::new();
    for track in &edited.old_tracks {
        let sample = track.sample_at.and_then(|at| read_u32(file, at));
        replaced.push(match sample.and_then(|sample| track.label(sample)) {
            Some(label) => {
                format!("timecode track {label}, base {}", track.labels_per_second())
            }
            None => "timecode track without a legible label".to_owned(),
        });
    }
    replaced.extend(edited.old_tags.iter().map(|tag| format!("tag {tag}")));

    let has_xmp_timecode = has_xmp_timecode(file, &layout, &moov);

    let mut tail = boxed(b"mdat", &[&plan.timecode.sample().to_be_bytes()]);
    tail.extend(boxed(b"moov", &[&edited.bytes]));
    tail.extend(moov::free_box(&format!("{MARK}{}", plan.copied_from)));
    file.set_len(end)
        .and_then(|()| {
            if !is_last {
                file.seek(SeekFrom::Start(layout.index.at + 4))?;
                file.write_all(b"free")?;
                close_last(file, &layout)?;
            }
            file.seek(SeekFrom::Start(end))?;
            file.write_all(&tail)
        })
        .map_err(super::cannot_write)?;
    Ok(Grafted {
        replaced,
        junk_len: layout.file_len - layout.end,
        has_xmp_timecode,
    })
}

/// True if XMP, which movies keep in user data or at the top level, names a start.
fn has_xmp_timecode(file: &mut File, layout: &Layout, moov: &[u8]) -> bool {
    let uuids = layout
        .slots
        .iter()
        .filter(|slot| slot.header.kind == *b"uuid");
    let mut packets: Vec<Vec<u8>> = moov::xmp(moov).into_iter().collect();
    for slot in uuids.filter(|slot| slot.header.size <= LONGEST_XMP) {
        let mut body = Vec::new();
        let read = file
            .seek(SeekFrom::Start(slot.body_at()))
            .and_then(|_| file.take(slot.body_len()).read_to_end(&mut body));
        if read.is_ok() && body.starts_with(&XMP_UUID) {
            packets.push(body);
        }
    }
    let names: [&[u8]; 2] = [b"startTimecode", b"altTimecode"];
    packets.iter().any(|packet| {
        let mut parts = names
            .iter()
            .map(|name| packet.windows(name.len()).any(|part| part == *name));
        parts.any(|is_there| is_there)
    })
}

/// A last box 'to the end of the file' gets its size, as something follows now.
fn close_last(file: &mut File, layout: &Layout) -> io::Result<()> {
    let Some(last) = layout.slots.last().filter(|slot| slot.header.is_open) else {
        return Ok(());
    };
    if let Ok(size) = u32::try_from(last.header.size) {
        file.seek(SeekFrom::Start(last.at))?;
        return file.write_all(&size.to_be_bytes());
    }
    // A `wide` box keeps room for the long form of the header behind it.
    let before = layout.slots.iter().rev().nth(1);
    let Some(wide) = before
        .filter(|slot| slot.header.size == 8 && [*b"wide", *b"free"].contains(&slot.header.kind))
    else {
        return Err(io::Error::other(
            "its media box has no size, and no room for one",
        ));
    };
    let mut head = 1u32.to_be_bytes().to_vec();
    head.extend(last.header.kind);
    head.extend((last.header.size + 8).to_be_bytes());
    file.seek(SeekFrom::Start(wide.at))?;
    file.write_all(&head)
}

fn read_u32(file: &mut File, at: u64) -> Option<u32> {
    let mut four = [0; 4];
    file.seek(SeekFrom::Start(at)).ok()?;
    file.read_exact(&mut four).ok()?;
    Some(u32::from_be_bytes(four))
}

/// What the one timecode track of a finished file says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct ReadBack {
    pub label: String,
    pub base: u8,
    pub drop_frame: bool,
    /// Ticks per second and per frame.
    pub timescale: u32,
    pub frame_ticks: u32,
}

/// `None` unless the file has exactly one timecode track, with a label.
pub(super) fn read_back(file: &mut File) -> Option<ReadBack> {
    let layout = Layout::of(file).ok()?;
    let moov = layout.read_index(file).ok()?;
    let tracks = moov::timecode_tracks(&moov);
    let [track] = tracks.as_slice() else {
        return None;
    };
    Some(ReadBack {
        label: track.label(read_u32(file, track.sample_at?)?)?,
        base: track.base,
        drop_frame: track.is_drop_frame(),
        timescale: track.timescale,
        frame_ticks: track.frame_ticks,
    })
}

/// Whose copy a file is, if it is one of ours: what its last box says.
pub(super) fn copied_from(file: &mut File) -> Option<String> {
    const LONGEST: u64 = 2048;
    let len = file.metadata().ok()?.len();
    let start = len.saturating_sub(LONGEST);
    let mut tail = Vec::new();
    file.seek(SeekFrom::Start(start)).ok()?;
    file.take(LONGEST).read_to_end(&mut tail).ok()?;
    let begin = [b"free", MARK.as_bytes()].concat();
    let at = tail.windows(begin.len()).rposition(|part| part == begin)?;
    let size = tail.get(at.checked_sub(4)?..at)?;
    let size = u32::from_be_bytes(size.try_into().ok()?) as usize;
    if at - 4 + size != tail.len() {
        return None;
    }
    Some(String::from_utf8_lossy(&tail[at + begin.len()..]).into_owned())
}

fn cut_off() -> Error {
    Error::new(
        ErrorKind::Undecodable,
        "is cut off: its last box is longer than the file",
    )
    .next("copy it from the card again; a timecode track would hide the damage")
}

fn broken_index() -> Error {
    Error::new(ErrorKind::NotVideo, "has an index that is not whole")
        .next("copy it from the card again")
}

fn unreadable(cause: io::Error) -> Error {
    Error::new(ErrorKind::CannotOpen, "cannot be read")
        .next("check that the drive is connected, or copy the file elsewhere and try again")
        .because(cause)
}

#[cfg(test)]
mod tests {
    use super::super::tree::full;
    use super::*;
    use crate::timecode::Rate;

    /// A movie without pictures: header, one picture track, nothing in it.
    fn index() -> Vec<u8> {
        let mut movie_header = vec![0; 96];
        movie_header[8..12].copy_from_slice(&600u32.to_be_bytes());
        movie_header[92..].copy_from_slice(&2u32.to_be_bytes());
        let mut header = vec![0; 80];
        header[8..12].copy_from_slice(&1u32.to_be_bytes());
        header[16..20].copy_from_slice(&1200u32.to_be_bytes());
        let media_header = vec![0; 20];
        let mut handler = vec![0; 20];
        handler[4..8].copy_from_slice(b"vide");
        let media = boxed(
            b"mdia",
            &[
                &full(b"mdhd", 0, 0, &media_header),
                &full(b"hdlr", 0, 0, &handler),
            ],
        );
        let track = boxed(b"trak", &[&full(b"tkhd", 0, 3, &header), &media]);
        boxed(b"moov", &[&full(b"mvhd", 0, 0, &movie_header), &track])
    }

    /// A file may hold a box in every eight bytes.
    #[test]
    fn a_file_of_boxes_without_end_is_refused_before_they_fill_the_memory() {
        for (boxes, is_fine) in [(MOST_BOXES - 1, true), (MOST_BOXES, false)] {
            let mut file = tempfile::tempfile().unwrap();
            file.write_all(&index()).unwrap();
            file.write_all(&boxed(b"free", &[]).repeat(boxes)).unwrap();
            let layout = Layout::of(&mut file).map(|layout| layout.slots.len());
            assert_eq!(layout.is_ok(), is_fine, "{layout:?}");
        }
    }

    fn plan(timecode: &CopyTimecode) -> Plan<'_> {
        Plan {
            timecode,
            picture_track: 1,
            frame_0_s: Ratio::ZERO,
            amends: None,
            copied_from: "5 bytes a.mov",
        }
    }

    fn file_with(parts: &[&[u8]]) -> File {
        let mut file = tempfile::tempfile().unwrap();
        for part in parts {
            file.write_all(part).unwrap();
        }
        file
    }

    /// Behind four gigabytes of media, all holes: only the file's ends are real.
    #[test]
    fn a_sample_behind_four_gigabytes_is_found_again() {
        let media_len = (5u64 << 30) + 3;
        let mut file = file_with(&[
            &index(),
            &1u32.to_be_bytes(),
            b"mdat",
            &media_len.to_be_bytes(),
        ]);
        let index_len = index().len() as u64;
        file.set_len(index_len + media_len).unwrap();
        let timecode = CopyTimecode::from_label(Rate::F29_97, true, "01:00:00;00").unwrap();
        graft(&mut file, &plan(&timecode)).unwrap();
        let found = read_back(&mut file).unwrap();
        assert_eq!(found.label, "01:00:00;00");
        let track = {
            let layout = Layout::of(&mut file).unwrap();
            moov::timecode_tracks(&layout.read_index(&mut file).unwrap()).remove(0)
        };
        assert_eq!(track.sample_at, Some(index_len + media_len + 8));
        assert_eq!(copied_from(&mut file).as_deref(), Some("5 bytes a.mov"));
    }

    #[test]
    fn an_open_box_of_more_than_four_gigabytes_takes_the_room_before_it() {
        let media_len = 5u64 << 30;
        let wide: &[u8] = &[0, 0, 0, 8, b'w', b'i', b'd', b'e'];
        let open: &[u8] = &[0, 0, 0, 0, b'm', b'd', b'a', b't'];
        let timecode = CopyTimecode::new(Rate::F25, false, 0).unwrap();
        let index_len = index().len() as u64;
        let mut file = file_with(&[&index(), wide, open]);
        file.set_len(index_len + 8 + media_len).unwrap();
        graft(&mut file, &plan(&timecode)).unwrap();
        let layout = Layout::of(&mut file).unwrap();
        let kinds: Vec<_> = layout.slots.iter().map(|slot| slot.header.kind).collect();
        assert_eq!(kinds, [*b"free", *b"mdat", *b"mdat", *b"moov", *b"free"]);
        assert_eq!(layout.slots[1].header.size, 8 + media_len);
        // Without that room, it is refused.
        let mut file = file_with(&[&index(), open]);
        file.set_len(index_len + media_len).unwrap();
        let refusal = graft(&mut file, &plan(&timecode)).unwrap_err();
        assert!(refusal.to_string().contains("no room"), "{refusal}");
    }

    /// An hour in fragments of a second each has 7,200 boxes.
    #[test]
    fn hours_in_fragments_are_laid_out() {
        let fragment: &[u8] = b"\0\0\0\x08moof\0\0\0\x08mdat";
        let mut file = file_with(&[&index(), &fragment.repeat(36_000)]);
        let layout = Layout::of(&mut file).unwrap();
        assert!(layout.is_fragmented);
        assert_eq!(layout.slots.len(), 72_001);
    }

    #[test]
    fn junk_behind_the_last_box_is_told_and_damage_refused() {
        let timecode = CopyTimecode::new(Rate::F25, false, 0).unwrap();
        let mut file = file_with(&[&index(), &[0; 100]]);
        assert_eq!(graft(&mut file, &plan(&timecode)).unwrap().junk_len, 100);
        assert_eq!(read_back(&mut file).unwrap().label, "00:00:00:00");
        let mut file = file_with(&[&index(), b"GPMFtrailer of a maker"]);
        assert_eq!(graft(&mut file, &plan(&timecode)).unwrap().junk_len, 22);

        let cut: &[u8] = &[0, 0, 1, 0, b'm', b'd', b'a', b't', 1, 2, 3];
        let refusal = graft(&mut file_with(&[&index(), cut]), &plan(&timecode)).unwrap_err();
        assert_eq!(refusal.kind(), ErrorKind::Undecodable);
        let refusal = graft(&mut file_with(&[b"\0\0\0\x08ftyp"]), &plan(&timecode)).unwrap_err();
        assert_eq!(refusal.kind(), ErrorKind::NoIndex);
    }

    #[test]
    fn only_the_last_box_marks_a_copy() {
        let mark = moov::free_box(&format!("{MARK}5 bytes a.mov"));
        let mut ours = file_with(&[&index(), &mark]);
        assert_eq!(copied_from(&mut ours).as_deref(), Some("5 bytes a.mov"));
        let mut changed = file_with(&[&index(), &mark, b"\0\0\0\x08free"]);
        assert_eq!(copied_from(&mut changed), None);
        assert_eq!(copied_from(&mut file_with(&[&index()])), None);
    }
}
