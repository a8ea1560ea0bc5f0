//! The card on the clock's axis: a lane for each camera, a bar for each clip.

use super::axis::Axis;
use super::order::{self, Pile};
use super::place::{DAY_S, Place, Places};
use super::{clip_id, words};
use crate::outcome::CardOutcome;
use maud::{Markup, html};

/// A pause longer than this part of the filmed time is cut out, but never one shorter than
/// `LEAST_CUT_S`.
const CUT_PART: f64 = 0.08;
const LEAST_CUT_S: f64 = 300.0;
/// Least distance of two times on the axis, as a part of its width: the width of eight
/// letters on the narrowest drawing, and some air.
const TICK_ROOM: f64 = 0.115;
/// The same for the length of a pause, for each of its letters: a little wider than one.
const LETTER_ROOM: f64 = 0.0125;
/// A bar of at least this part of the width carries its clip's name; the style sheet shows it
/// where there is room for the letters.
const NAME_ROOM: f64 = 0.03;
/// Steps between times on the axis, in seconds.
const STEPS_S: [f64; 15] = [
    1.0, 2.0, 5.0, 10.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 14_400.0,
    21_600.0,
];

/// The timeline with its heading; `None` if no clip has a place on the clock.
pub fn draw(card: &CardOutcome, places: &Places) -> Option<Markup> {
    let spans = || places.of_clip.iter().flatten().map(outline);
    let filmed: f64 = spans().map(|(low, high)| high - low).sum();
    let axis = Axis::new(spans(), (filmed * CUT_PART).max(LEAST_CUT_S))?;
    let lost: Vec<usize> = (0..card.clips.len())
        .filter(|&index| places.of_clip[index].is_none())
        .collect();
    Some(html! {
        section #timeline aria-labelledby="timeline-title" {
            h2 #timeline-title { "On the clock" }
            div.scroll tabindex="0" role="group" aria-labelledby="timeline-title" {
                div.line {
                    @for (from, to, _) in axis.cuts() {
                        div.cut style=(across(from, to)) {}
                    }
                    @for tick in ticks(&axis) {
                        div.tick style=(format!("left:{}", percent(tick.place))) {}
                    }
                    @for (camera, rows) in lanes(card, places) {
                        div.lane {
                            h3 title=(camera) { bdi { (camera) } }
                            ol.track style=(format!("--rows:{}", rows.len())) {
                                @for (row, clips) in rows.iter().enumerate() {
                                    @for &index in clips {
                                        (bar(card, places, &axis, index, row))
                                    }
                                }
                            }
                        }
                    }
                    div.axis aria-hidden="true" {
                        @for tick in ticks(&axis) {
                            span.time.midnight[tick.is_midnight] style=(format!("left:{}", percent(tick.place))) { (tick.text) }
                        }
                        @for (place, text) in pauses(&axis) {
                            span.pause style=(format!("left:{}", percent(place))) { (text) }
                        }
                    }
                }
            }
            ul.legend {
                @for (kind, meaning) in KINDS {
                    @if (0..card.clips.len()).any(|index| kind_of(card, places, index) == Some(kind)) {
                        li { span.key.(kind) {} (meaning) }
                    }
                }
                @if axis.cuts().next().is_some() {
                    li { span.key.nothing {} "nothing filmed: cut out" }
                }
            }
            @if !lost.is_empty() {
                p.lost {
                    (words::counted(lost.len(), "clip")) " without a place on the clock: "
                    @for (nth, &index) in lost.iter().take(12).enumerate() {
                        @if nth > 0 { ", " }
                        a href=(format!("#{}", clip_id(index))) {
                            bdi { (words::file_name(&card.clips[index].name)) }
                        }
                    }
                    @if lost.len() > 12 { " and " (lost.len() - 12) " more, listed below" }
                    "."
                }
            }
        }
    })
}

/// The kinds of bars and what they mean.
const KINDS: [(&str, &str); 3] = [
    ("ready", "ready"),
    ("eye", "needs an eye"),
    ("estimate", "estimate, with its bounds"),
];

/// The kind of a clip's bar; `None` for a clip without a place.
fn kind_of(card: &CardOutcome, places: &Places, index: usize) -> Option<&'static str> {
    let place = places.of_clip[index]?;
    Some(match place.doubt_s {
        Some(_) => "estimate",
        None => Pile::of(&card.clips[index].outcome).key(),
    })
}

/// What a clip covers at most.
fn outline(place: &Place) -> (f64, f64) {
    let (before, after) = place.doubt_s.unwrap_or((0.0, 0.0));
    (place.start_s - before, place.end_s + after)
}

/// Cameras that have clips on the clock, with rows in which no clips overlap.
fn lanes(card: &CardOutcome, places: &Places) -> Vec<(String, Vec<Vec<usize>>)> {
    let mut cameras: Vec<(usize, Vec<usize>)> = Vec::new();
    let mut placed: Vec<usize> = (0..card.clips.len())
        .filter(|&index| places.of_clip[index].is_some())
        .collect();
    let span = |index: usize| places.of_clip[index].as_ref().map_or((0.0, 0.0), outline);
    placed.sort_by(|&a, &b| span(a).0.total_cmp(&span(b).0));
    for index in placed {
        let camera = card.clips[index].camera;
        match cameras.iter_mut().find(|(of, _)| *of == camera) {
            Some((_, clips)) => clips.push(index),
            None => cameras.push((camera, vec![index])),
        }
    }
    cameras.sort_by_key(|(camera, _)| *camera);
    cameras
        .into_iter()
        .map(|(camera, clips)| {
            let mut rows: Vec<Vec<usize>> = Vec::new();
            for index in clips {
                let start = span(index).0;
                // Takes that touch may share a row; rounding is no overlap.
                let free = rows
                    .iter_mut()
                    .find(|row| row.last().is_some_and(|&last| span(last).1 <= start + 0.05));
                match free {
                    Some(row) => row.push(index),
                    None => rows.push(vec![index]),
                }
            }
            (camera_name(card, camera), rows)
        })
        .collect()
}

/// What to call a camera, even one that the card does not list.
pub fn camera_name(card: &CardOutcome, camera: usize) -> String {
    match card.cameras.get(camera).map(|camera| camera.name.trim()) {
        Some(name) if !name.is_empty() => words::visible(name),
        _ => format!("Camera {}", camera + 1),
    }
}

fn bar(card: &CardOutcome, places: &Places, axis: &Axis, index: usize, row: usize) -> Markup {
    let clip = &card.clips[index];
    let Some(place) = places.of_clip[index] else {
        return html! {};
    };
    let (low, high) = outline(&place);
    let (from, to) = (axis.place(low), axis.place(high));
    let name = words::file_name(&clip.name);
    let kind = kind_of(card, places, index).unwrap_or_default();
    let start = match &clip.outcome.start {
        Some(start) => words::visible(&start.label),
        None => format!("about {}", words::time_of_day(place.start_s)),
    };
    let said = format!(
        "{name}, {start}, {}, {}",
        words::length(place.end_s - place.start_s),
        order::mark(&clip.outcome)
    );
    html! {
        li.(kind) style=(format!("{};--row:{row}", across(from, to))) {
            a.bar.(kind) href=(format!("#{}", clip_id(index))) title=(said) aria-label=(said) {
                @if to - from >= NAME_ROOM {
                    bdi { (name.rsplit_once('.').map_or(name.as_str(), |(stem, _)| stem)) }
                }
            }
        }
    }
}

/// A time on the axis.
#[derive(Debug, PartialEq)]
struct Tick {
    place: f64,
    text: String,
    is_midnight: bool,
}

fn ticks(axis: &Axis) -> Vec<Tick> {
    let mut ticks: Vec<Tick> = Vec::new();
    for block in axis.blocks() {
        let length = block.high - block.low;
        let share = block.to - block.from;
        let step = STEPS_S
            .into_iter()
            .find(|step| step / length.max(1e-9) * share >= TICK_ROOM)
            .unwrap_or(DAY_S);
        let first = (block.low / step).ceil();
        let last = (block.high / step).floor();
        let whole = (0..=(last - first).max(-1.0) as i64)
            .map(|nth| (first + nth as f64) * step)
            .take_while(|value| *value <= block.high);
        let mut told: Vec<(f64, f64)> = whole.map(|value| (axis.place(value), value)).collect();
        if told.is_empty() {
            // Nothing round falls in a short block: it gets the time of its beginning, cut to
            // whole seconds, which would lie in the pause before.
            told.push((block.from, block.low.floor()));
        }
        for (place, value) in told {
            let is_free = ticks
                .last()
                .is_none_or(|before| place - before.place >= TICK_ROOM);
            // The last time is written to the right of its line.
            if is_free && place <= 1.0 - TICK_ROOM / 2.0 {
                let text = words::time_of_day(value);
                let is_midnight = value > 0.0 && value % DAY_S == 0.0;
                ticks.push(Tick {
                    place,
                    text: match (is_midnight, value % 60.0 == 0.0) {
                        (true, _) => "midnight".to_owned(),
                        (_, true) => text[..5].to_owned(),
                        _ => text,
                    },
                    is_midnight,
                });
            }
        }
    }
    ticks
}

/// What is cut out, and where to say so; of cuts that lie too close, the earlier.
fn pauses(axis: &Axis) -> Vec<(f64, String)> {
    let mut told: Vec<(f64, String)> = Vec::new();
    let mut free_from = 0.0;
    for (from, to, pause_s) in axis.cuts() {
        let minutes = (pause_s / 60.0).round() as u64;
        let text = match minutes {
            0..60 => format!("{minutes} min"),
            _ => format!("{} h {:02} min", minutes / 60, minutes % 60),
        };
        let middle = (from + to) / 2.0;
        let half = text.len() as f64 * LETTER_ROOM / 2.0;
        if middle - half >= free_from && middle + half <= 1.0 {
            free_from = middle + half + LETTER_ROOM;
            told.push((middle, text));
        }
    }
    told
}

/// `left` and `width` of something between two places.
fn across(from: f64, to: f64) -> String {
    format!("left:{};width:{}", percent(from), percent(to - from))
}

fn percent(share: f64) -> String {
    format!("{:.3}%", share * 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_keep_their_distance_and_are_round() {
        let axis = Axis::new([(36_010.0, 39_650.0)], 300.0).unwrap();
        let ticks = ticks(&axis);
        assert!(ticks.len() >= 4, "{ticks:?}");
        for pair in ticks.windows(2) {
            assert!(pair[1].place - pair[0].place >= TICK_ROOM, "{ticks:?}");
        }
        assert_eq!(ticks[0].text, "10:10");
    }

    #[test]
    fn midnight_is_named() {
        let axis = Axis::new([(86_000.0, 86_800.0)], 300.0).unwrap();
        let ticks = ticks(&axis);
        let midnight = ticks.iter().find(|tick| tick.is_midnight).unwrap();
        assert_eq!(midnight.text, "midnight");
        assert!((midnight.place - 0.5).abs() < 1e-9);
    }

    #[test]
    fn a_clip_of_a_moment_still_has_a_time() {
        let axis = Axis::new([(36_010.4, 36_010.4)], 300.0).unwrap();
        let ticks = ticks(&axis);
        assert_eq!(ticks.len(), 1);
        assert_eq!(ticks[0].text, "10:00:10");
    }

    /// Takes of 3 s, far apart.
    fn short_takes() -> Axis {
        let starts = [
            33_623.1, 36_066.0, 38_386.3, 51_048.0, 52_248.0, 53_448.0, 54_648.0, 55_848.0,
        ];
        Axis::new(starts.map(|start| (start, start + 3.0)), 300.0).unwrap()
    }

    #[test]
    fn the_time_of_a_short_block_stands_at_its_beginning() {
        let axis = short_takes();
        for tick in ticks(&axis) {
            let is_in_a_block =
                |b: &super::super::axis::Block| (b.from..=b.to).contains(&tick.place);
            assert!(axis.blocks().iter().any(is_in_a_block), "{tick:?}");
        }
        let third = ticks(&axis).into_iter().find(|t| t.text == "10:39:46");
        assert_eq!(third.map(|tick| tick.place), Some(axis.blocks()[2].from));
    }

    #[test]
    fn pauses_are_told_where_their_letters_have_room() {
        let axis = short_takes();
        let texts: Vec<String> = pauses(&axis).into_iter().map(|(_, text)| text).collect();
        assert_eq!(texts[..4], ["41 min", "39 min", "3 h 31 min", "20 min"]);
        let spans = (0..60).map(|i| (f64::from(i) * 1400.0, f64::from(i) * 1400.0 + 9.0));
        let told = pauses(&Axis::new(spans, 300.0).unwrap());
        assert!(told.len() > 5, "{told:?}");
        for pair in told.windows(2) {
            assert!(pair[1].0 - pair[0].0 >= 6.0 * LETTER_ROOM, "{told:?}");
        }
    }

    #[test]
    fn many_short_blocks_do_not_write_over_each_other() {
        let spans = (0..60).map(|i| (f64::from(i) * 1400.0, f64::from(i) * 1400.0 + 9.0));
        let axis = Axis::new(spans, 300.0).unwrap();
        for pair in ticks(&axis).windows(2) {
            assert!(pair[1].place - pair[0].place >= TICK_ROOM);
        }
    }
}
