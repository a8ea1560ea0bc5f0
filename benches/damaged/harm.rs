//! What is done to a clip: damage as cards and cables do it, and damage that is aimed at the
//! tables of a container.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Damage {
    Flips,
    Cut,
    Splice,
    AbsurdNumber,
    Zeros,
    Repeat,
    Fields,
    Loops,
    Nests,
}

/// Where a container keeps sizes, rates, stamps and offsets: shortly behind these marks.
/// ISO/IEC 14496-12 and the QuickTime file format; RFC 9559 (Matroska) and RFC 8794 (EBML);
/// the AVI RIFF file reference with its OpenDML extensions; ISO/IEC 13818-1; SMPTE ST 377-1.
fn marks(name: &str) -> &'static [&'static [u8]] {
    match name.rsplit('.').next() {
        Some("mp4" | "mov") => &[
            b"ftyp", b"moov", b"mvhd", b"trak", b"tkhd", b"edts", b"elst", b"mdia", b"mdhd",
            b"hdlr", b"minf", b"stbl", b"stsd", b"avc1", b"avcC", b"hvc1", b"hvcC", b"apcn",
            b"stts", b"ctts", b"stss", b"stsc", b"stsz", b"stco", b"co64", b"tref", b"tmcd",
            b"mvex", b"trex", b"moof", b"tfhd", b"tfdt", b"trun", b"mfra", b"mdat",
        ],
        Some("mkv" | "webm") => &[
            b"\x1a\x45\xdf\xa3",
            b"\x18\x53\x80\x67",
            b"\x11\x4d\x9b\x74",
            b"\x53\xac",
            b"\x15\x49\xa9\x66",
            b"\x2a\xd7\xb1",
            b"\x44\x89",
            b"\x16\x54\xae\x6b",
            b"\x23\xe3\x83",
            b"\x1f\x43\xb6\x75",
            b"\x1c\x53\xbb\x6b",
        ],
        Some("avi") => &[
            b"RIFF", b"LIST", b"hdrl", b"avih", b"strl", b"strh", b"strf", b"indx", b"movi",
            b"idx1", b"ix00", b"00dc",
        ],
        Some("mts") => &[b"\x00\x00\x01\xe0", b"\x47\x40\x00", b"\x47\x41\x00"],
        _ => &[b"\x06\x0e\x2b\x34"],
    }
}

const NUMBERS: [u64; 9] = [
    0,
    1,
    u64::MAX,
    1 << 63,
    0x7fff_ffff_ffff_ffff,
    0xffff_ffff,
    0x7fff_ffff,
    0x8000_0000,
    u64::MAX - 15,
];

/// Boxes within boxes: a reader that calls itself for each runs out of stack.
const DEPTH: usize = 20_000;

impl Damage {
    pub const ALL: [(Self, &'static str); 9] = [
        (Self::Flips, "bits flipped"),
        (Self::Cut, "cut off"),
        (Self::Splice, "pieces moved"),
        (Self::AbsurdNumber, "absurd numbers"),
        (Self::Zeros, "zeroed"),
        (Self::Repeat, "pieces repeated"),
        (Self::Fields, "absurd fields"),
        (Self::Loops, "loops"),
        (Self::Nests, "nested boxes"),
    ];

    /// Harms a clip whose file name ends in `name`.
    pub fn apply(self, name: &str, bytes: &mut Vec<u8>, rng: &mut ChaCha8Rng) {
        let len = bytes.len();
        // Half of the damage hits the first or last four kilobytes, where containers keep
        // their tables.
        let place = |rng: &mut ChaCha8Rng| match rng.random_range(0..4) {
            0 => rng.random_range(0..len.min(4096)),
            1 => len - 1 - rng.random_range(0..len.min(4096)),
            _ => rng.random_range(0..len),
        };
        match self {
            Self::Flips => {
                for _ in 0..1 << rng.random_range(0..8) {
                    let at = place(rng);
                    bytes[at] ^= 1 << rng.random_range(0..8);
                }
            }
            Self::Cut => match rng.random_range(0..16) {
                0 => bytes.clear(),
                _ => bytes.truncate(rng.random_range(0..len)),
            },
            Self::Splice => {
                let (from, to) = (place(rng), place(rng));
                let size = rng.random_range(1..4096).min(len - from.max(to));
                let piece = bytes[from..from + size].to_vec();
                bytes[to..to + size].copy_from_slice(&piece);
            }
            Self::AbsurdNumber => {
                for _ in 0..rng.random_range(1..8) {
                    let number = NUMBERS[rng.random_range(0..NUMBERS.len())];
                    let at = place(rng);
                    put(bytes, at, number, rng);
                }
            }
            Self::Zeros => {
                let at = place(rng);
                let size = rng.random_range(1..16_384).min(len - at);
                bytes[at..at + size].fill(0);
            }
            Self::Repeat => {
                let at = place(rng);
                let size = rng.random_range(1..4096).min(len - at);
                let piece = bytes[at..at + size].repeat(rng.random_range(1..8));
                bytes.splice(at..at, piece);
            }
            Self::Fields => {
                for _ in 0..rng.random_range(1..4) {
                    let mark = mark(name, bytes, rng);
                    // The size of a box stands before its mark.
                    let at = (mark + rng.random_range(0..52)).saturating_sub(4);
                    let number = NUMBERS[rng.random_range(0..NUMBERS.len())];
                    put(bytes, at, number, rng);
                }
            }
            Self::Loops => {
                for _ in 0..rng.random_range(1..4) {
                    let (from, to) = (mark(name, bytes, rng), mark(name, bytes, rng));
                    let to = if rng.random() { from } else { to };
                    let back = [0, 4, 8, 16, 40, 48][rng.random_range(0..6)];
                    let at = from + rng.random_range(4..64);
                    put(bytes, at, to.saturating_sub(back) as u64, rng);
                }
            }
            Self::Nests => {
                let at = match rng.random_range(0..3) {
                    0 => len,
                    _ => mark(name, bytes, rng).saturating_sub(4),
                };
                let depth = rng.random_range(10..DEPTH);
                bytes.splice(at..at, nest(name, depth));
            }
        }
    }
}

/// The place of some mark, or any place if the file has none.
fn mark(name: &str, bytes: &[u8], rng: &mut ChaCha8Rng) -> usize {
    let marks = marks(name);
    let first = rng.random_range(0..marks.len());
    for mark in marks.iter().cycle().skip(first).take(marks.len()) {
        let all: Vec<usize> = bytes
            .windows(mark.len())
            .enumerate()
            .filter_map(|(at, window)| (window == *mark).then_some(at))
            .collect();
        if !all.is_empty() {
            return all[rng.random_range(0..all.len())];
        }
    }
    rng.random_range(0..bytes.len())
}

/// Overwrites with a number of any width and byte order.
fn put(bytes: &mut [u8], at: usize, number: u64, rng: &mut ChaCha8Rng) {
    let width = [1, 2, 4, 8][rng.random_range(0..4)];
    let at = at.min(bytes.len().saturating_sub(width));
    let width = width.min(bytes.len());
    let (big, little) = (number.to_be_bytes(), number.to_le_bytes());
    let number = match rng.random() {
        true => &big[8 - width..],
        false => &little[..width],
    };
    bytes[at..at + width].copy_from_slice(number);
}

/// `depth` boxes, each the only content of the one before.
fn nest(name: &str, depth: usize) -> Vec<u8> {
    let mut nest = Vec::new();
    for level in 0..depth {
        let below = depth - level;
        match name.rsplit('.').next() {
            Some("mkv" | "webm") => {
                // Tags, then SimpleTag in SimpleTag (RFC 9559, 5.1.8); sizes of eight bytes.
                let id: &[u8] = if level == 0 {
                    b"\x12\x54\xc3\x67"
                } else {
                    b"\x67\xc8"
                };
                nest.extend(id);
                nest.extend(((1 << 56) | (10 * (below as u64 - 1))).to_be_bytes());
            }
            Some("avi") => {
                nest.extend(b"LIST");
                nest.extend((12 * below as u32 - 8).to_le_bytes());
                nest.extend(b"strl");
            }
            _ => {
                nest.extend((8 * below as u32).to_be_bytes());
                nest.extend(if level % 2 == 0 { b"moov" } else { b"trak" });
            }
        }
    }
    nest
}
