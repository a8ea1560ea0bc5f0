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
        /// The source's picture stream if its packets are single fields, which
        /// the copy holds two by two.
        field_pairs: Option<usize>,
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
                    field_pairs,
                    frame_0_s,
                } => {
                    let step = if *field_pairs == Some(from[at]) { 2 } else { 1 };
                    rewrapped(source, step, copy, *frame_0_s)
                }
            };
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

/// `step` packets of the source make one of the copy.
fn rewrapped(source: &Stream, step: usize, copy: &Stream, frame_0_s: [Ratio; 2]) -> Option<String> {
    if source.codec != copy.codec {
        return Some(format!("{} became {}", source.codec, copy.codec));
    }
    if source.sha256 != copy.sha256 {
        return Some("the packets differ from the source's".into());
    }
    // Uncompressed sound is cut into packets as each container likes.
    let is_sound = source.medium == media::Type::Audio;
    if source.packets != copy.packets * step as u64 && !is_sound {
        return Some(format!(
            "{} packets became {}",
            source.packets, copy.packets
        ));
    }
    if source.hidden != copy.hidden && !is_sound {
        return Some(format!(
            "{} hidden pictures became {}",
            source.hidden, copy.hidden
        ));
    }
    let times = |stream: &Stream, step, frame_0_s| -> Vec<Option<Ratio>> {
        let stamps = stream.stamps.iter().step_by(step);
        stamps
            .map(|stamp| stamp.map(|t| Ratio::from_integer(t) * stream.tick_seconds - frame_0_s))
            .collect()
    };
    let [old, new] = [
        times(source, step, frame_0_s[0]),
        times(copy, 1, frame_0_s[1]),
    ];
    if is_sound {
        // Its time scale is the sampling rate: exact up to a tick of either.
        let slack = source.tick_seconds + copy.tick_seconds;
        let far = old.first().zip(new.first()).and_then(|pair| match pair {
            (Some(old), Some(new)) => Some((*old - *new).abs() > slack),
            _ => None,
        });
        return (far == Some(true)).then(|| "it begins at another time".into());
    }
    let at = old.iter().zip(&new).position(|(old, new)| old != new)?;
    Some(format!(
        "picture {at} in the file's order is presented at another time"
    ))
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

    fn pictures(stamps: &[i64], ticks_per_second: i128) -> Stream {
        Stream {
            id: 1,
            medium: media::Type::Video,
            codec: "h264".into(),
            tag: "avc1".into(),
            packets: stamps.len() as u64,
            bytes: 9,
            sha256: "a".into(),
            stamps_sha256: "b".into(),
            stamps: stamps.iter().copied().map(Some).collect(),
            first_dts: None,
            end: None,
            lacks_decoding_stamps: false,
            hidden: 0,
            tick_seconds: Ratio::new(1, ticks_per_second),
        }
    }

    fn survey(streams: &[Stream]) -> Survey {
        Survey {
            streams: streams.to_vec(),
            incomplete: 0,
        }
    }

    #[test]
    fn every_difference_of_an_identical_copy_is_found() {
        let source = pictures(&[0, 1, 2], 25);
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
    fn a_rewrapped_copy_has_the_same_times_after_frame_0() {
        // Frame 0 at 3600 of 90000, in the copy at 0 of 12800: 40 ms apart.
        let source = survey(&[pictures(&[10_800, 3600, 7200], 90_000)]);
        let check = |stamps: &[i64], packets_a_frame: bool| {
            let law = Law::Rewrapped {
                from: &[0],
                field_pairs: packets_a_frame.then_some(0),
                frame_0_s: [Ratio::new(1, 25), Ratio::ZERO],
            };
            compare(&source, &survey(&[pictures(stamps, 12_800)]), &law).is_ok()
        };
        assert!(check(&[1024, 0, 512], false));
        assert!(!check(&[1024, 0, 513], false));
        assert!(!check(&[1024, 0], false));
        assert!(!check(&[1024, 0, 512], true));
    }
}
