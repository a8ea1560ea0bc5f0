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
