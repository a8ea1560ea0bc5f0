//! Packets and sets of MXF (SMPTE ST 336, ST 377-1), as far as FFmpeg keeps silent about
//! them: where tracks begin, and where a copy finds its timecode.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;

/// What every key begins with, and the version byte that readers must not look at
/// (ST 377-1, 7.1; ST 336).
const PREFIX: [u8; 4] = [0x06, 0x0E, 0x2B, 0x34];
const VERSION_AT: usize = 7;
const PARTITION: [u8; 13] = [
    0x06, 0x0E, 0x2B, 0x34, 0x02, 0x05, 0x01, 0x01, 0x0D, 0x01, 0x02, 0x01, 0x01,
];
/// Which partition, and which set: the key's byte behind what they have in common.
const HEADER_PARTITION: u8 = 0x02;
const FOOTER_PARTITION: u8 = 0x04;
const SET: [u8; 14] = [
    0x06, 0x0E, 0x2B, 0x34, 0x02, 0x53, 0x01, 0x01, 0x0D, 0x01, 0x01, 0x01, 0x01, 0x01,
];

/// Local tags (ST 377-1, annex B).
const INSTANCE: u16 = 0x3C0A;
const ORIGIN: u16 = 0x4B02;

/// What may stand before the first partition, in bytes (ST 377-1, 6.5).
const LONGEST_RUN_IN: u64 = 65_536;
/// The tags of a set have lengths of 16 bits; those of structure take a few hundred bytes.
const LONGEST_SET: u64 = 65_536;
/// A header has some dozens of packets before its first picture.
const MOST_IN_HEADER: usize = 4096;

/// Key, place and length of a packet's value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Packet {
    pub key: [u8; 16],
    pub body: u64,
    pub len: u64,
}

impl Packet {
    /// True if the key begins as expected, whatever its version.
    pub(super) fn is(&self, expected: &[u8]) -> bool {
        let pairs = self.key.iter().zip(expected).enumerate();
        pairs
            .into_iter()
            .all(|(at, (found, expected))| at == VERSION_AT || found == expected)
    }

    pub(super) fn is_partition(&self) -> bool {
        self.is(&PARTITION) && (HEADER_PARTITION..=FOOTER_PARTITION).contains(&self.key[13])
    }

    /// `None` at an offset where no packet is, or one whose length makes no sense.
    fn at(file: &mut File, at: u64) -> io::Result<Option<Self>> {
        let mut head = Vec::new();
        file.seek(SeekFrom::Start(at))?;
        file.take(25).read_to_end(&mut head)?;
        let (Some(key), Some(first)) = (head.first_chunk::<16>(), head.get(16)) else {
            return Ok(None);
        };
        if !key.starts_with(&PREFIX) {
            return Ok(None);
        }
        // Below 128 the length itself, else how many bytes of length follow (ST 336, BER).
        let (size, len) = match first {
            short @ 0..0x80 => (1, u64::from(*short)),
            long => {
                let count = usize::from(long & 0x7F);
                let Some(bytes) = head.get(17..17 + count).filter(|_| count <= 8) else {
                    return Ok(None);
                };
                let len = bytes.iter().fold(0, |sum, b| sum << 8 | u64::from(*b));
                (1 + count, len)
            }
        };
        let body = at + 16 + size as u64;
        let fits = body.checked_add(len).is_some();
        Ok(fits.then_some(Self {
            key: *key,
            body,
            len,
        }))
    }
}

/// What comes next in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Next {
    Packet(Packet),
    End,
    /// The end of the file cuts a packet off.
    CutOff,
    /// No packet, where one must be.
    Broken,
}

/// The packets of a file, from its first partition on.
pub(super) struct Packets<'a> {
    pub file: &'a mut File,
    file_len: u64,
    /// `None` if there is no partition.
    at: Option<u64>,
    has_footer: bool,
}

impl<'a> Packets<'a> {
    pub(super) fn of(file: &'a mut File) -> io::Result<Self> {
        let file_len = file.metadata()?.len();
        let mut head = Vec::new();
        file.seek(SeekFrom::Start(0))?;
        file.take(LONGEST_RUN_IN + 16).read_to_end(&mut head)?;
        let mut parts = head.windows(PARTITION.len());
        let at = parts.position(|part| part == PARTITION);
        Ok(Self {
            file,
            file_len,
            at: at.map(|at| at as u64),
            has_footer: false,
        })
    }

    pub(super) fn next(&mut self) -> io::Result<Next> {
        let Some(at) = self.at else {
            return Ok(Next::Broken);
        };
        if at >= self.file_len {
            return Ok(Next::End);
        }
        let Some(packet) = Packet::at(self.file, at)? else {
            // A file with its footer is whole: what lies behind that is filling, or not MXF's.
            return Ok(if self.has_footer {
                Next::End
            } else {
                Next::Broken
            });
        };
        if packet.len > self.file_len.saturating_sub(packet.body) {
            return Ok(Next::CutOff);
        }
        self.has_footer |= packet.is_partition() && packet.key[13] == FOOTER_PARTITION;
        self.at = Some(packet.body + packet.len);
        Ok(Next::Packet(packet))
    }

    /// The set that a packet is; `None` for other packets.
    pub(super) fn set(&mut self, packet: &Packet) -> io::Result<Option<Set>> {
        let kind = Kind::of(packet).filter(|_| packet.len <= LONGEST_SET);
        let Some(kind) = kind else {
            return Ok(None);
        };
        let mut bytes = Vec::new();
        self.file.seek(SeekFrom::Start(packet.body))?;
        (&mut *self.file).take(packet.len).read_to_end(&mut bytes)?;
        Ok(Some(Set {
            kind,
            at: packet.body,
            bytes,
        }))
    }
}

/// What a set describes: the structure of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Sequence,
    SourceClip,
    Timecode,
    /// The package that a player shows, and those that it is made of.
    Package,
    Track,
}

impl Kind {
    fn of(packet: &Packet) -> Option<Self> {
        if !packet.is(&SET) {
            return None;
        }
        match packet.key[14] {
            0x0F => Some(Self::Sequence),
            0x11 => Some(Self::SourceClip),
            0x14 => Some(Self::Timecode),
            0x36 | 0x37 => Some(Self::Package),
            0x3B => Some(Self::Track),
            _ => None,
        }
    }
}

/// One set: local tags with their values.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Set {
    pub kind: Kind,
    /// Where in the file its value lies.
    pub at: u64,
    pub bytes: Vec<u8>,
}

impl Set {
    /// The value of a local tag that has `N` bytes.
    pub(super) fn field<const N: usize>(&self, tag: u16) -> Option<[u8; N]> {
        let value = self.bytes.get(self.place(tag)?)?;
        value.try_into().ok()
    }

    /// As [`Self::field`], to be changed.
    pub(super) fn field_mut<const N: usize>(&mut self, tag: u16) -> Option<&mut [u8; N]> {
        let place = self.place(tag)?;
        self.bytes.get_mut(place)?.try_into().ok()
    }

    /// The sets that an array of references names.
    pub(super) fn references(&self, tag: u16) -> Vec<[u8; 16]> {
        let value = self.place(tag).and_then(|place| self.bytes.get(place));
        // Their number and the length of one stand before them.
        let list = value.and_then(|value| value.get(8..)).unwrap_or_default();
        list.chunks_exact(16)
            .map(|one| one.try_into().expect("16 bytes"))
            .collect()
    }

    pub(super) fn is_called(&self, name: &[u8; 16]) -> bool {
        self.field(INSTANCE).as_ref() == Some(name)
    }

    /// How many pictures a track has before its own zero (ST 377-1, B.15).
    pub(super) fn origin(&self) -> i64 {
        let origin = self.field(ORIGIN).filter(|_| self.kind == Kind::Track);
        origin.map_or(0, i64::from_be_bytes)
    }

    fn place(&self, tag: u16) -> Option<std::ops::Range<usize>> {
        let mut at = 0;
        loop {
            let head = self.bytes.get(at..at + 4)?;
            let found = u16::from_be_bytes([head[0], head[1]]);
            let len = usize::from(u16::from_be_bytes([head[2], head[3]]));
            at += 4;
            if found == tag {
                return Some(at..at + len);
            }
            at += len;
        }
    }
}

/// True if the header of a file has a track whose zero is not where its essence begins: FFmpeg
/// does not look at that.
pub(super) fn has_origin(path: &Path) -> io::Result<bool> {
    let mut file = File::open(path)?;
    let mut packets = Packets::of(&mut file)?;
    for nth in 0..MOST_IN_HEADER {
        let Next::Packet(packet) = packets.next()? else {
            break;
        };
        if nth > 0 && packet.is_partition() {
            break;
        }
        if packets.set(&packet)?.is_some_and(|set| set.origin() != 0) {
            return Ok(true);
        }
    }
    Ok(false)
}

#[cfg(test)]
impl Set {
    /// A set of these tags that stands for others in tests.
    pub(super) fn with(kind: Kind, tags: &[(u16, &[u8])]) -> Self {
        let mut bytes = Vec::new();
        for (tag, value) in tags {
            bytes.extend(tag.to_be_bytes());
            bytes.extend((value.len() as u16).to_be_bytes());
            bytes.extend(*value);
        }
        Self { kind, at: 0, bytes }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    fn packet(kind: u8, value: &[u8]) -> Vec<u8> {
        let mut bytes = [&PARTITION[..], &[kind, 1, 0]].concat();
        bytes.push(value.len() as u8);
        bytes.extend(value);
        bytes
    }

    /// How reading to the end of these bytes ends, and how many packets there were.
    fn read(bytes: &[u8]) -> (usize, Next) {
        let mut file = tempfile::tempfile().unwrap();
        file.write_all(bytes).unwrap();
        let mut packets = Packets::of(&mut file).unwrap();
        for nth in 0.. {
            match packets.next().unwrap() {
                Next::Packet(_) => {}
                end => return (nth, end),
            }
        }
        unreachable!()
    }

    #[test]
    fn what_lies_behind_the_footer_is_no_damage() {
        let header = packet(HEADER_PARTITION, &[7; 9]);
        let footer = packet(FOOTER_PARTITION, &[7; 9]);
        let whole = [&header[..], &footer].concat();
        assert_eq!(read(&whole), (2, Next::End));
        for behind in [&[0; 5][..], &[0; 1000], b"words"] {
            assert_eq!(read(&[&whole, behind].concat()), (2, Next::End));
            assert_eq!(read(&[&header, behind].concat()), (1, Next::Broken));
        }
        assert_eq!(read(&whole[..whole.len() - 1]), (1, Next::CutOff));
        assert_eq!(read(&[0; 100]), (0, Next::Broken));
    }

    #[test]
    fn versions_of_keys_are_not_looked_at() {
        let mut key = [0; 16];
        key[..14].copy_from_slice(&SET);
        key[14] = 0x14;
        key[VERSION_AT] = 9;
        let mut packet = Packet {
            key,
            body: 0,
            len: 0,
        };
        assert_eq!(Kind::of(&packet), Some(Kind::Timecode));
        packet.key[13] = 9;
        assert_eq!(Kind::of(&packet), None);
    }

    #[test]
    fn fields_are_found_by_tag_and_length() {
        let name = [9; 16];
        let list = [&[0, 0, 0, 2, 0, 0, 0, 16][..], &[1; 16], &[2; 16]].concat();
        let tags: [(u16, &[u8]); 3] = [
            (INSTANCE, &name),
            (ORIGIN, &12i64.to_be_bytes()),
            (0x1001, &list),
        ];
        let set = Set::with(Kind::Track, &tags);
        assert!(set.is_called(&name));
        assert_eq!(set.origin(), 12);
        assert_eq!(set.references(0x1001), [[1; 16], [2; 16]]);
        assert_eq!(set.field::<4>(ORIGIN), None);
        assert_eq!(set.field::<8>(0x1201), None);
        let mut cut = set;
        cut.bytes.truncate(cut.bytes.len() - 1);
        assert!(cut.references(0x1001).is_empty());
    }
}
