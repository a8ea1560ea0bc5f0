//! Which files are clips: decided by what probing says, not by names. A name only decides
//! what a file that cannot be opened was meant to be, and whose proxy a small clip is.

use super::own_clock::SAME_MOMENT_S;
use super::scan::Found;
use crate::error::{Error, ErrorKind, Result};
use crate::facts::HeaderFacts;
use crate::note::Note;
use crate::path_text::{folded, text_of};
use crate::timecode::Ratio;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Bound;
use std::path::Path;

/// What probing said about a file, as far as a card needs it; kept between runs.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) enum Probe {
    Opened {
        container: String,
        width_px: u32,
        height_px: u32,
        /// Seconds as an integer ratio.
        duration_s: Option<String>,
        creation_time: Option<String>,
    },
    Refused {
        /// [`ErrorKind::code`].
        code: String,
        what: String,
    },
}

impl Probe {
    pub fn of(result: &Result<HeaderFacts>) -> Self {
        match result {
            Ok(facts) => Self::Opened {
                container: facts.container.clone(),
                width_px: facts.width_px,
                height_px: facts.height_px,
                duration_s: facts.duration_s.map(|d| d.to_string()),
                creation_time: facts.creation_time.clone(),
            },
            Err(error) => Self::Refused {
                code: error.kind().code().to_owned(),
                what: error.what().to_owned(),
            },
        }
    }

    /// Of a probe that ended in a fault of the program.
    pub fn fault() -> Self {
        let error = Error::new(
            ErrorKind::Undecodable,
            "opening it hit a fault of this program",
        );
        Self::of(&Err(error))
    }

    /// True if another try would say the same of an unchanged file.
    pub fn is_lasting(&self) -> bool {
        *self != Self::fault()
            && !matches!(self, Self::Refused { code, .. } if code == ErrorKind::CannotOpen.code())
    }

    /// Clip seconds, rounded: for progress and for comparing lengths.
    pub fn duration_s(&self) -> Option<f64> {
        match self {
            Self::Opened { duration_s, .. } => duration_s
                .as_ref()
                .and_then(|text| text.parse::<Ratio>().ok())
                .map(Ratio::to_f64),
            Self::Refused { .. } => None,
        }
    }
}

/// Extensions of files that are meant to hold moving pictures. If such a file cannot be
/// opened, the user must hear of it. Common practice, no source.
const VIDEO: &[&str] = &[
    "360", "3g2", "3gp", "ari", "asf", "avi", "braw", "crm", "dv", "flv", "insv", "m2t", "m2ts",
    "m4v", "mkv", "mod", "mov", "mp4", "mpeg", "mpg", "mts", "mxf", "nut", "ogv", "r3d", "tod",
    "ts", "vob", "webm", "wmv",
];

/// FFmpeg's demuxers that open what is no recording: pictures, and lists of other files,
/// which would lead out of the card.
const NO_CLIPS: &[(&str, &str)] = &[
    ("image2", "still_picture"),
    ("gif", "still_picture"),
    ("apng", "still_picture"),
    ("ico", "still_picture"),
    ("hls", "playlist"),
    ("concat", "playlist"),
    ("dash", "playlist"),
    ("imf", "playlist"),
    ("sdp", "playlist"),
];

/// What becomes of a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Fate {
    Clip,
    Skip(Note),
}

/// One file after the other, then each against its neighbours. `probes` lie as `files` do;
/// clips that are `unreadable` have no smaller copies passed over.
pub(super) fn sift(files: &[Found], probes: &[Probe], unreadable: &BTreeSet<usize>) -> Vec<Fate> {
    let mut fates = alone_each(files, probes);
    for (small, large) in proxies(files, probes, &fates, unreadable) {
        fates[small] = Fate::Skip(Note::new(
            "proxy",
            format!(
                "a smaller copy of {}, which is read instead",
                text_of(&files[large].relative)
            ),
        ));
    }
    fates
}

/// Clips of which smaller copies would be passed over.
pub(super) fn originals(files: &[Found], probes: &[Probe]) -> BTreeSet<usize> {
    let fates = alone_each(files, probes);
    let pairs = proxies(files, probes, &fates, &BTreeSet::new());
    pairs.into_iter().map(|(_, large)| large).collect()
}

fn alone_each(files: &[Found], probes: &[Probe]) -> Vec<Fate> {
    let pairs = files.iter().zip(probes);
    pairs
        .map(|(file, probe)| alone(&file.relative, probe))
        .collect()
}

/// Smaller copies, each with its clip.
fn proxies(
    files: &[Found],
    probes: &[Probe],
    fates: &[Fate],
    unreadable: &BTreeSet<usize>,
) -> Vec<(usize, usize)> {
    // By folded stem and by folder, so that a card of thousands of clips is not compared pairwise.
    let mut kin: BTreeMap<(usize, String), BTreeMap<&Path, Vec<usize>>> = BTreeMap::new();
    for (index, file) in files.iter().enumerate() {
        if let (Fate::Clip, Some(folder)) = (&fates[index], file.relative.parent()) {
            let key = (file.card, kin_stem(&file.relative));
            let folders = kin.entry(key).or_default();
            folders.entry(folder).or_default().push(index);
        }
    }
    let mut found = Vec::new();
    for folders in kin.values() {
        for (folder, proxies) in folders {
            let near: Vec<usize> = near(folder, folders).collect();
            for &small in proxies {
                let clips = near.iter().filter(|large| {
                    !unreadable.contains(large)
                        && is_proxy(
                            (&files[small], &probes[small]),
                            (&files[**large], &probes[**large]),
                        )
                });
                // Of a proxy of the proxy too, the clip is the one that is read.
                let large = clips.max_by_key(|large| files[**large].stamp.size_byte);
                found.extend(large.map(|&large| (small, large)));
            }
        }
    }
    found
}

/// Files that a proxy in `folder` may be of: in the same folder, one within the other's, or in one
/// beside a folder for proxies.
fn near<'f>(
    folder: &'f Path,
    folders: &'f BTreeMap<&Path, Vec<usize>>,
) -> impl Iterator<Item = usize> {
    let within = |top: &'f Path| {
        let from_there = folders.range::<Path, _>((Bound::Excluded(top), Bound::Unbounded));
        from_there.take_while(move |(below, _)| below.starts_with(top))
    };
    let above = folder.ancestors().filter_map(|above| folders.get(above));
    let below = within(folder).map(|(_, files)| files);
    let name = folder.file_name().map(folded);
    let around = folder
        .parent()
        .filter(|_| name.is_some_and(|name| PROXY_FOLDERS.contains(&&*name)));
    let beside = around.into_iter().flat_map(move |around| {
        let beside = within(around).filter(move |(other, _)| other.parent() == Some(around));
        beside.map(|(_, files)| files)
    });
    above.chain(below).chain(beside).flatten().copied()
}

fn alone(relative: &Path, probe: &Probe) -> Fate {
    let skip = |code: &str, sentence: String| Fate::Skip(Note::new(code, sentence));
    match probe {
        Probe::Opened { container, .. } => {
            let kind = NO_CLIPS
                .iter()
                .find(|(name, _)| container.split(',').any(|c| c == *name))
                .map(|(_, code)| *code)
                .or_else(|| container.ends_with("_pipe").then_some("still_picture"));
            match kind {
                None => Fate::Clip,
                Some("still_picture") if is_thumbnail(relative) => {
                    skip("thumbnail", "a small picture of a clip".into())
                }
                Some("still_picture") => {
                    skip("still_picture", "a picture that does not move".into())
                }
                Some(_) => skip("playlist", "a list of other files, not a recording".into()),
            }
        }
        // The clip's own result says what is wrong with it.
        Probe::Refused { .. } if extension(relative).is_some_and(|e| VIDEO.contains(&&*e)) => {
            Fate::Clip
        }
        Probe::Refused { code, .. } if code == ErrorKind::NoDecoder.code() => Fate::Clip,
        Probe::Refused { code, what } if code == ErrorKind::CannotOpen.code() => {
            skip(code, format!("it {what}"))
        }
        Probe::Refused { .. } if is_thumbnail(relative) => {
            skip("thumbnail", "a small picture of a clip".into())
        }
        Probe::Refused { .. } => skip("not_video", "it holds no video".into()),
    }
}

/// Common practice, no source: cameras name thumbnails so.
fn is_thumbnail(relative: &Path) -> bool {
    extension(relative).is_some_and(|e| e == "thm")
        || folders(relative).any(|f| f.starts_with("thmb") || f.starts_with("thumb"))
}

fn extension(relative: &Path) -> Option<String> {
    relative.extension().map(folded)
}

/// Names of the folders above, folded, nearest first.
fn folders(relative: &Path) -> impl Iterator<Item = String> {
    relative
        .ancestors()
        .skip(1)
        .filter_map(|a| a.file_name())
        .map(folded)
}

/// What proxy and clip have in common: the stem without what marks a proxy. Common
/// practice, no source: a mark at the end of the name, `S03` and the like behind it, or
/// another second letter before a recording's number.
fn kin_stem(relative: &Path) -> String {
    let mut stem = folded(relative.file_stem().unwrap_or_default());
    for mark in [
        "_proxy", "-proxy", ".proxy", " proxy", "_sub", "_lrv", "_lowres",
    ] {
        if let Some(rest) = stem.strip_suffix(mark) {
            stem.truncate(rest.len());
        }
    }
    let bytes = stem.as_bytes();
    let n = bytes.len();
    let digits = |range: std::ops::Range<usize>| bytes[range].iter().all(u8::is_ascii_digit);
    if n >= 6 && bytes[n - 3] == b's' && digits(n - 2..n) && bytes[n - 4].is_ascii_digit() {
        stem.truncate(n - 3);
    } else if n == 8 && bytes[..2].iter().all(u8::is_ascii_alphabetic) && digits(2..8) {
        stem.replace_range(1..2, "*");
    }
    stem
}

/// Folders that hold smaller copies of what lies beside them. Common practice, no source.
const PROXY_FOLDERS: &[&str] = &[
    "proxy", "proxies", "sub", "lrv", "preview", "previews", "lowres",
];

/// Lengths of a clip and its proxy differ by less: their frame rates may differ.
const SAME_LENGTH_S: f64 = 0.2;

/// True if `small`, which lies near `large`, is a copy of it with fewer pixels and bytes. A clip that
/// is wrongly taken for a proxy is never read, so everything must fit.
fn is_proxy(small: (&Found, &Probe), large: (&Found, &Probe)) -> bool {
    let ((file, probe), (other, of)) = (small, large);
    let (
        Probe::Opened {
            width_px: w,
            height_px: h,
            creation_time: made,
            ..
        },
        Probe::Opened {
            width_px: of_w,
            height_px: of_h,
            creation_time: of_made,
            ..
        },
    ) = (probe, of)
    else {
        return false;
    };
    let area = |w: &u32, h: &u32| u64::from(*w) * u64::from(*h);
    if area(w, h) >= area(of_w, of_h) || file.stamp.size_byte >= other.stamp.size_byte {
        return false;
    }
    let is_as_long = match (probe.duration_s(), of.duration_s()) {
        (Some(a), Some(b)) => (a - b).abs() <= SAME_LENGTH_S,
        _ => false,
    };
    let seconds = |text: &Option<String>| {
        text.as_deref()
            .and_then(super::moment::Moment::parse)
            .map(|m| m.whole_seconds())
    };
    let is_of_another_time = match (seconds(made), seconds(of_made)) {
        (Some(a), Some(b)) => (a - b).abs() > SAME_MOMENT_S,
        _ => false,
    };
    is_as_long && !is_of_another_time
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::save::FileStamp;

    fn found(name: &str, size_byte: u64) -> Found {
        Found {
            card: 0,
            path: Path::new("card").join(name),
            relative: name.into(),
            stamp: FileStamp {
                size_byte,
                changed_ns: 0,
            },
        }
    }

    fn opened(width_px: u32, height_px: u32, duration_s: &str) -> Probe {
        Probe::Opened {
            container: "mov,mp4,m4a,3gp,3g2,mj2".into(),
            width_px,
            height_px,
            duration_s: Some(duration_s.into()),
            creation_time: None,
        }
    }

    fn refused(kind: ErrorKind) -> Probe {
        Probe::of(&Err(Error::new(kind, "cannot be opened")))
    }

    fn codes(files: &[(&str, u64, Probe)]) -> Vec<String> {
        let found: Vec<Found> = files.iter().map(|(n, s, _)| found(n, *s)).collect();
        let probes: Vec<Probe> = files.iter().map(|(_, _, p)| p.clone()).collect();
        sift(&found, &probes, &BTreeSet::new())
            .into_iter()
            .map(|fate| match fate {
                Fate::Clip => "clip".to_owned(),
                Fate::Skip(note) => note.code,
            })
            .collect()
    }

    #[test]
    fn the_extension_decides_only_what_cannot_be_opened() {
        let pipe = |container: &str| Probe::Opened {
            container: container.into(),
            width_px: 160,
            height_px: 120,
            duration_s: None,
            creation_time: None,
        };
        assert_eq!(
            codes(&[
                ("take.dat", 9, opened(1920, 1080, "60/1")),
                ("text.MOV", 9, refused(ErrorKind::NotVideo)),
                ("empty.mp4", 0, refused(ErrorKind::Empty)),
                ("notes.txt", 9, refused(ErrorKind::NotVideo)),
                ("sound.wav", 9, refused(ErrorKind::NoPicture)),
                ("photo.heic", 9, refused(ErrorKind::NoIndex)),
                ("photo.jpg", 9, pipe("jpeg_pipe")),
                ("C0001.THM", 9, pipe("jpeg_pipe")),
                ("THMBNL/C0001T01.JPG", 9, pipe("image2")),
                ("list.m3u8", 9, pipe("hls")),
                ("locked.xml", 9, refused(ErrorKind::CannotOpen)),
            ]),
            [
                "clip",
                "clip",
                "clip",
                "not_video",
                "not_video",
                "not_video",
                "still_picture",
                "thumbnail",
                "thumbnail",
                "playlist",
                "cannot_open"
            ]
        );
    }

    #[test]
    fn proxies_of_a_neighbour_are_skipped_by_every_way_of_naming_them() {
        for (clip, proxy) in [
            ("100/GX010042.MP4", "100/GL010042.LRV"),
            ("100/REC0042.MP4", "100/REC0042.LRF"),
            ("CLIP/C0001.MP4", "SUB/C0001S03.MP4"),
            ("VIDEO/0001AB.MXF", "PROXY/0001AB.MP4"),
            ("A001.mov", "Proxy/A001.mov"),
            ("A001.mov", "A001_Proxy.mp4"),
        ] {
            assert_eq!(
                codes(&[
                    (clip, 900, opened(3840, 2160, "60/1")),
                    (proxy, 90, opened(960, 540, "60060/1001")),
                ]),
                ["clip", "proxy"],
                "{proxy}"
            );
        }
    }

    /// Some recorders give each clip a folder, and all clips one name.
    #[test]
    fn of_many_folders_with_one_name_each_has_its_own_proxy() {
        let clips = (0..500).flat_map(|n| {
            let clip = (
                format!("clip{n:05}/video.mp4"),
                900,
                opened(3840, 2160, "60/1"),
            );
            let proxy = (
                format!("clip{n:05}/proxy/video.mp4"),
                90,
                opened(960, 540, "60/1"),
            );
            [clip, proxy]
        });
        let (names, probes): (Vec<_>, Vec<_>) = clips.map(|(n, s, p)| (found(&n, s), p)).unzip();
        let fates = sift(&names, &probes, &BTreeSet::new());
        let is_proxy = |fate: &Fate| matches!(fate, Fate::Skip(note) if note.code == "proxy");
        let proxies = fates.iter().map(is_proxy);
        assert!(proxies.eq([false, true].into_iter().cycle().take(1000)));
        // One that names the clip beside it, and not one of another folder.
        let Fate::Skip(note) = &fates[3] else {
            unreachable!()
        };
        assert!(note.sentence.contains("clip00001/video.mp4"), "{note:?}");
    }

    #[test]
    fn of_a_proxy_of_a_proxy_the_clip_is_named_that_is_read() {
        let found = [
            found("A001.mov", 900),
            found("Proxy/A001.mov", 90),
            found("Proxy/A001_sub.mov", 9),
        ];
        for order in [[0, 1, 2], [2, 1, 0], [1, 2, 0]] {
            let found = order.map(|i| found[i].clone());
            let probes = order.map(|i| opened(3840 >> i, 2160 >> i, "60/1"));
            let fates = sift(&found, &probes, &BTreeSet::new());
            for (i, fate) in order.into_iter().zip(fates) {
                match fate {
                    Fate::Clip => assert_eq!(i, 0),
                    Fate::Skip(note) => assert!(note.sentence.contains(" A001.mov"), "{note:?}"),
                }
            }
        }
    }

    #[test]
    fn what_may_be_a_take_of_its_own_is_read() {
        let clip = ("a/C0001.MP4", 900, opened(3840, 2160, "60/1"));
        for (other, why) in [
            (
                ("b/C0001.MP4", 90, opened(960, 540, "60/1")),
                "another camera's folder",
            ),
            (
                ("a/C0001.MOV", 90, opened(960, 540, "58/1")),
                "another length",
            ),
            (("a/C0001.MOV", 950, opened(960, 540, "60/1")), "more bytes"),
            (
                ("a/C0001.MOV", 90, opened(3840, 2160, "60/1")),
                "as many pixels",
            ),
            (
                ("a/C0002.MP4", 90, opened(960, 540, "60/1")),
                "another name",
            ),
        ] {
            assert_eq!(codes(&[clip.clone(), other]), ["clip", "clip"], "{why}");
        }
    }

    #[test]
    fn a_small_clip_begun_at_another_time_is_no_proxy() {
        let at = |width_px, made: &str| Probe::Opened {
            container: "mov".into(),
            width_px,
            height_px: 90,
            duration_s: Some("60/1".into()),
            creation_time: Some(made.into()),
        };
        let small = ("C0001.MOV", 9, at(160, "2021-05-28T13:40:43Z"));
        for (made, code) in [
            ("2021-05-28T12:40:43Z", "clip"),
            ("2021-05-28T13:40:42Z", "proxy"),
        ] {
            assert_eq!(
                codes(&[("C0001.MP4", 90, at(320, made)), small.clone()])[1],
                code
            );
        }
    }
}
