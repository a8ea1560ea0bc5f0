//! A copy held against its source, stream by stream.

use super::CopiedStream;
use super::survey::{Stream, Survey};
use crate::error::{Error, ErrorKind, Result};
use crate::timecode::Ratio;
use ffmpeg_next::media;

/// What must be equal.
pub(super) enum Law<'a> {
    /// Everything: streams, payloads, stamps.
    Identical,
    /// Payloads, and times after frame 0; `from` names the source's stream of
    /// each stream of the copy.
    Rewrapped {
        from: &'a [usize],
        /// The source's picture stream, and for each of its packets whether a sample of the
        /// copy begins with it: it holds the fields of a frame as one.
        starts: (usize, &'a [bool]),
        /// FFmpeg's stamp of frame 0, in seconds, in source and copy.
        frame_0_s: [Ratio; 2],
    },
}

/// # Errors
/// [`ErrorKind::CannotWrite`] with the first difference: the copy is no good.
pub(super) fn compare(source: &Survey, copy: &Survey, law: &Law) -> Result<Vec<CopiedStream>> {
    let carried = |survey: &Survey| -> Vec<Stream> {
        let streams = survey.streams.iter().filter(|stream| !stream.is_timecode());
        streams.cloned().collect()
    };
    let copies = carried(copy);
    let sources: Vec<Stream> = match law {
        Law::Identical => carried(source),
        Law::Rewrapped { from, .. } => from.iter().map(|at| source.streams[*at].clone()).collect(),
    };
    if copies.len() != sources.len() {
        return Err(differs(format!(
            "it has {} streams where {} were to be carried",
            copies.len(),
            sources.len()
        )));
    }
    let pairs = sources.iter().zip(&copies).enumerate();
    pairs
        .map(|(at, (source, copy))| {
            let difference = match law {
                Law::Identical => identical(source, copy),
                Law::Rewrapped {
                    from,
                    starts: (pictures, starts),
                    frame_0_s,
                } => {
                    let starts = if *pictures == from[at] {
                        starts
                    } else {
                        &[][..]
                    };
                    rewrapped(source, starts, copy, *frame_0_s)
                }
            };
            if let Law::Rewrapped { frame_0_s, .. } = law
                && begins_elsewhere(source, copy, *frame_0_s)
            {
                return Err(shifted(copy));
            }
            match difference {
                Some(what) => Err(differs(format!("its {}: {what}", copy.name()))),
                None => Ok(CopiedStream::of(source, copy)),
            }
        })
        .collect()
}

/// The first difference in words.
fn identical(source: &Stream, copy: &Stream) -> Option<String> {
    let checks = [
        (source.id == copy.id, "the track's number"),
        (source.codec == copy.codec, "the codec"),
        (source.packets == copy.packets, "the number of packets"),
        (source.sha256 == copy.sha256, "the packets"),
        (source.tick_seconds == copy.tick_seconds, "the time scale"),
        (
            source.stamps_sha256 == copy.stamps_sha256,
            "the times of the packets",
        ),
    ];
    let failed = checks.iter().find(|(holds, _)| !holds)?;
    Some(format!("{} differ from the source's", failed.1))
}

/// Packets of the source that `starts` says no to belong to the one before in the copy.
fn rewrapped(
    source: &Stream,
    starts: &[bool],
    copy: &Stream,
    frame_0_s: [Ratio; 2],
) -> Option<String> {
    if source.codec != copy.codec {
        return Some(format!("{} became {}", source.codec, copy.codec));
    }
    if source.sha256 != copy.sha256 {
        return Some("the packets differ from the source's".into());
    }
    // Uncompressed sound is cut into packets as each container likes.
    let is_sound = source.medium == media::Type::Audio;
    let samples = source.packets - starts.iter().filter(|begins| !**begins).count() as u64;
    if samples != copy.packets && !is_sound {
        return Some(format!("{samples} samples became {}", copy.packets));
    }
    let hidden = hidden(source, starts, frame_0_s[0]);
    if hidden != copy.hidden && !is_sound {
        return Some(format!("{hidden} hidden pictures became {}", copy.hidden));
    }
    if is_sound {
        return None;
    }
    let times = |stream: &Stream, starts, frame_0_s| -> Vec<Option<Ratio>> {
        stamps(stream, starts)
            .map(|stamp| stamp.map(|t| Ratio::from_integer(t) * stream.tick_seconds - frame_0_s))
            .collect()
    };
    let [old, new] = [
        times(source, starts, frame_0_s[0]),
        times(copy, &[], frame_0_s[1]),
    ];
    let at = old.iter().zip(&new).position(|(old, new)| old != new)?;
    Some(format!(
        "picture {at} in the file's order is presented at another time"
    ))
}

/// Presentation stamps of the packets with which samples begin.
fn stamps<'a>(stream: &'a Stream, starts: &'a [bool]) -> impl Iterator<Item = Option<i64>> + 'a {
    let stamps = stream.stamps.iter().copied().enumerate();
    stamps
        .filter(|(at, _)| starts.get(*at) != Some(&false))
        .map(|(_, stamp)| stamp)
}

/// True of sound that does not begin as far from frame 0 as in the source. Its time scale is
/// the sampling rate: exact up to a tick of either.
fn begins_elsewhere(source: &Stream, copy: &Stream, frame_0_s: [Ratio; 2]) -> bool {
    let begin = |stream: &Stream, frame_0_s| {
        let stamp = stream.stamps.first().copied().flatten()?;
        Some(Ratio::from_integer(stamp) * stream.tick_seconds - frame_0_s)
    };
    let begins = begin(source, frame_0_s[0]).zip(begin(copy, frame_0_s[1]));
    let slack = source.tick_seconds + copy.tick_seconds;
    source.medium == media::Type::Audio
        && begins.is_some_and(|(old, new)| (old - new).abs() > slack)
}

/// As Vorbis from Ogg, whose first packet is shorter than the new container takes it for.
fn shifted(sound: &Stream) -> Error {
    Error::new(
        ErrorKind::BadRequest,
        format!(
            "its {} would begin at another time in the copy",
            sound.name()
        ),
    )
    .next("convert the clip's sound to PCM or AAC first, or use another output than the copy")
}

/// Pictures of the copy that are to be hidden: what an edit list of the source hides, and what
/// comes before frame 0 in time. Such pictures are in files that begin with an open group:
/// they lean on pictures that are not there, and nobody shows them.
fn hidden(source: &Stream, starts: &[bool], frame_0_s: Ratio) -> u64 {
    let stamps = stamps(source, starts).flatten();
    let early = stamps.filter(|t| Ratio::from_integer(*t) * source.tick_seconds < frame_0_s);
    source.hidden.max(early.count() as u64)
}

pub(super) fn differs(what: impl std::fmt::Display) -> Error {
    Error::new(
        ErrorKind::CannotWrite,
        format!("the copy was thrown away, since it does not equal the source: {what}"),
    )
    .next("try again; if it fails again, the drive or this program is at fault")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn survey(streams: &[Stream]) -> Survey {
        Survey {
            streams: streams.to_vec(),
            incomplete: 0,
        }
    }

    #[test]
    fn every_difference_of_an_identical_copy_is_found() {
        let source = Stream::pictures(&[0, 1, 2], 25);
        let changes: [fn(&mut Stream); 6] = [
            |stream| stream.id = 2,
            |stream| stream.codec = "hevc".into(),
            |stream| stream.packets = 4,
            |stream| stream.sha256 = "c".into(),
            |stream| stream.stamps_sha256 = "c".into(),
            |stream| stream.tick_seconds = Ratio::new(1, 50),
        ];
        for change in changes {
            let mut copy = source.clone();
            change(&mut copy);
            let (old, new) = (survey(std::slice::from_ref(&source)), survey(&[copy]));
            assert!(compare(&old, &old, &Law::Identical).is_ok());
            let error = compare(&old, &new, &Law::Identical).unwrap_err();
            assert_eq!(error.kind(), ErrorKind::CannotWrite);
        }
        let (old, new) = (survey(&[source.clone(), source.clone()]), survey(&[source]));
        assert!(compare(&old, &new, &Law::Identical).is_err());
    }

    #[test]
    fn pictures_before_frame_0_must_be_hidden_in_the_copy() {
        // I at 3600 of 90000 is frame 0; of the two B before it one would be seen.
        let source = survey(&[Stream::pictures(&[3600, -3600, 0, 7200], 90_000)]);
        let check = |hidden: u64| {
            let law = Law::Rewrapped {
                from: &[0],
                starts: (0, &[true; 4]),
                frame_0_s: [Ratio::new(1, 25), Ratio::ZERO],
            };
            let mut copy = Stream::pictures(&[0, -1024, -512, 512], 12_800);
            copy.hidden = hidden;
            compare(&source, &survey(&[copy]), &law).is_ok()
        };
        assert!(check(2));
        assert!(!check(1));
        assert!(!check(0));
    }

    #[test]
    fn sound_that_begins_elsewhere_is_no_fault_of_the_drive() {
        let sound = |first: i64| Stream {
            medium: media::Type::Audio,
            ..Stream::pictures(&[first, 1024], 48_000)
        };
        let law = Law::Rewrapped {
            from: &[0],
            starts: (1, &[]),
            frame_0_s: [Ratio::ZERO, Ratio::ZERO],
        };
        let check = |first| compare(&survey(&[sound(-120)]), &survey(&[sound(first)]), &law);
        assert!(check(-121).is_ok());
        let error = check(-128).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::BadRequest);
        assert!(error.what().contains("begin at another time"), "{error}");
    }

    #[test]
    fn a_rewrapped_copy_has_the_same_times_after_frame_0() {
        // Frame 0 at 3600 of 90000, in the copy at 0 of 12800: 40 ms apart.
        let source = survey(&[Stream::pictures(&[10_800, 3600, 7200], 90_000)]);
        let check = |stamps: &[i64], starts: &[bool]| {
            let law = Law::Rewrapped {
                from: &[0],
                starts: (0, starts),
                frame_0_s: [Ratio::new(1, 25), Ratio::ZERO],
            };
            compare(&source, &survey(&[Stream::pictures(stamps, 12_800)]), &law).is_ok()
        };
        assert!(check(&[1024, 0, 512], &[true; 3]));
        assert!(!check(&[1024, 0, 513], &[true; 3]));
        assert!(!check(&[1024, 0], &[true; 3]));
        assert!(!check(&[1024, 0, 512], &[true, false, true]));
        // Two fields and a lone one.
        assert!(check(&[1024, 512], &[true, false, true]));
        assert!(!check(&[1024, 0], &[true, false, true]));
    }
}
