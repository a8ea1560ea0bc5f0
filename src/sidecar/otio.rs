//! A card as an OpenTimelineIO timeline (`timeline.otio`): a track per camera, every
//! clip with its exact range at its own rate, gaps in clock time. The schemas are
//! those of the published specification ("OpenTimelineIO serialized schema");
//! clips are written as `Clip.1`, which every version of the reference library
//! reads. `docs/interchange.md` explains our own keys.

use super::placed::{Admit, LeftOut, Placed, placed};
use crate::clip_base;
use crate::outcome::{CardClip, CardOutcome, ClipOutcome, Verdict, Window};
use crate::path_text;
use crate::timecode::{Rate, Ratio};
use serde_json::{Map, Value, json};
use std::collections::BTreeSet;

/// Under which our own facts stand in every `metadata`.
const OUR_KEY: &str = "rollmark";

/// What enters the timeline, and how it finds its media.
#[derive(Clone, Copy)]
pub struct Options<'a> {
    pub admit: Admit,
    /// Path of a clip from the folder of the timeline, with `/`, or absolute; escapes as in
    /// [`CardClip::name`].
    pub media: &'a dyn Fn(&CardClip) -> String,
}

impl Default for Options<'_> {
    /// Sure clips, and media beside the timeline under their names.
    fn default() -> Self {
        Self {
            admit: Admit::default(),
            media: &|clip| clip.name.clone(),
        }
    }
}

/// The timeline, indented, UTF-8, with a final line break.
pub fn to_bytes(card: &CardOutcome, options: &Options<'_>) -> Vec<u8> {
    let (clips, left_out) = placed(card, options.admit);
    let origin_s = clips.first().map_or(Ratio::ZERO, |first| first.at_s);
    let mut tracks = Vec::new();
    let mut taken: BTreeSet<String> = BTreeSet::new();
    let mut free = |wanted: &str| {
        let numbered = (2..).map(|number| format!("{wanted} ({number})"));
        let mut names = std::iter::once(wanted.to_owned()).chain(numbered);
        let name = names.find(|name| taken.insert(name.clone()));
        name.expect("numbers do not end")
    };
    for (index, camera) in card.cameras.iter().enumerate() {
        let own = clips.iter().filter(|one| one.clip.camera == index);
        for lane in lanes(own, origin_s) {
            tracks.push(track(&free(&camera.name), lane, options));
        }
    }
    let global_start = clips.first().map_or(Value::Null, |first| {
        rational_time(first.start_frame, first.rate)
    });
    let timeline = json!({
        "OTIO_SCHEMA": "Timeline.1",
        "metadata": ours(timeline_facts(card, &clips, &left_out, origin_s)),
        "name": "Rollmark",
        "global_start_time": global_start,
        "tracks": {
            "OTIO_SCHEMA": "Stack.1",
            "metadata": {},
            "name": "tracks",
            "source_range": null,
            "effects": [],
            "markers": [],
            "enabled": true,
            "children": tracks,
        },
    });
    let mut bytes = serde_json::to_vec_pretty(&timeline).expect("JSON values always serialise");
    bytes.push(b'\n');
    bytes
}

/// A clip with the gap before it, in frames at the clip's rate.
type Step<'a> = (i64, &'a Placed<'a>);

/// One track of clips that do not overlap.
struct Lane<'a> {
    steps: Vec<Step<'a>>,
    /// Where the last clip ends, as written.
    end_s: Ratio,
}

/// Distributes one camera's clips over as few tracks as overlaps allow. Each gap is rounded
/// to a frame of the clip behind it from where the track really is, so that no clip lies
/// more than half of its own frames off, however many stand before it; clips of one rate
/// lie exactly.
fn lanes<'a>(clips: impl Iterator<Item = &'a Placed<'a>>, origin_s: Ratio) -> Vec<Vec<Step<'a>>> {
    let mut lanes: Vec<Lane<'a>> = Vec::new();
    for one in clips {
        let wanted_s = one.at_s - origin_s;
        let gap = |end_s: Ratio| {
            let frames = ((wanted_s - end_s) * one.rate.ratio()).round();
            i64::try_from(frames).expect("a few days of frames")
        };
        let free = lanes.iter().position(|lane| gap(lane.end_s) >= 0);
        let index = free.unwrap_or_else(|| {
            lanes.push(Lane {
                steps: Vec::new(),
                end_s: Ratio::ZERO,
            });
            lanes.len() - 1
        });
        let lane = &mut lanes[index];
        let gap = gap(lane.end_s);
        lane.end_s = lane.end_s + Ratio::from_integer(gap) / one.rate.ratio() + one.length_s();
        lane.steps.push((gap, one));
    }
    lanes.into_iter().map(|lane| lane.steps).collect()
}

fn track(name: &str, steps: Vec<Step<'_>>, options: &Options<'_>) -> Value {
    let mut children = Vec::new();
    for (gap, one) in steps {
        if gap > 0 {
            children.push(json!({
                "OTIO_SCHEMA": "Gap.1",
                "metadata": {},
                "name": "",
                "source_range": time_range(0, gap, one.rate),
                "effects": [],
                "markers": [],
                "enabled": true,
            }));
        }
        children.push(clip(one, options));
    }
    json!({
        "OTIO_SCHEMA": "Track.1",
        "metadata": {},
        "name": name,
        "source_range": null,
        "effects": [],
        "markers": [],
        "enabled": true,
        "children": children,
        "kind": "Video",
    })
}

fn clip(one: &Placed<'_>, options: &Options<'_>) -> Value {
    let range = time_range(one.start_frame, one.frames, one.rate);
    let outcome = &one.clip.outcome;
    let mut markers: Vec<Value> = outcome.windows.iter().map(|w| marker(one, w)).collect();
    if outcome.verdict == Verdict::Unsure {
        markers.insert(0, doubt(one));
    }
    json!({
        "OTIO_SCHEMA": "Clip.1",
        "metadata": ours(clip_facts(one)),
        "name": file_name(&one.clip.name),
        "source_range": range,
        "effects": [],
        "markers": markers,
        "enabled": true,
        "media_reference": {
            "OTIO_SCHEMA": "ExternalReference.1",
            "metadata": {},
            "name": file_name(&one.clip.name),
            "available_range": range,
            "available_image_bounds": null,
            "target_url": url(&(options.media)(one.clip)),
        },
    })
}

/// Where the clock was seen, in frames of the clip's own base.
fn marker(one: &Placed<'_>, window: &Window) -> Value {
    let frame = |index: Option<u64>, seconds: f64| {
        // By its time where indices are lost, or do not count nominal frames.
        let counted = index.filter(|_| !one.clip.outcome.clip.variable_rate);
        let frame = counted
            .and_then(|index| i64::try_from(index).ok())
            .unwrap_or_else(|| {
                let micros = Ratio::from_integer((seconds * 1e6).round() as i64);
                let frames = micros * one.rate.ratio() / Ratio::from_integer(1_000_000);
                i64::try_from(frames.round()).unwrap_or(0)
            });
        frame.clamp(0, one.frames - 1)
    };
    let first = frame(window.first_frame, window.first_seconds);
    let last = frame(window.last_frame, window.last_seconds).max(first);
    json!({
        "OTIO_SCHEMA": "Marker.2",
        "metadata": ours(json!({
            "frames_read": window.frames_read,
            "frames_agreeing": window.frames_agreeing,
        })),
        "name": "clock in view",
        "color": "GREEN",
        "marked_range": time_range(one.start_frame + first, last - first + 1, one.rate),
    })
}

/// What an editor sees of an unsure start without opening the metadata.
fn doubt(one: &Placed<'_>) -> Value {
    let why = one.clip.outcome.reasons.first();
    json!({
        "OTIO_SCHEMA": "Marker.2",
        "metadata": {},
        "name": format!("start unsure: {}", why.map_or("", |why| &why.sentence)),
        "color": "RED",
        "marked_range": time_range(one.start_frame, 1, one.rate),
    })
}

fn clip_facts(one: &Placed<'_>) -> Value {
    let mut facts = outcome_facts(&one.clip.outcome);
    facts.insert("at_seconds".into(), json!(one.at_s.to_string()));
    Value::Object(facts)
}

/// The parts of an outcome that a timeline carries, under the names of the clip object.
fn outcome_facts(outcome: &ClipOutcome) -> Map<String, Value> {
    let mut facts = Map::new();
    let mut put = |key: &str, value: Value| {
        facts.insert(key.into(), value);
    };
    put("verdict", json!(outcome.verdict));
    put("reasons", json!(outcome.reasons));
    put("notes", json!(outcome.notes));
    if let Some(start) = &outcome.start {
        put("label", json!(start.label));
        put("count_bounds", json!(start.exact_count_bounds));
        put("seconds_bounds", json!(start.seconds_bounds));
        put("in_clip_base", json!(start.in_clip_base));
        put("inherited_from", json!(start.inherited_from));
    }
    put("clock", json!(outcome.clock));
    put("clip_rate", json!(outcome.clip.rate));
    put("speed", json!(outcome.clip.speed));
    put("chapter", json!(outcome.chapter));
    let by_hand = outcome.by_hand.as_ref();
    put("by_hand", json!(by_hand.map(|hand| hand.what)));
    facts
}

fn timeline_facts(
    card: &CardOutcome,
    clips: &[Placed<'_>],
    left_out: &[LeftOut<'_>],
    origin_s: Ratio,
) -> Value {
    let mut clocks: Vec<String> = clips
        .iter()
        .filter_map(|one| one.clip.outcome.clock.as_ref())
        .filter_map(clip_base::clock_form)
        .map(|form| format!("{} at {}", form.pattern(), form.rate()))
        .collect();
    clocks.sort();
    clocks.dedup();
    let not_placed: Vec<Value> = left_out
        .iter()
        .map(|left| {
            let mut facts = outcome_facts(&left.clip.outcome);
            facts.insert("name".into(), json!(left.clip.name));
            facts.insert("left_out_because".into(), json!(left.why));
            Value::Object(facts)
        })
        .collect();
    let unsure = clips
        .iter()
        .filter(|one| one.clip.outcome.verdict == Verdict::Unsure)
        .count();
    json!({
        "tool": card.tool,
        "origin_seconds": origin_s.to_string(),
        "clocks": clocks,
        "placed": clips.len(),
        "placed_unsure": unsure,
        "not_placed": not_placed,
    })
}

fn ours(facts: Value) -> Value {
    json!({ OUR_KEY: facts })
}

/// The format has floats only. Integers this small are exact; a rate is the double nearest
/// to the ratio, because dividing two exact doubles rounds once (IEEE 754).
fn rational_time(frames: i64, rate: Rate) -> Value {
    let ratio = rate.ratio();
    json!({
        "OTIO_SCHEMA": "RationalTime.1",
        "rate": ratio.num() as f64 / ratio.den() as f64,
        "value": frames as f64,
    })
}

fn time_range(start: i64, frames: i64, rate: Rate) -> Value {
    json!({
        "OTIO_SCHEMA": "TimeRange.1",
        "duration": rational_time(frames, rate),
        "start_time": rational_time(start, rate),
    })
}

/// The part behind the last slash.
pub(super) fn file_name(name: &str) -> &str {
    name.rsplit('/').next().unwrap_or(name)
}

/// A path as a URL reference (RFC 3986): relative as it is, absolute as `file://`. The
/// escapes `\xNN` of a name are the bytes they stand for.
fn url(path: &str) -> String {
    let scheme = if path.starts_with('/') { "file://" } else { "" };
    format!("{scheme}{}", path_text::in_link(path))
}
