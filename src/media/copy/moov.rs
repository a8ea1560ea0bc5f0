//! The index of a QuickTime or MP4 file with a timecode track put in: the old
//! one out, the picture track pointing at the new one, all else as it was.

use super::CopyTimecode;
use super::track::{FoundTrack, NewTrack, is_long, track_id};
use super::tree::{Node, Nodes, boxed, full, u32_at, u64_at};
use crate::timecode::Ratio;

/// User data in which editing programs keep a start timecode, its time scale
/// and the length of a frame (common practice, no published source).
const USER_DATA: [&[u8; 4]; 3] = [b"\xA9TIM", b"\xA9TSC", b"\xA9TSZ"];

/// Last words of metadata keys that hold a start timecode: what FFmpeg writes,
/// and `start` forms of the same.
const KEYS: [&str; 3] = ["timecode", "start_timecode", "starttimecode"];

/// What is to be put in.
pub(super) struct Wanted<'a> {
    pub timecode: &'a CopyTimecode,
    /// Number of the picture track, as in its header.
    pub picture: u32,
    /// When frame 0 is presented, in seconds; below zero counts as zero.
    pub frame_0_s: Ratio,
    /// Where in the file the timecode sample will lie.
    pub sample_at: u64,
    pub is_quicktime: bool,
    /// What a muxer got wrong about the picture track, if one wrote the file.
    pub amends: Option<&'a Amends>,
}

/// What the picture track of a new file must say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Amends {
    /// 36 bytes of a track header, where the pictures are turned.
    pub matrix: Option<[u8; 36]>,
    /// Frame 0 after the first decoding stamp, in seconds: the edit begins there.
    pub edit_from_s: Ratio,
    /// How long the pictures are presented, in seconds.
    pub shown_s: Ratio,
}

/// The changed index, and what it no longer has.
pub(super) struct Edited {
    /// Contents of the `moov` box.
    pub bytes: Vec<u8>,
    pub old_tracks: Vec<FoundTrack>,
    /// Names of tags that held an older start timecode.
    pub old_tags: Vec<String>,
}

/// Timecode tracks of an index.
pub(super) fn timecode_tracks(moov: &[u8]) -> Vec<FoundTrack> {
    let movie = Nodes::parse(moov);
    let tracks = movie.list.iter().filter(|node| node.kind == *b"trak");
    tracks
        .filter_map(|node| FoundTrack::of(&Nodes::parse(&node.body)))
        .collect()
}

/// `None` if the index lacks what every index has: a movie header, and the
/// picture track with its header.
pub(super) fn with_timecode(moov: &[u8], wanted: &Wanted) -> Option<Edited> {
    let mut movie = Nodes::parse(moov);
    let old_tracks = timecode_tracks(moov);
    let is_old = |id: u32| old_tracks.iter().any(|track| track.id == id);
    let mut old_tags = Vec::new();
    drop_tags(&mut movie, &mut old_tags);

    let movie_timescale = movie_timescale(movie.body(b"mvhd")?)?;
    let id = new_id(&mut movie, &old_tracks)?;
    let mut new = None;
    for node in movie.list.iter_mut().filter(|node| node.kind == *b"trak") {
        let mut track = Nodes::parse(&node.body);
        let own_id = track_id(track.body(b"tkhd")?)?;
        if is_old(own_id) {
            continue;
        }
        drop_tags(&mut track, &mut old_tags);
        if own_id == wanted.picture {
            if let Some(amends) = wanted.amends {
                amend(&mut track, movie_timescale, amends)?;
            }
            refer_to(&mut track, id);
            let reel = old_tracks.iter().find_map(|old| old.reel.as_deref());
            new = Some(NewTrack {
                reel,
                ..new_track(&track, movie_timescale, id, wanted)?
            });
        } else {
            follow(&mut track, &is_old, id);
        }
        node.body = track.to_bytes();
    }
    let new = Node {
        kind: *b"trak",
        body: new?.body(),
    };
    let is_old_node = |node: &Node| {
        node.kind == *b"trak"
            && Nodes::parse(&node.body)
                .body(b"tkhd")
                .and_then(track_id)
                .is_some_and(is_old)
    };
    // In the place of the old one, else behind the last track: streams keep their order.
    let place = movie.list.iter().position(is_old_node).or_else(|| {
        let last = movie.list.iter().rposition(|node| node.kind == *b"trak");
        last.map(|at| at + 1)
    })?;
    let kept_before = movie.list[..place]
        .iter()
        .filter(|node| !is_old_node(node))
        .count();
    movie.list.retain(|node| !is_old_node(node));
    movie.list.insert(kept_before, new);
    old_tags.sort();
    old_tags.dedup();
    Some(Edited {
        bytes: movie.to_bytes(),
        old_tracks,
        old_tags,
    })
}

/// Sets matrix, length and edit list of a picture track with 32-bit fields, as
/// muxers write them up to a day's length.
fn amend(track: &mut Nodes, movie_timescale: u32, amends: &Amends) -> Option<()> {
    let media_timescale = u32_at(&track.deep(&[b"mdia", b"mdhd"])?, 12)?;
    let ticks = |seconds: Ratio, scale: u32| seconds * Ratio::from_integer(scale);
    // Up: the last picture must not lose a part of its time.
    let shown = u32::try_from(ticks(amends.shown_s, movie_timescale).ceil()).ok()?;
    let from = i32::try_from(ticks(amends.edit_from_s, media_timescale).round()).ok()?;
    let header = track.body_mut(b"tkhd").filter(|header| !is_long(header))?;
    header
        .get_mut(20..24)?
        .copy_from_slice(&shown.to_be_bytes());
    if let Some(matrix) = &amends.matrix {
        header.get_mut(40..76)?.copy_from_slice(matrix);
    }
    let mut list = 1u32.to_be_bytes().to_vec();
    list.extend(shown.to_be_bytes());
    list.extend(from.to_be_bytes());
    list.extend(0x1_0000u32.to_be_bytes());
    let body = full(b"elst", 0, 0, &list);
    match track.body_mut(b"edts") {
        Some(old) => *old = body,
        None => {
            let header = track.list.iter().position(|node| node.kind == *b"tkhd")?;
            track.list.insert(
                header + 1,
                Node {
                    kind: *b"edts",
                    body,
                },
            );
        }
    }
    Some(())
}

fn movie_timescale(header: &[u8]) -> Option<u32> {
    u32_at(header, if is_long(header) { 20 } else { 12 }).filter(|scale| *scale > 0)
}

/// The number of the old track, so that whatever refers to it finds the new
/// one; else a free number, which the movie header counts on from.
fn new_id(movie: &mut Nodes, old: &[FoundTrack]) -> Option<u32> {
    if let Some(first) = old.first() {
        return Some(first.id);
    }
    let tracks = movie.list.iter().filter(|node| node.kind == *b"trak");
    let ids: Vec<u32> = tracks
        .filter_map(|node| track_id(Nodes::parse(&node.body).body(b"tkhd")?))
        .collect();
    let header = movie.body_mut(b"mvhd")?;
    let next_at = header.len().checked_sub(4)?;
    let next = u32_at(header, next_at)?;
    let highest = ids.iter().copied().max().unwrap_or(0);
    let id = match next.max(highest.saturating_add(1)).max(1) {
        // The format's way to say that numbers have run out and must be searched for.
        u32::MAX => (1..u32::MAX).find(|id| !ids.contains(id))?,
        id => {
            header[next_at..].copy_from_slice(&(id + 1).to_be_bytes());
            id
        }
    };
    Some(id)
}

/// Makes the picture track name `id` as its timecode, and no other.
fn refer_to(track: &mut Nodes, id: u32) {
    let mut references = Nodes::parse(track.body(b"tref").unwrap_or_default());
    references.list.retain(|node| node.kind != *b"tmcd");
    references.list.push(Node {
        kind: *b"tmcd",
        body: id.to_be_bytes().to_vec(),
    });
    let body = references.to_bytes();
    match track.body_mut(b"tref") {
        Some(old) => *old = body,
        None => {
            // Before the media, where writers put it.
            let media = track.list.iter().position(|node| node.kind == *b"mdia");
            let node = Node {
                kind: *b"tref",
                body,
            };
            track.list.insert(media.unwrap_or(track.list.len()), node);
        }
    }
}

/// Lets references to an old timecode track lead to the new one.
fn follow(track: &mut Nodes, is_old: &impl Fn(u32) -> bool, id: u32) {
    let Some(body) = track.body_mut(b"tref") else {
        return;
    };
    let mut references = Nodes::parse(body);
    let Some(old) = references.body_mut(b"tmcd") else {
        return;
    };
    let mut ids: Vec<u32> = old
        .chunks_exact(4)
        .map(|four| u32::from_be_bytes([four[0], four[1], four[2], four[3]]))
        .map(|old| if is_old(old) { id } else { old })
        .collect();
    ids.dedup();
    *old = ids.iter().flat_map(|id| id.to_be_bytes()).collect();
    *body = references.to_bytes();
}

fn new_track<'a>(
    picture: &Nodes,
    movie_timescale: u32,
    id: u32,
    wanted: &Wanted<'a>,
) -> Option<NewTrack<'a>> {
    let header = picture.body(b"tkhd")?;
    let media = picture.deep(&[b"mdia", b"mdhd"])?;
    let times = if is_long(header) {
        (u64_at(header, 4)?, u64_at(header, 12)?)
    } else {
        (u32_at(header, 4)?.into(), u32_at(header, 8)?.into())
    };
    let movie = Ratio::from_integer(movie_timescale);
    let ticks = |ratio: Ratio| u64::try_from((ratio * movie).round().max(0)).ok();
    let length = match track_length(header) {
        Some(length) => length,
        // Without an edit list some writers leave the header's length open.
        None => ticks(media_length_s(&media)?)?,
    };
    // Down: whoever takes the count at the time of a picture must not find that of the one before.
    let frame_0 = (wanted.frame_0_s * movie).floor().max(0);
    let frame_0 = u64::try_from(frame_0).ok()?.min(length);
    Some(NewTrack {
        timecode: wanted.timecode,
        reel: None,
        id,
        movie_timescale,
        frame_0,
        shown: (length - frame_0).max(1),
        times,
        sample_at: wanted.sample_at,
        is_quicktime: wanted.is_quicktime,
    })
}

/// In movie ticks; `None` if the header leaves it open.
fn track_length(header: &[u8]) -> Option<u64> {
    let length = if is_long(header) {
        u64_at(header, 28).filter(|length| *length != u64::MAX)
    } else {
        u32_at(header, 20)
            .filter(|length| *length != u32::MAX)
            .map(u64::from)
    };
    length.filter(|length| *length > 0)
}

fn media_length_s(header: &[u8]) -> Option<Ratio> {
    let (scale, length) = if is_long(header) {
        (u32_at(header, 20)?, u64_at(header, 24)?)
    } else {
        (u32_at(header, 12)?, u32_at(header, 16)?.into())
    };
    Ratio::checked_new(length.into(), scale.into())
}

/// Takes tags with an older start timecode out of a movie's or track's user
/// data and metadata, and keeps their names.
fn drop_tags(owner: &mut Nodes, dropped: &mut Vec<String>) {
    if let Some(body) = owner.body_mut(b"udta") {
        let mut data = Nodes::parse(body);
        data.list.retain(|node| {
            let is_old = USER_DATA.contains(&&node.kind);
            if is_old {
                // The first letter is the copyright sign of Latin-1.
                dropped.push(node.kind.iter().map(|byte| char::from(*byte)).collect());
            }
            !is_old
        });
        if let Some(meta) = data.body_mut(b"meta") {
            drop_keys(meta, dropped);
        }
        *body = data.to_bytes();
    }
    if let Some(meta) = owner.body_mut(b"meta") {
        drop_keys(meta, dropped);
    }
}

/// Metadata of QuickTime's kind: names in `keys`, values in `ilst`, which refers
/// to names by number. A value goes; its name stays, as numbers depend on it.
fn drop_keys(meta: &mut Vec<u8>, dropped: &mut Vec<String>) {
    // In MP4 the box begins with a version, in QuickTime with its first child.
    let head_len = if meta.get(4..8) == Some(b"hdlr") {
        0
    } else {
        4
    };
    let mut nodes = Nodes::parse(meta.get(head_len..).unwrap_or_default());
    let Some(keys) = nodes.body(b"keys") else {
        return;
    };
    let names: Vec<String> = Nodes::parse(keys.get(8..).unwrap_or_default())
        .list
        .iter()
        .map(|node| String::from_utf8_lossy(&node.body).into_owned())
        .collect();
    let Some(values) = nodes.body_mut(b"ilst") else {
        return;
    };
    let mut list = Nodes::parse(values);
    list.list.retain(|node| {
        let number = u32::from_be_bytes(node.kind) as usize;
        let name = number.checked_sub(1).and_then(|at| names.get(at));
        let Some(name) = name.filter(|name| is_timecode_key(name)) else {
            return true;
        };
        dropped.push(name.clone());
        false
    });
    *values = list.to_bytes();
    let head = meta[..head_len].to_vec();
    *meta = [head, nodes.to_bytes()].concat();
}

/// True for the names of tags that hold a start timecode.
pub(super) fn is_timecode_key(name: &str) -> bool {
    let last = name.rsplit('.').next().unwrap_or(name).to_ascii_lowercase();
    KEYS.contains(&&*last)
}

/// The XMP packet in a movie's user data.
pub(super) fn xmp(moov: &[u8]) -> Option<Vec<u8>> {
    Nodes::parse(moov).deep(&[b"udta", b"XMP_"])
}

/// A `free` box, which every reader skips, with words in it.
pub(super) fn free_box(words: &str) -> Vec<u8> {
    boxed(b"free", &[words.as_bytes()])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn track(id: u32, handler: &[u8; 4], references: &[(&[u8; 4], &[u32])]) -> Vec<u8> {
        let mut header = vec![0; 80];
        header[8..12].copy_from_slice(&id.to_be_bytes());
        header[16..20].copy_from_slice(&600u32.to_be_bytes());
        let mut name = vec![0; 20];
        name[4..8].copy_from_slice(handler);
        let lists: Vec<u8> = references
            .iter()
            .flat_map(|(kind, ids)| {
                let ids: Vec<u8> = ids.iter().flat_map(|id| id.to_be_bytes()).collect();
                boxed(kind, &[&ids])
            })
            .collect();
        let media = [full(b"mdhd", 0, 0, &[0; 20]), full(b"hdlr", 0, 0, &name)].concat();
        boxed(
            b"trak",
            &[
                &full(b"tkhd", 0, 3, &header),
                &boxed(b"tref", &[&lists]),
                &boxed(b"mdia", &[&media]),
            ],
        )
    }

    fn movie(tracks: &[Vec<u8>], next: u32) -> Vec<u8> {
        let mut header = vec![0; 96];
        header[8..12].copy_from_slice(&600u32.to_be_bytes());
        header[92..].copy_from_slice(&next.to_be_bytes());
        [full(b"mvhd", 0, 0, &header), tracks.concat()].concat()
    }

    fn edited(moov: &[u8]) -> Nodes {
        let timecode = CopyTimecode::new(crate::timecode::Rate::F25, false, 7).unwrap();
        let wanted = Wanted {
            timecode: &timecode,
            picture: 1,
            frame_0_s: Ratio::ZERO,
            sample_at: 99,
            is_quicktime: true,
            amends: None,
        };
        Nodes::parse(&with_timecode(moov, &wanted).unwrap().bytes)
    }

    fn tracks(movie: &Nodes) -> Vec<(u32, Nodes)> {
        let tracks = movie.list.iter().filter(|node| node.kind == *b"trak");
        tracks
            .map(|node| {
                let track = Nodes::parse(&node.body);
                (track_id(track.body(b"tkhd").unwrap()).unwrap(), track)
            })
            .collect()
    }

    fn references(track: &Nodes, kind: &[u8; 4]) -> Vec<u8> {
        track.deep(&[b"tref", kind]).unwrap_or_default()
    }

    #[test]
    fn all_references_to_old_timecode_lead_to_the_new_and_others_stay() {
        let moov = movie(
            &[
                track(1, b"vide", &[(b"tmcd", &[4, 5]), (b"chap", &[3])]),
                track(4, b"tmcd", &[]),
                track(2, b"soun", &[(b"tmcd", &[5])]),
                track(5, b"tmcd", &[]),
                track(3, b"text", &[]),
            ],
            6,
        );
        let tracks = tracks(&edited(&moov));
        let ids: Vec<u32> = tracks.iter().map(|(id, _)| *id).collect();
        assert_eq!(ids, [1, 4, 2, 3]);
        assert_eq!(references(&tracks[0].1, b"tmcd"), [0, 0, 0, 4]);
        assert_eq!(references(&tracks[0].1, b"chap"), [0, 0, 0, 3]);
        assert_eq!(references(&tracks[2].1, b"tmcd"), [0, 0, 0, 4]);
    }

    #[test]
    fn a_new_track_has_a_free_number_even_where_the_header_is_wrong() {
        for (next, expected) in [(3, 3), (2, 3), (9, 9), (u32::MAX, 3)] {
            let moov = movie(&[track(1, b"vide", &[]), track(2, b"soun", &[])], next);
            let edited = edited(&moov);
            assert_eq!(tracks(&edited)[2].0, expected, "next {next}");
            let header = edited.body(b"mvhd").unwrap();
            let counted = u32_at(header, header.len() - 4).unwrap();
            let right = if next == u32::MAX { next } else { expected + 1 };
            assert_eq!(counted, right, "next {next}");
        }
    }

    #[test]
    fn names_of_timecode_tags_are_told_from_others() {
        for name in [
            "timecode",
            "TIMECODE",
            "com.maker.timecode",
            "StartTimecode",
        ] {
            assert!(is_timecode_key(name), "{name}");
        }
        for name in ["timecode_format", "com.timecode.lens", "creation_time", ""] {
            assert!(!is_timecode_key(name), "{name}");
        }
    }

    #[test]
    fn an_index_without_pictures_or_header_is_refused() {
        let timecode = CopyTimecode::new(crate::timecode::Rate::F25, false, 0).unwrap();
        let wanted = Wanted {
            timecode: &timecode,
            picture: 1,
            frame_0_s: Ratio::ZERO,
            sample_at: 0,
            is_quicktime: false,
            amends: None,
        };
        assert!(with_timecode(&movie(&[track(2, b"soun", &[])], 3), &wanted).is_none());
        assert!(with_timecode(&track(1, b"vide", &[]), &wanted).is_none());
    }
}
