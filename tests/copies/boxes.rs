//! A second opinion on QuickTime and MP4 files: a reader of boxes that shares no
//! code with the program. Written from ISO/IEC 14496-12 and the QuickTime file
//! format.

use std::path::Path;

/// A movie file in memory.
pub struct Movie(Vec<u8>);

/// A track's boxes by path, as slices of the file.
pub struct Track<'a> {
    file: &'a [u8],
    body: &'a [u8],
}

/// What a timecode track says.
#[derive(Debug, PartialEq, Eq)]
pub struct Timecode {
    pub id: u32,
    pub is_drop_frame: bool,
    pub wraps_at_24_hours: bool,
    pub timescale: u32,
    pub frame_ticks: u32,
    pub base: u8,
    pub count: u32,
    /// Length of the sample in frames, rounded down.
    pub frames: u64,
    pub edits: Vec<(u64, i64)>,
}

fn be(bytes: &[u8]) -> u64 {
    bytes
        .iter()
        .fold(0, |sum, byte| sum * 256 + u64::from(*byte))
}

fn boxes(mut bytes: &[u8]) -> Vec<(&[u8], &[u8])> {
    let mut found = Vec::new();
    while bytes.len() >= 8 {
        let (mut head, mut size) = (8, be(&bytes[..4]) as usize);
        if size == 1 {
            (head, size) = (16, be(&bytes[8..16]) as usize);
        }
        if size == 0 {
            size = bytes.len();
        }
        assert!(
            size >= head && size <= bytes.len(),
            "a box of {size} bytes in {}",
            bytes.len()
        );
        found.push((&bytes[4..8], &bytes[head..size]));
        bytes = &bytes[size..];
    }
    found
}

fn find<'a>(bytes: &'a [u8], path: &str) -> Option<&'a [u8]> {
    path.split('/').try_fold(bytes, |within, kind| {
        let found = boxes(within)
            .into_iter()
            .find(|(name, _)| *name == kind.as_bytes());
        found.map(|(_, body)| body)
    })
}

impl Movie {
    pub fn read(path: &Path) -> Self {
        Self(std::fs::read(path).unwrap())
    }

    /// Types of the boxes at the top level.
    pub fn top_level(&self) -> Vec<String> {
        let names = boxes(&self.0).into_iter().map(|(name, _)| name);
        names
            .map(|name| String::from_utf8_lossy(name).into_owned())
            .collect()
    }

    pub fn tracks(&self) -> Vec<Track<'_>> {
        let moov = find(&self.0, "moov").expect("an index");
        let tracks = boxes(moov).into_iter().filter(|(name, _)| *name == b"trak");
        tracks
            .map(|(_, body)| Track {
                file: &self.0,
                body,
            })
            .collect()
    }

    pub fn movie_timescale(&self) -> u32 {
        let header = find(&self.0, "moov/mvhd").unwrap();
        be(&header[if header[0] == 1 { 20..24 } else { 12..16 }]) as u32
    }

    pub fn next_track_id(&self) -> u32 {
        let header = find(&self.0, "moov/mvhd").unwrap();
        be(&header[header.len() - 4..]) as u32
    }

    /// The first picture track.
    pub fn pictures(&self) -> Track<'_> {
        let mut tracks = self.tracks().into_iter();
        tracks
            .find(|track| track.handler() == "vide")
            .expect("pictures")
    }

    /// The only timecode track.
    pub fn timecode(&self) -> Timecode {
        let mut tracks: Vec<_> = self.tracks();
        tracks.retain(|track| track.handler() == "tmcd");
        assert_eq!(tracks.len(), 1, "timecode tracks");
        tracks[0].timecode()
    }
}

impl Track<'_> {
    pub fn part(&self, path: &str) -> Option<&[u8]> {
        find(self.body, path)
    }

    pub fn handler(&self) -> String {
        let handler = &self.part("mdia/hdlr").unwrap()[8..12];
        String::from_utf8_lossy(handler).into_owned()
    }

    pub fn id(&self) -> u32 {
        let header = self.part("tkhd").unwrap();
        be(&header[if header[0] == 1 { 20..24 } else { 12..16 }]) as u32
    }

    /// Numbers of the timecode tracks that this one refers to.
    pub fn timecode_references(&self) -> Vec<u32> {
        let ids = self.part("tref/tmcd").unwrap_or_default();
        ids.chunks(4).map(|id| be(id) as u32).collect()
    }

    /// Length in movie ticks and start in the media of each edit.
    pub fn edits(&self) -> Vec<(u64, i64)> {
        let list = self.part("edts/elst").unwrap_or_default();
        let (size, half) = if list.first() == Some(&1) {
            (20, 8)
        } else {
            (12, 4)
        };
        let entries = list.get(8..).unwrap_or_default().chunks(size);
        entries
            .map(|entry| {
                let from = be(&entry[half..2 * half]);
                let from = if half == 4 {
                    i64::from(from as u32 as i32)
                } else {
                    from as i64
                };
                (be(&entry[..half]), from)
            })
            .collect()
    }

    fn timecode(&self) -> Timecode {
        let table = |kind: &str| self.part(&format!("mdia/minf/stbl/{kind}"));
        let descriptions = table("stsd").unwrap();
        assert_eq!(be(&descriptions[4..8]), 1, "sample descriptions");
        let entry = &descriptions[8..];
        assert_eq!(&entry[4..8], b"tmcd");
        assert_eq!(be(&table("stsz").unwrap()[4..8]), 4, "bytes of the sample");
        assert_eq!(be(&table("stsz").unwrap()[8..12]), 1, "samples");
        let times = table("stts").unwrap();
        assert_eq!(be(&times[8..12]), 1, "samples with a length");
        let at = match (table("stco"), table("co64")) {
            (Some(short), None) => be(&short[8..12]),
            (None, Some(long)) => be(&long[8..16]),
            _ => panic!("one kind of chunk offsets"),
        } as usize;
        let flags = be(&entry[20..24]);
        let frame_ticks = be(&entry[28..32]);
        Timecode {
            id: self.id(),
            is_drop_frame: flags & 1 != 0,
            wraps_at_24_hours: flags & 2 != 0,
            timescale: be(&entry[24..28]) as u32,
            frame_ticks: frame_ticks as u32,
            base: entry[32],
            count: be(&self.file[at..at + 4]) as u32,
            frames: be(&times[12..16]) / frame_ticks,
            edits: self.edits(),
        }
    }
}

/// Where a box's contents begin in a file, by the order of its type: for tests
/// that set what FFmpeg's command line cannot.
pub fn nth(bytes: &[u8], kind: &[u8; 4], nth: usize) -> usize {
    let mut places = bytes
        .windows(4)
        .enumerate()
        .filter(|(_, part)| part == kind);
    places.nth(nth).expect("the box is there").0 + 4
}
