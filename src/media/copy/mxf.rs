//! The start timecode of an MXF file, set in its place: every MXF file has a
//! timecode track, whose start, base and drop-frame flag are fields of fixed
//! length (SMPTE ST 377-1, annex B, 'Timecode Component').

use super::{CopyTimecode, cannot_write};
use crate::error::{Error, ErrorKind, Result};
use crate::media::mxf::{Kind, Next, Packets, Set};
use crate::timecode::{ClockForm, Rate, Ratio};
use std::fs::File;
use std::io::{Seek, SeekFrom, Write};

/// System items, which may repeat a timecode for each picture (ST 385, ST 394).
const SYSTEM_ITEM: [u8; 14] = [
    0x06, 0x0E, 0x2B, 0x34, 0x02, 0x05, 0x01, 0x01, 0x0D, 0x01, 0x03, 0x01, 0x04, 0x01,
];

/// Local tags of the component.
const START: u16 = 0x1501;
const BASE: u16 = 0x1502;
const DROP_FRAME: u16 = 0x1503;

/// Local tags that lead from a package to its components, and from those to other packages.
const TRACKS: u16 = 0x4403;
const PACKAGE_ID: u16 = 0x4401;
const EDIT_RATE: u16 = 0x4B01;
const SEQUENCE: u16 = 0x4803;
const COMPONENTS: u16 = 0x1001;
const CITED_PACKAGE: u16 = 0x1101;
const CITED_POSITION: u16 = 0x1201;

/// Rates of the trade lie a thousandth apart at least; writers round those of a component.
const SAME_RATE: Ratio = Ratio::new(1, 10_000);

/// What was replaced, and what was seen on the way.
#[derive(Debug, Default)]
pub(super) struct Patched {
    pub replaced: Vec<String>,
    pub has_system_items: bool,
}

/// The structure of a file, as each partition that describes it repeats it.
#[derive(Debug, Default)]
struct Contents {
    partitions: Vec<Structure>,
    has_system_items: bool,
}

/// Sets every timecode component of `file`, which is a copy and ours to change:
/// they lie in several packages, and packages are repeated in several partitions.
///
/// # Errors
/// [`ErrorKind::Undecodable`] if the end of the file cuts it off;
/// [`ErrorKind::BadRequest`] if it has no timecode component, or one that does not count the
/// pictures from the first that is shown.
pub(super) fn patch(file: &mut File, timecode: &CopyTimecode) -> Result<Patched> {
    let contents = Contents::of(file)?;
    for structure in &contents.partitions {
        structure.check(timecode)?;
    }
    let mut replaced = Vec::new();
    for component in contents.timecodes() {
        let mut component = component.clone();
        replaced.push(change(&mut component, timecode).ok_or_else(not_whole)?);
        file.seek(SeekFrom::Start(component.at))
            .and_then(|_| file.write_all(&component.bytes))
            .map_err(cannot_write)?;
    }
    if replaced.is_empty() {
        return Err(Error::new(
            ErrorKind::BadRequest,
            "has no timecode track that could be set",
        )
        .next("wrap it anew with a program that writes complete MXF, or use another output"));
    }
    replaced.sort();
    replaced.dedup();
    Ok(Patched {
        replaced,
        has_system_items: contents.has_system_items,
    })
}

/// True if every timecode component of a finished file says this, and none another thing.
///
/// # Errors
/// As [`patch`].
pub(super) fn says(file: &mut File, timecode: &CopyTimecode) -> Result<bool> {
    let contents = Contents::of(file)?;
    let mut said = contents.timecodes().map(Component::of);
    Ok(said.all(|said| said == Some(Component::from(timecode))))
}

impl Contents {
    fn of(file: &mut File) -> Result<Self> {
        let mut packets = Packets::of(file).map_err(cannot_write)?;
        let mut contents = Self::default();
        loop {
            let packet = match packets.next().map_err(cannot_write)? {
                Next::Packet(packet) => packet,
                Next::End => return Ok(contents),
                Next::CutOff => return Err(cut_off()),
                Next::Broken => return Err(not_whole()),
            };
            if packet.is_partition() {
                contents.partitions.push(Structure::default());
            }
            contents.has_system_items |= packet.is(&SYSTEM_ITEM);
            let set = packets.set(&packet).map_err(cannot_write)?;
            if let Some(structure) = contents.partitions.last_mut() {
                structure.0.extend(set);
            }
        }
    }

    fn timecodes(&self) -> impl Iterator<Item = &Set> {
        let sets = self.partitions.iter().flat_map(|structure| &structure.0);
        sets.filter(|set| set.kind == Kind::Timecode)
    }
}

/// The sets of one partition.
#[derive(Debug, Default)]
struct Structure(Vec<Set>);

impl Structure {
    fn sets(&self, kind: Kind) -> impl Iterator<Item = &Set> {
        self.0.iter().filter(move |set| set.kind == kind)
    }

    fn called(&self, names: &[[u8; 16]]) -> Vec<&Set> {
        let sets = self.0.iter();
        sets.filter(|set| names.iter().any(|name| set.is_called(name)))
            .collect()
    }

    /// What a track is made of: of one component, or of a sequence of them.
    fn components(&self, track: &Set) -> Vec<&Set> {
        let of_track = self.called(track.field(SEQUENCE).as_slice());
        match *of_track {
            [sequence] if sequence.kind == Kind::Sequence => {
                self.called(&sequence.references(COMPONENTS))
            }
            _ => of_track,
        }
    }

    /// The same label at the same picture in all packages, one label a picture: else there is
    /// nothing that could be written.
    fn check(&self, timecode: &CopyTimecode) -> Result<()> {
        let is_timecode = |set: &&Set| set.kind == Kind::Timecode;
        let holds_timecode = |track: &&Set| self.components(track).iter().any(is_timecode);
        if self.sets(Kind::Track).any(|track| track.origin() != 0) {
            return Err(refusal(
                "has tracks that begin before their own zero, and programs differ in which \
                 picture they show first",
            ));
        }
        let rate = timecode.form().rate();
        for track in self.sets(Kind::Track).filter(holds_timecode) {
            let own = track.field(EDIT_RATE).and_then(rate_of);
            let quotient = own.map_or(Ratio::ZERO, |own| own.ratio() / rate.ratio());
            if (quotient - Ratio::ONE).abs() > SAME_RATE {
                return Err(refusal(&format!(
                    "has a timecode track that counts {} frames a second, where its pictures \
                     are {}",
                    own.map_or("0".to_owned(), Rate::decimal),
                    rate.decimal()
                )));
            }
        }
        let counted = self.sets(Kind::Package).filter(|package| {
            let tracks = self.called(&package.references(TRACKS));
            tracks.iter().any(holds_timecode)
        });
        let counted: Vec<[u8; 32]> = counted.filter_map(|p| p.field(PACKAGE_ID)).collect();
        let begins_later = |clip: &Set| {
            let cited = clip.field(CITED_PACKAGE);
            let position = clip.field(CITED_POSITION).map_or(0, i64::from_be_bytes);
            position != 0 && cited.is_some_and(|cited| counted.contains(&cited))
        };
        if self.sets(Kind::SourceClip).any(begins_later) {
            return Err(refusal(
                "has timecode tracks that begin at different pictures: it shows a part of what \
                 is stored in it, or tells its place on a tape",
            ));
        }
        Ok(())
    }
}

/// What one component says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Component {
    start: i64,
    base: u16,
    drop_frame: bool,
}

impl Component {
    /// `None` if a field is missing or has another length than the standard's.
    fn of(set: &Set) -> Option<Self> {
        Some(Self {
            start: i64::from_be_bytes(set.field(START)?),
            base: u16::from_be_bytes(set.field(BASE)?),
            drop_frame: set.field::<1>(DROP_FRAME)?[0] != 0,
        })
    }

    fn text(self) -> String {
        let rate = if self.drop_frame {
            Rate::new(u32::from(self.base) * 1000, 1001)
        } else {
            Rate::new(self.base.into(), 1)
        };
        match rate.and_then(|rate| ClockForm::frames(rate, self.drop_frame).ok()) {
            Some(form) => {
                let label = form.text(self.start);
                format!("timecode track {label}, base {}", self.base)
            }
            None => "timecode track without a legible label".to_owned(),
        }
    }
}

impl From<&CopyTimecode> for Component {
    fn from(timecode: &CopyTimecode) -> Self {
        Self {
            start: timecode.count(),
            base: timecode.base().into(),
            drop_frame: timecode.form().drop_frame(),
        }
    }
}

/// Sets the fields of one component and tells what they said; `None` as [`Component::of`].
fn change(set: &mut Set, timecode: &CopyTimecode) -> Option<String> {
    let (old, new) = (Component::of(set)?, Component::from(timecode));
    *set.field_mut(START)? = new.start.to_be_bytes();
    *set.field_mut(BASE)? = new.base.to_be_bytes();
    *set.field_mut(DROP_FRAME)? = [u8::from(new.drop_frame)];
    Some(old.text())
}

fn rate_of(bytes: [u8; 8]) -> Option<Rate> {
    let [num, den] = [&bytes[..4], &bytes[4..]].map(|four| {
        let four = four.try_into().expect("four bytes");
        u32::from_be_bytes(four)
    });
    Rate::new(num, den)
}

fn refusal(what: &str) -> Error {
    Error::new(ErrorKind::BadRequest, what).next(
        "use another output than the copy, or wrap it anew with a program that writes it with \
         one timecode at the rate of its pictures",
    )
}

fn cut_off() -> Error {
    Error::new(
        ErrorKind::Undecodable,
        "is cut off: its last packet is longer than the file",
    )
    .next("copy it from the card again; a new timecode would hide the damage")
}

fn not_whole() -> Error {
    Error::new(ErrorKind::Undecodable, "is no whole MXF file").next("copy it from the card again")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_component_is_set_and_says_what_it_said() {
        let tags: [(u16, &[u8]); 4] = [
            (0x3C0A, &[9; 16]),
            (START, &107_892i64.to_be_bytes()),
            (BASE, &30u16.to_be_bytes()),
            (DROP_FRAME, &[1]),
        ];
        let mut set = Set::with(Kind::Timecode, &tags);
        let timecode = CopyTimecode::new(Rate::F25, false, 1000).unwrap();
        let old = change(&mut set, &timecode);
        assert_eq!(old.as_deref(), Some("timecode track 01:00:00;00, base 30"));
        let old = change(&mut set, &timecode);
        assert_eq!(old.as_deref(), Some("timecode track 00:00:40:00, base 25"));
        set.bytes.truncate(set.bytes.len() - 1);
        assert_eq!(change(&mut set, &timecode), None);
    }

    fn list(names: &[[u8; 16]]) -> Vec<u8> {
        let count = u32::try_from(names.len()).unwrap().to_be_bytes();
        [&count[..], &16u32.to_be_bytes(), &names.concat()].concat()
    }

    /// A package that is shown and cites a file package from `position` on, both with a
    /// timecode track of `rate` and of pictures, which begin `origin` pictures early.
    fn structure(rate: [u32; 2], position: i64, origin: i64) -> Structure {
        let rate = rate.map(u32::to_be_bytes).concat();
        let mut sets = Vec::new();
        for package in [1u8, 2] {
            let name = |of: u8| [10 * package + of; 16];
            let tracks = list(&[name(1), name(2)]);
            let tags: [(u16, &[u8]); 2] = [(PACKAGE_ID, &[package; 32]), (TRACKS, &tracks)];
            sets.push(Set::with(Kind::Package, &tags));
            let origin = if package == 2 { origin } else { 0 };
            for track in [1, 2] {
                let tags: [(u16, &[u8]); 4] = [
                    (0x3C0A, &name(track)),
                    (EDIT_RATE, &rate),
                    (0x4B02, &origin.to_be_bytes()),
                    (SEQUENCE, &name(track + 2)),
                ];
                sets.push(Set::with(Kind::Track, &tags));
            }
            let components = list(&[name(5)]);
            let tags: [(u16, &[u8]); 2] = [(0x3C0A, &name(3)), (COMPONENTS, &components)];
            sets.push(Set::with(Kind::Sequence, &tags));
            sets.push(Set::with(Kind::Timecode, &[(0x3C0A, &name(5))]));
            let cited = if package == 1 { 2 } else { 0 };
            let position = if package == 1 { position } else { 7 };
            let tags: [(u16, &[u8]); 3] = [
                (0x3C0A, &name(4)),
                (CITED_PACKAGE, &[cited; 32]),
                (CITED_POSITION, &position.to_be_bytes()),
            ];
            sets.push(Set::with(Kind::SourceClip, &tags));
        }
        Structure(sets)
    }

    #[test]
    fn timecode_that_does_not_count_the_pictures_from_the_first_is_not_set() {
        let timecode = CopyTimecode::new(Rate::F59_94, false, 1000).unwrap();
        let check = |rate, position, origin| {
            let refusal = structure(rate, position, origin).check(&timecode).err();
            refusal.map(|e| e.what().to_owned())
        };
        assert_eq!(check([60_000, 1001], 0, 0), None);
        assert_eq!(check([5994, 100], 0, 0), None, "rounded by its writer");
        for (refusal, wanted) in [
            (check([30_000, 1001], 0, 0), "counts 29.97"),
            (check([60, 1], 0, 0), "counts 60"),
            (check([0, 0], 0, 0), "counts 0"),
            (check([60_000, 1001], 12, 0), "different pictures"),
            (check([60_000, 1001], 0, 12), "their own zero"),
        ] {
            let refusal = refusal.unwrap();
            assert!(refusal.contains(wanted), "{refusal}");
        }
    }
}
