//! What a moved stream had in its old container and has not in the new one.

use super::rewrap::is_stale;
use super::{CopiedStream, survey};
use crate::error::Result;
use ffmpeg_next::{self as ffmpeg, DictionaryRef, media};
use std::path::Path;

/// Tags and tellings of the pictures that the copy has not, by name; `from`
/// names the source's stream of each stream of the copy, which are the `carried` ones.
///
/// # Errors
/// Those of opening both.
pub(super) fn lost(
    source: &Path,
    copy: &Path,
    from: &[usize],
    carried: &[CopiedStream],
) -> Result<Vec<String>> {
    let (source, copy) = (survey::demuxer(source)?, survey::demuxer(copy)?);
    let mut lost = missing(&source.metadata(), &copy.metadata(), "the file");
    let titles = titles(carried);
    for (to, at) in from.iter().enumerate() {
        let (Some(old), Some(new)) = (source.stream(*at), copy.stream(to)) else {
            continue;
        };
        lost.extend(missing(&old.metadata(), &new.metadata(), &titles[to]));
        if old.parameters().medium() == media::Type::Video {
            let pairs = looks(&old).into_iter().zip(looks(&new));
            let differing = pairs.filter(|((_, old), (_, new))| old.is_some() && old != new);
            lost.extend(differing.map(|((name, _), _)| name.to_owned()));
        }
    }
    lost.sort();
    lost.dedup();
    Ok(lost)
}

/// What each stream is called: `sound (aac)`, or, where there are more of that name,
/// `sound (aac) number 2`.
fn titles(carried: &[CopiedStream]) -> Vec<String> {
    let count = |of: &[CopiedStream], name: &str| of.iter().filter(|s| s.name == name).count();
    let numbered = carried.iter().enumerate().map(|(at, stream)| {
        if count(carried, &stream.name) == 1 {
            stream.name.clone()
        } else {
            format!(
                "{} number {}",
                stream.name,
                count(&carried[..=at], &stream.name)
            )
        }
    });
    numbered.collect()
}

fn missing(old: &DictionaryRef, new: &DictionaryRef, of: &str) -> Vec<String> {
    // A language that is undetermined tells nothing (ISO 639-2).
    let tags = (old.iter()).filter(|(key, value)| !is_stale(key) && *value != "und");
    tags.filter(|(key, value)| new.get(key) != Some(value))
        .map(|(key, value)| format!("tag {key} ({}) of {of}", shortened(value)))
        .collect()
}

/// Tags may hold whole documents.
fn shortened(value: &str) -> String {
    const MOST_CHARS: usize = 40;
    match value.char_indices().nth(MOST_CHARS) {
        Some((at, _)) => format!("{}...", &value[..at]),
        None => value.to_owned(),
    }
}

/// How pictures are to be shown, beside their matrix; `None` where the source
/// says nothing, as FFmpeg counts (0, and 2 for colours).
fn looks(stream: &ffmpeg::Stream) -> [(&'static str, Option<(i32, i32)>); 5] {
    // SAFETY: the parameters belong to the open demuxer.
    let raw = unsafe { &*stream.parameters().as_ptr() };
    let ratio = raw.sample_aspect_ratio;
    let said = |value: i32| (![0, 2].contains(&value)).then_some((value, 1));
    let range = raw.color_range as i32;
    [
        (
            "sample aspect ratio",
            (ratio.num > 0).then_some((ratio.num, ratio.den)),
        ),
        ("colour primaries", said(raw.color_primaries as i32)),
        ("transfer function", said(raw.color_trc as i32)),
        ("colour matrix", said(raw.color_space as i32)),
        ("colour range", (range > 0).then_some((range, 1))),
    ]
}
