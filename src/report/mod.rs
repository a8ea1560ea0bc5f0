//! The report of a card: an outcome in, one self-contained HTML page out, clip by clip, so
//! that a card of any size fits into memory. No disk, no clock, no network; the same input
//! gives the same bytes.
//!
//! - `order`: the three piles - needs an eye, no start, ready - and the order in them
//! - `place`, `axis`: where clips lie on the clock; a line of numbers without its pauses
//! - `timeline`, `entry`, `facts`, `plot`: the parts of the page
//! - `pictures`: which crops go on the page, so that its size stays bounded
//! - `words`, `link`, `palette`: text, links and colours that are safe to show
//! - `page.css`, `page.js`: the look; and the comfort of search, which nothing depends on

mod axis;
mod entry;
mod facts;
mod link;
mod order;
mod palette;
mod pictures;
mod place;
mod plot;
#[cfg(test)]
mod tests;
mod timeline;
mod words;

use crate::outcome::{CardOutcome, Evidence, Gone, Skipped};
use entry::Entry;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use order::Pile;
use place::Places;
use plot::Plot;
use std::io;

const SCRIPT: &str = include_str!("page.js");
/// What the page may load: pictures from itself, its own style, and the one script whose
/// SHA-256 this is (Content Security Policy Level 3). Should a name ever get past the
/// escaping, it still could not run.
const POLICY: &str = concat!(
    "default-src 'none'; img-src data:; style-src 'unsafe-inline'; ",
    "script-src 'sha256-RTb33jsa5W/q7CpOc7Ec+FqjMa5a3n/ZDRo1CypD9LY='; base-uri 'none'; form-action 'none'"
);
/// Readings drawn on the whole page, and the least and most for one clip.
const ALL_POINTS: usize = 40_000;
const POINTS: std::ops::RangeInclusive<usize> = 60..=400;
/// So many clips that need an eye have their evidence open from the beginning; beyond, a page
/// to scroll through helps nobody.
const OPEN_AT_MOST: usize = 12;

/// Files that are named in one list: those of a disk full of stills would be megabytes of names.
const LISTED_AT_MOST: usize = 500;

/// Stands in the frame of the page where a clip comes. A name cannot bring one: in text, `<`
/// is escaped.
const CLIP_PLACE: &str = "<!--clip-->";

/// Writes the report, one HTML page, to lie at the top of the output folder, since its links
/// to the sidecars are relative. `evidence` goes by the index of the clip and is asked twice
/// for each, so that the evidence of no more than one clip is ever in memory.
///
/// # Errors
/// Those of `page`.
pub fn write(
    card: &CardOutcome,
    evidence: &dyn Fn(usize) -> Evidence,
    page: &mut dyn io::Write,
) -> io::Result<()> {
    let places = Places::of(card);
    let piles = Pile::ALL.map(|pile| (pile, order::pile(card, &places, pile)));
    let mut order: Vec<(usize, bool)> = Vec::with_capacity(card.clips.len());
    for (pile, clips) in &piles {
        let is_open = |nth| *pile == Pile::Eye && nth < OPEN_AT_MOST;
        order.extend((0..).zip(clips).map(|(nth, &clip)| (clip, is_open(nth))));
    }
    let (mut sizes, mut fitted) = (Vec::with_capacity(order.len()), 0_usize);
    for &(index, _) in &order {
        let evidence = evidence(index);
        sizes.push(pictures::sizes(&evidence));
        fitted += usize::from(!evidence.points.is_empty());
    }
    let shown = pictures::deal(&sizes);
    let most_points = (ALL_POINTS / fitted.max(1)).clamp(*POINTS.start(), *POINTS.end());
    let frame = frame(card, &places, &piles);
    let mut parts = frame.split(CLIP_PLACE);
    let mut put_part = |page: &mut dyn io::Write| {
        let part = parts.next().expect("the frame has one place for each clip");
        page.write_all(part.as_bytes())
    };
    put_part(page)?;
    for (&(index, is_open), shown) in order.iter().zip(&shown) {
        let evidence = evidence(index);
        let entry = Entry {
            card,
            places: &places,
            index,
            crops: &shown
                .iter()
                .filter_map(|&crop| evidence.crops.get(crop))
                .collect::<Vec<_>>(),
            plot: Plot::of(&card.clips[index].outcome, &evidence, most_points),
            is_open,
        };
        page.write_all(entry.draw().into_string().as_bytes())?;
        put_part(page)?;
    }
    Ok(())
}

/// The page without its clips, with a [`CLIP_PLACE`] for each.
fn frame(card: &CardOutcome, places: &Places, piles: &[(Pile, Vec<usize>); 3]) -> String {
    let title = title(card);
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                title { "Start timecodes of " (title) }
                style { (PreEscaped(palette::css())) (PreEscaped(include_str!("page.css"))) }
            }
            body {
                (glyphs())
                a.skip href="#clips" { "Skip to the clips" }
                header {
                    p.eyebrow { "Start timecodes of a card" }
                    h1 { bdi { (title) } }
                    (tally(card, piles))
                    p.summary { (summary(card)) }
                    @if !card.notes.is_empty() { (entry::notes(&card.notes)) }
                }
                main {
                    @if let Some(timeline) = timeline::draw(card, places) { (timeline) }
                    (tools(card))
                    div #clips tabindex="-1" {
                        @if card.clips.is_empty() {
                            p.empty { "No clip was found in " (folders(card)) "." }
                        }
                        @for (pile, clips) in piles {
                            @if !clips.is_empty() {
                                section.pile.(pile.key()) id=(pile.key()) aria-labelledby=(format!("{}-title", pile.key())) {
                                    h2 id=(format!("{}-title", pile.key())) {
                                        (glyph(*pile)) (pile.title()) " " span.count { (clips.len()) }
                                    }
                                    p.advice { (pile.advice()) }
                                    @for _ in clips { (PreEscaped(CLIP_PLACE)) }
                                }
                            }
                        }
                        p.nomatch #nomatch hidden { "No clip matches. " button type="button" { "Show all clips" } }
                    }
                    (cameras(card))
                    (skipped(&card.skipped))
                    (gone(&card.gone))
                }
                footer { (reading_help()) (made_by(card)) }
                script { (PreEscaped(SCRIPT)) }
            }
        }
    }
    .into_string()
}

/// The anchor of a clip.
fn clip_id(index: usize) -> String {
    format!("clip-{}", index + 1)
}

/// Names of the folders, without what leads to them.
fn title(card: &CardOutcome) -> String {
    let names: Vec<String> = card
        .folders
        .iter()
        .map(|folder| {
            let name = words::split_name(folder).1.trim_end_matches('/');
            words::visible(if name.is_empty() { folder } else { name })
        })
        .collect();
    match names.is_empty() {
        true => "a card".to_owned(),
        false => names.join(" and "),
    }
}

fn folders(card: &CardOutcome) -> Markup {
    html! {
        @for (nth, folder) in card.folders.iter().enumerate() {
            @if nth > 0 { ", " }
            bdi.path { (words::visible(folder)) }
        }
        @if card.folders.is_empty() { "the folders given" }
    }
}

/// How many clips lie on each pile: the answer at a glance.
fn tally(card: &CardOutcome, piles: &[(Pile, Vec<usize>); 3]) -> Markup {
    let all = card.clips.len().max(1) as f64;
    // A tally begins with what is done; the page below, with what is left to do.
    let [eye, no_start, ready] = piles;
    let piles = [ready, eye, no_start];
    html! {
        ul.tally {
            @for (pile, clips) in piles {
                li.(pile.key()) {
                    @let text = html! {
                        span.number { (clips.len()) }
                        span.word { (glyph(*pile)) (pile.title()) }
                    };
                    @if clips.is_empty() { div { (text) } } @else {
                        a href=(format!("#{}", pile.key())) { (text) }
                    }
                }
            }
        }
        div.share aria-hidden="true" {
            @for (pile, clips) in piles {
                @if !clips.is_empty() {
                    span.(pile.key()) style=(format!("width:{:.2}%", clips.len() as f64 / all * 100.0)) {}
                }
            }
        }
    }
}

fn summary(card: &CardOutcome) -> Markup {
    let length: f64 = card
        .clips
        .iter()
        .filter_map(|clip| clip.outcome.clip.duration_seconds)
        .filter(|seconds| seconds.is_finite())
        .sum();
    html! {
        (words::counted(card.clips.len(), "clip"))
        @if length > 0.0 { ", " (words::length(length)) " in all" }
        ", " (words::counted(card.cameras.len(), "camera"))
        @if !card.skipped.is_empty() {
            ", " a href="#skipped" { (words::counted(card.skipped.len(), "file")) " skipped" }
        }
        ". From " (folders(card)) "."
    }
}

/// Search and filter; hidden until the script is there to serve them.
fn tools(card: &CardOutcome) -> Markup {
    html! {
        form #tools role="search" aria-label="Clips" hidden {
            label.find { span { "Find a clip" }
                input type="search" name="find" placeholder="name, timecode, reason" autocomplete="off" spellcheck="false";
            }
            div.choice role="radiogroup" aria-labelledby="choice-title" {
                span #choice-title { "Show" }
                label { input type="radio" name="pile" value="" checked; "all" }
                @for pile in Pile::ALL {
                    label { input type="radio" name="pile" value=(pile.key()); (pile.title().to_lowercase()) }
                }
            }
            @if card.cameras.len() > 1 {
                label.camera { span { "Camera" }
                    select name="camera" {
                        option value="" { "all cameras" }
                        @for camera in 0..card.cameras.len() {
                            option value=(camera) { (timeline::camera_name(card, camera)) }
                        }
                    }
                }
            }
            div.folds role="group" aria-labelledby="folds-title" {
                span #folds-title { "Evidence" }
                button type="button" name="open" { "Open all" }
                button type="button" name="close" { "Close all" }
            }
            p.found role="status" {}
            details.keys {
                summary { "Keys" }
                p { kbd { "/" } " find, " kbd { "j" } " next clip, " kbd { "k" } " clip before, "
                    kbd { "e" } " its evidence, " kbd { "Esc" } " show all, arrows along the timeline." }
                label { input type="checkbox" name="keys" checked; "use these keys" }
            }
        }
    }
}

fn cameras(card: &CardOutcome) -> Markup {
    html! {
        @if !card.cameras.is_empty() {
            section #cameras aria-labelledby="cameras-title" {
                h2 #cameras-title { "Cameras" }
                div.tablewrap {
                    table {
                        thead { tr {
                            th scope="col" { "Camera" }
                            th scope="col" { "Clips" }
                            th scope="col" { "Filmed clock minus its own" }
                            th scope="col" { "Its own clock gains" }
                        } }
                        tbody {
                            @for (index, camera) in card.cameras.iter().enumerate() {
                                tr {
                                    th scope="row" { bdi { (timeline::camera_name(card, index)) } }
                                    td data-term="Clips" { (card.clips.iter().filter(|clip| clip.camera == index).count()) }
                                    td data-term="Filmed clock minus its own" { (measured(camera.clock_offset_seconds, 2, "s")) }
                                    td data-term="Its own clock gains" { (measured(camera.clock_drift_ppm, 1, "ppm")) }
                                }
                                @if !camera.notes.is_empty() {
                                    tr.more { td colspan="4" { (entry::notes(&camera.notes)) } }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn measured(value: Option<f64>, decimals: usize, unit: &str) -> String {
    value.map_or_else(
        || "not measured".to_owned(),
        |value| format!("{} {unit}", words::signed(value, decimals)),
    )
}

fn skipped(files: &[Skipped]) -> Markup {
    html! {
        @if !files.is_empty() {
            section #skipped aria-labelledby="skipped-title" {
                h2 #skipped-title { "Skipped files " span.count { (files.len()) } }
                ul.skipped {
                    @for file in files.iter().take(LISTED_AT_MOST) {
                        li {
                            bdi.path { (words::visible(&file.name)) } " "
                            span.why { (words::sentence(&file.reason.sentence)) }
                        }
                    }
                    (unlisted(files.len()))
                }
            }
        }
    }
}

/// What a list of so many leaves out.
fn unlisted(all: usize) -> Markup {
    html! {
        @if let Some(more) = all.checked_sub(LISTED_AT_MOST).filter(|&more| more > 0) {
            li { span.why { "And " (more) " more; " (link::to("card.json")) " names them all." } }
        }
    }
}

/// Clips of earlier runs, apart from those of the card.
fn gone(clips: &[Gone]) -> Markup {
    html! {
        @if !clips.is_empty() {
            section #gone aria-labelledby="gone-title" {
                h2 #gone-title { "No longer on the card " span.count { (clips.len()) } }
                p.advice { "An earlier run read these. They are not in the folders now; their sidecars are as that run left them." }
                ul.skipped {
                    @for clip in clips.iter().take(LISTED_AT_MOST) {
                        li {
                            bdi.path { (words::visible(&clip.name)) } " "
                            span.why { (link::to(&clip.sidecar)) }
                        }
                    }
                    (unlisted(clips.len()))
                }
            }
        }
    }
}

fn reading_help() -> Markup {
    html! {
        section aria-labelledby="help-title" {
            h2 #help-title { "How to read this page" }
            p { "A " strong { "start" } " is what the filmed clock showed, or would have shown, on the clip's first \
                frame. The figure behind ± is half the width of what the frames have not ruled out for the clock as \
                it was shown; a panel shows a count up to one refresh late." }
            p { "In the drawing of a fit each dot is a frame in which the clock was read. In the lower panel a frame \
                that agrees lies between 0 and 1, or a little above on a display that changes late; a cross is a \
                reading that does not agree, an arrowhead one beyond the edge. Marked digits are those that the fit \
                contradicts; a question mark is a digit that could not be read." }
        }
    }
}

fn made_by(card: &CardOutcome) -> Markup {
    html! {
        p.made {
            (words::visible(&card.tool.name)) " " (words::visible(&card.tool.version))
            ", model " code { (words::visible(card.tool.model.get(..12).unwrap_or(&card.tool.model))) }
        }
    }
}

/// The sign of a pile, beside its word: a tick, an eye, a dash.
fn glyph(pile: Pile) -> Markup {
    html! { svg.glyph aria-hidden="true" { use href=(format!("#g-{}", pile.key())) {} } }
}

fn glyphs() -> Markup {
    html! {
        svg width="0" height="0" style="position:absolute" aria-hidden="true" {
            symbol #g-ready viewBox="0 0 16 16" {
                circle.solid cx="8" cy="8" r="8" {}
                path.cutout d="M4.2 8.4l2.6 2.6 5-5.6" {}
            }
            symbol #g-eye viewBox="0 0 16 16" {
                path.stroke d="M.9 8Q4.2 3.2 8 3.2T15.1 8Q11.8 12.8 8 12.8T.9 8z" {}
                circle.solid cx="8" cy="8" r="2.5" {}
            }
            symbol #g-nostart viewBox="0 0 16 16" {
                rect.stroke x=".9" y=".9" width="14.2" height="14.2" rx="1" {}
                path.stroke d="M4.5 8h7" {}
            }
        }
    }
}
