//! What is known about a clip beyond its start, as pairs of a term and its value.

use super::place::Places;
use super::words;
use crate::outcome::{
    ByHand, CardClip, Chapter, ClipPart, Clock, Estimate, GapKnownBy, Start, Window,
};
use maud::{Markup, html};

pub fn list(clip: &CardClip, places: &Places, index: usize) -> Markup {
    let outcome = &clip.outcome;
    let mut facts: Vec<(&str, String)> = Vec::new();
    if let Some(start) = &outcome.start {
        of_start(start, &mut facts);
    }
    if let Some(clock) = &outcome.clock {
        facts.push(("Clock", of_clock(clock)));
    }
    if let Some(estimate) = &outcome.estimate {
        of_estimate(estimate, places, index, &mut facts);
    }
    if let Some(chapter) = outcome.chapter.as_ref().filter(|c| c.chapters > 1) {
        facts.push(("Chapter", of_chapter(chapter)));
    }
    if let Some(by_hand) = &outcome.by_hand {
        facts.push(("By hand", of_hand(by_hand)));
    }
    for window in &outcome.windows {
        facts.push(("Clock in view", of_window(window)));
    }
    of_clip(&outcome.clip, &mut facts);
    html! {
        dl.facts {
            @for (term, value) in facts {
                div { dt { (term) } dd { bdi { (value) } } }
            }
        }
    }
}

fn of_start(start: &Start, facts: &mut Vec<(&str, String)>) {
    if let Some(own) = &start.in_clip_base {
        let drop_frame = if own.drop_frame { ", drop-frame" } else { "" };
        facts.push((
            "In the clip's own timecode",
            format!(
                "{} at {}{drop_frame}",
                words::visible(&own.label),
                words::rate(&own.rate)
            ),
        ));
    }
    let [low, high] = start.count_bounds;
    facts.push((
        "Count at frame 0",
        format!("{:.3}, from {low:.3} to {high:.3}", start.count),
    ));
    if let Some(from) = &start.inherited_from {
        facts.push(("Start by the slate of", words::visible(from)));
    }
}

fn of_clock(clock: &Clock) -> String {
    let mut words = vec![
        words::visible(&clock.form),
        format!(
            "{}, {}",
            words::counts_a_second(&clock.rate),
            clock.rate_known_by.word()
        ),
    ];
    match clock.drop_frame {
        Some(is_drop) => words.push(format!(
            "{} by {}",
            if is_drop {
                "drop-frame"
            } else {
                "no drop-frame"
            },
            clock.drop_frame_known_by.word().replace('_', " ")
        )),
        None if clock.form.contains('F') => words.push("drop-frame or not: open".to_owned()),
        None => {}
    }
    if let Some(hz) = clock.refresh_hz {
        words.push(format!("display refreshes at {hz} Hz"));
    }
    words.join("; ")
}

fn of_estimate(
    estimate: &Estimate,
    places: &Places,
    index: usize,
    facts: &mut Vec<(&str, String)>,
) {
    let [low, high] = estimate
        .seconds_bounds
        .map(|seconds| places.shown_s(index, seconds));
    facts.push((
        "Estimate, not a start",
        format!(
            "between {} and {}. {}",
            words::time_of_day(low),
            words::time_of_day(high.ceil()),
            words::sentence(&estimate.sentence)
        ),
    ));
    if !estimate.rests_on.is_empty() {
        let names: Vec<String> = estimate
            .rests_on
            .iter()
            .map(|name| words::visible(name))
            .collect();
        facts.push(("Estimate rests on", names.join(", ")));
    }
}

fn of_chapter(chapter: &Chapter) -> String {
    let seam = match (chapter.gap_frames, chapter.gap_known_by) {
        (_, GapKnownBy::First) => "the first".to_owned(),
        (Some(0), known) => format!("no frame missing before it ({})", known.word()),
        (Some(frames), known) => format!(
            "{} {} before it ({})",
            words::counted(frames.unsigned_abs() as usize, "frame"),
            if frames > 0 { "missing" } else { "doubled" },
            known.word()
        ),
        (None, GapKnownBy::Assumed) => "taken to follow without a gap".to_owned(),
        (None, known) => format!("gap before it: {}", known.word()),
    };
    format!(
        "{} of {} in recording {}; {seam}",
        chapter.number,
        chapter.chapters,
        words::visible(&chapter.recording)
    )
}

fn of_hand(by_hand: &ByHand) -> String {
    let before = match &by_hand.read_start {
        Some(start) => words::visible(&start.label),
        None => "no start".to_owned(),
    };
    format!(
        "{}; read before: {before}, verdict {}",
        by_hand.what.word(),
        by_hand.read_verdict.word()
    )
}

fn of_window(window: &Window) -> String {
    format!(
        "{} to {}, {} of {} agree",
        words::clip_time(window.first_seconds),
        words::clip_time(window.last_seconds),
        window.frames_agreeing,
        words::counted(window.frames_read, "read frame")
    )
}

fn of_clip(clip: &ClipPart, facts: &mut Vec<(&str, String)>) {
    let mut picture = Vec::new();
    if let (Some(width), Some(height)) = (clip.width_px, clip.height_px) {
        picture.push(format!("{width} × {height}"));
    }
    picture.extend(clip.codec.as_deref().map(words::visible));
    if let Some(rate) = &clip.rate {
        let varies = if clip.variable_rate { ", varying" } else { "" };
        picture.push(format!("{} fps{varies}", words::rate(rate)));
    }
    if let Some(frames) = clip.frames {
        picture.push(format!("{frames} frames"));
    }
    if clip.rotation != 0 {
        picture.push(format!("turned by {}°", clip.rotation));
    }
    match clip.has_audio {
        Some(true) => picture.push("with sound".to_owned()),
        Some(false) => picture.push("without sound".to_owned()),
        None => {}
    }
    if !picture.is_empty() {
        facts.push(("Clip", picture.join(", ")));
    }
    if (clip.speed - 1.0).abs() > 1e-9 {
        facts.push(("Plays at", format!("{:.3} of real speed", clip.speed)));
    }
    for (term, value) in [
        ("Camera by the file", &clip.camera),
        ("Camera's own clock", &clip.camera_clock()),
        ("Timecode in the file", &clip.carried_timecode),
    ] {
        if let Some(value) = value {
            facts.push((term, words::visible(value)));
        }
    }
    facts.push(("File", words::visible(&clip.path)));
}
