//! One clip on the page: what is said of it, and behind a fold what that rests on.

use super::order::{self, Pile};
use super::place::Places;
use super::plot::Plot;
use super::{clip_id, facts, glyph, link, timeline, words};
use crate::clip_base::{lag_s, lag_text};
use crate::note::Note;
use crate::outcome::{CardClip, CardOutcome, ClipOutcome, Crop};
use maud::{Markup, html};

/// What belongs to one clip.
pub struct Entry<'a> {
    pub card: &'a CardOutcome,
    pub places: &'a Places,
    pub index: usize,
    /// Pictures that fit on the page.
    pub crops: &'a [&'a Crop],
    pub plot: Option<Plot<'a>>,
    /// Whether the fold is open from the beginning.
    pub is_open: bool,
}

impl Entry<'_> {
    pub fn draw(&self) -> Markup {
        let clip = &self.card.clips[self.index];
        let outcome = &clip.outcome;
        let pile = Pile::of(outcome);
        let id = clip_id(self.index);
        let folder = words::split_name(&clip.name).0;
        let file = words::file_name(&clip.name);
        let middle = self.crops.len() / 2;
        html! {
            article.clip.(pile.key()) id=(id) tabindex="-1" aria-labelledby=(format!("{id}-name")) data-pile=(pile.key()) data-camera=(clip.camera) {
                div.row {
                    // The name comes first for who goes from heading to heading; where things
                    // stand on the page is the style sheet's.
                    h3 id=(format!("{id}-name")) {
                        bdi { @if !folder.is_empty() { span.folder { (words::visible(folder)) } } (file) }
                    }
                    div.says {
                        p.mark { (glyph(pile)) (order::mark(outcome)) }
                        (self.start())
                    }
                    div.more {
                        p.meta { (self.meta(clip)) }
                        (reasons(pile, &outcome.reasons))
                        @if let Some(cut) = outcome.cut_short() {
                            ul.reasons { li { (words::sentence(&cut.sentence)) } }
                        }
                        @if let Some(remark) = untold_remark(outcome) {
                            p.remark { "Said by hand: “" (words::visible(remark)) "”" }
                        }
                    }
                    @if let Some(crop) = self.crops.get(middle) {
                        (picture(crop, false))
                    }
                }
                details open[self.is_open] {
                    summary { "Evidence and details" span.hidden { " of " (file) } }
                    div.evidence {
                        @if self.crops.len() > 1 || self.plot.is_some() {
                            div.seen {
                                @if self.crops.len() > 1 {
                                    div.crops {
                                        @for (_, crop) in self.crops.iter().enumerate().filter(|&(at, _)| at != middle) {
                                            (picture(crop, true))
                                        }
                                    }
                                }
                                @if let Some(plot) = &self.plot {
                                    figure.fit {
                                        (plot.draw(&file))
                                        figcaption { (plot.sentence()) }
                                    }
                                }
                            }
                        }
                        div.told {
                            (facts::list(clip, self.places, self.index))
                            @if !outcome.notes.is_empty() {
                                h4 { "Notes" }
                                (notes(&outcome.notes))
                            }
                            p.sidecar {
                                "Sidecar: "
                                (link::to(&clip.sidecar))
                            }
                        }
                    }
                }
            }
        }
    }

    /// The start as large as it matters, or what stands in its place.
    fn start(&self) -> Markup {
        let outcome = &self.card.clips[self.index].outcome;
        match (&outcome.start, &outcome.estimate) {
            (Some(start), _) => html! {
                p.start {
                    span.label { (words::visible(&start.label)) }
                    @if let Some(way) = outcome.either_way() {
                        span.bound { "± " (way) " " (way.unit) }
                    }
                    @if let Some(own) = &start.in_clip_base && own.label != start.label {
                        span.own { (words::visible(&own.label)) " in the clip's own timecode" }
                    }
                    @if let Some(lag) = lag_text(lag_s(start)) {
                        span.own { (lag) " after what the display showed" }
                    }
                }
            },
            (None, Some(estimate)) => {
                let [low, high] = estimate
                    .seconds_bounds
                    .map(|seconds| self.places.shown_s(self.index, seconds));
                html! {
                    p.start.guess {
                        span.label { "≈ " (words::time_of_day(self.places.shown_s(self.index, estimate.seconds))) }
                        span.bound { (words::time_of_day(low)) " to " (words::time_of_day(high.ceil())) }
                    }
                }
            }
            (None, None) => html! {},
        }
    }

    fn meta(&self, clip: &CardClip) -> String {
        let part = &clip.outcome.clip;
        let mut words = vec![timeline::camera_name(self.card, clip.camera)];
        words.extend(part.duration_seconds.map(words::length));
        words.extend(
            part.rate
                .as_deref()
                .map(|rate| format!("{} fps", words::rate(rate))),
        );
        if let Some(chapter) = clip.outcome.chapter.as_ref().filter(|c| c.chapters > 1) {
            words.push(format!(
                "chapter {} of {}",
                chapter.number, chapter.chapters
            ));
        }
        words.join(" · ")
    }
}

/// Reasons to look, as a list; what a ready start rests on, as a quiet line.
fn reasons(pile: Pile, reasons: &[Note]) -> Markup {
    html! {
        @if !reasons.is_empty() {
            ul.reasons.quiet[pile == Pile::Ready] {
                @for reason in reasons { li { (words::sentence(&reason.sentence)) } }
            }
        }
    }
}

/// What a person said of a correction, unless a reason ends with it.
fn untold_remark(outcome: &ClipOutcome) -> Option<&str> {
    let remark = outcome.by_hand.as_ref()?.remark.as_str();
    let is_told = |reason: &Note| reason.sentence.ends_with(remark);
    // Nothing is at the end of everything.
    (!outcome.reasons.iter().any(is_told) && !remark.trim().is_empty()).then_some(remark)
}

/// Remarks with their codes.
pub fn notes(notes: &[Note]) -> Markup {
    html! {
        ul.notes {
            @for note in notes {
                li { (words::sentence(&note.sentence)) " " code { (words::visible(&note.code)) } }
            }
        }
    }
}

/// The display in one frame, above what was read in it.
fn picture(crop: &Crop, with_fit: bool) -> Markup {
    let at = words::clip_time(crop.seconds);
    let read = words::visible(&crop.digits);
    let differs = crop
        .label
        .as_deref()
        .map(|label| differing(&crop.digits, label));
    html! {
        figure.crop {
            img src=(format!("data:image/png;base64,{}", crop.png)) decoding="async"
                alt=(format!("The display at {at}, read as {read}"));
            figcaption {
                span.read {
                    span.hidden { "read as " }
                    @match &differs {
                        Some(places) => {
                            @for (digit, differs) in places {
                                @if *differs { mark { (digit) } } @else { (digit) }
                            }
                        }
                        None => (read),
                    }
                }
                span.at { "at " (at) }
                @if let (true, Some(label)) = (with_fit, &crop.label) {
                    span.at { "fit " (words::visible(label)) }
                }
            }
        }
    }
}

/// The digits as read, set like the label, and which of them the fit contradicts. Digits that are as
/// many as the label's get its colons.
fn differing(digits: &str, label: &str) -> Vec<(String, bool)> {
    let expected = label.chars().filter(char::is_ascii_digit).count();
    if digits.chars().count() != expected {
        return vec![(words::visible(digits), false)];
    }
    let mut read = digits.chars();
    label
        .chars()
        .filter_map(|letter| match letter.is_ascii_digit() {
            true => {
                let digit = read.next()?;
                // A place that could not be read contradicts nothing.
                Some((
                    words::visible(&digit.to_string()),
                    digit != letter && digit != '?',
                ))
            }
            false => Some((words::visible(&letter.to_string()), false)),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::differing;

    #[test]
    fn digits_are_set_like_the_label_and_compared_with_it() {
        let places = differing("1?1407", "12:14:57");
        let text: String = places.iter().map(|(text, _)| text.as_str()).collect();
        assert_eq!(text, "1?:14:07");
        let wrong: Vec<_> = places
            .iter()
            .enumerate()
            .filter(|(_, (_, differs))| *differs)
            .map(|(at, _)| at)
            .collect();
        assert_eq!(wrong, [6], "only the tens of the seconds");
    }

    #[test]
    fn digits_of_another_number_stay_as_they_are() {
        assert_eq!(differing("12", "12:14:57"), [("12".to_owned(), false)]);
    }
}
