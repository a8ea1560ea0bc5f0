//! Corrections by hand, `corrections.toml`: a person sets or rejects a clip's start, or
//! says how its clock counts. What was read is kept beside what was said, so that a
//! correction can be taken back. `docs/corrections.md` explains the file.

mod file;

use crate::clip_base;
use crate::note::{Note, TIMES_WRONG, is_obeyed};
use crate::outcome::{
    ByHand, ClipOutcome, Clock, Corrected, DropFrameKnownBy, RateKnownBy, Start, Verdict,
};
use crate::timecode::{ClockForm, HalfOpen, Label, Rate, Ratio};
use std::collections::{BTreeMap, BTreeSet};
use unicode_normalization::UnicodeNormalization;

/// Codes that a correction writes.
const SET: &str = "set_by_hand";
const REJECTED: &str = "rejected_by_hand";
pub const UNUSABLE: &str = "correction_unusable";

/// Stands before the codes of reasons that a correction moved to the notes, and of notes that it set
/// aside.
const READ: &str = "read_";

/// The note that the clock may or may not count drop-frame.
const OPEN: &str = "drop_frame_open";

/// Notes on the speed at which the clip plays, by the clock that was read.
const ON_SPEED: [&str; 2] = ["conformed", "odd_pace"];

/// Doubts about how much time passes from frame 0 to another frame.
const OF_TIME: [&str; 4] = [
    "speed_doubtful",
    "speed_unknown",
    "given_speed_contradicted",
    TIMES_WRONG,
];

/// Doubts about how many counts the clock makes in that time.
const OF_RATE: [&str; 3] = ["rate_unknown", "clock_unclear", "given_rate_contradicted"];

/// Doubts that are settled once a person says how the clock counts.
const SETTLED: [&str; 5] = [
    "drop_frame_unknown",
    "rate_unknown",
    "clock_unclear",
    "given_rate_contradicted",
    "given_drop_frame_contradicted",
];

/// The corrections of one file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Corrections {
    entries: Vec<Entry>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
struct Entry {
    name: String,
    line: usize,
    what: What,
    remark: String,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum What {
    Reject,
    Start {
        label: String,
        frame: i64,
        shape: Shape,
        says: Says,
    },
    /// Only how the clock counts.
    Clock(Says),
}

/// What is said about the clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Says {
    rate: Option<Rate>,
    drop_frame: Option<bool>,
}

/// What the digits behind the seconds count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Shape {
    /// Frames, and whether a semicolon stands before them.
    Frames { has_semicolon: bool },
    /// A fraction of the second, or none: a clock that needs no rate.
    Fraction(ClockForm),
}

impl Corrections {
    pub const fn is_empty(&self) -> bool {
        self.entries.is_empty()
    }

    /// As they are meant, of clips of these `names`: a name that no clip has is that of the one clip whose
    /// name differs from it only in how accents are written (Unicode's forms NFC and NFD), which screens
    /// do not show. Where there are two such clips, or the one has a correction of its own, nobody knows
    /// which was meant.
    #[must_use]
    pub fn meant_of<'a>(mut self, names: impl IntoIterator<Item = &'a str>) -> Self {
        let composed = |name: &str| name.nfc().collect::<String>();
        let names: BTreeSet<&str> = names.into_iter().collect();
        let mut alike: BTreeMap<String, Vec<&str>> = BTreeMap::new();
        for name in &names {
            alike.entry(composed(name)).or_default().push(name);
        }
        for at in 0..self.entries.len() {
            let name = &self.entries[at].name;
            if names.contains(name.as_str()) {
                continue;
            }
            if let Some([one]) = alike.get(&composed(name)).map(Vec::as_slice)
                && self.entries.iter().all(|entry| entry.name != **one)
            {
                self.entries[at].name = (*one).to_owned();
            }
        }
        self
    }

    /// Corrections of clips that are not among `names`: one note each, with the clip that may
    /// have been meant.
    pub fn unused<'a>(&self, names: impl IntoIterator<Item = &'a str>) -> Vec<Note> {
        let names: Vec<&str> = names.into_iter().collect();
        let missing = |entry: &&Entry| !names.contains(&entry.name.as_str());
        self.entries
            .iter()
            .filter(missing)
            .map(|entry| {
                let meant = names.iter().find(|name| is_alike(name, &entry.name));
                let hint = match meant {
                    // What a screen cannot show is written as TOML has it.
                    Some(name) if name.chars().any(is_obeyed) => {
                        format!("; did you mean \"{}\"?", escaped(name))
                    }
                    Some(name) => format!("; did you mean `{name}`?"),
                    None => "; write names as the table shows them".into(),
                };
                Note::new(
                    "correction_unused",
                    format!(
                        "line {}: no clip is named `{}`{hint}",
                        entry.line, entry.name
                    ),
                )
            })
            .collect()
    }
}

/// What the user gave for all clips.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Given {
    /// Holds where the clock is rejected that told another.
    pub speed: Option<Ratio>,
    /// Seconds by which the display is late: what a person reads off it is so late as what the fit does.
    pub lag_s: Ratio,
}

impl Given {
    pub const NOTHING: Self = Self {
        speed: None,
        lag_s: Ratio::ZERO,
    };
}

/// The outcome with what `corrections` say about the clip of this name. Without such a word,
/// what was read: an earlier correction is taken back. A correction that cannot be used (its
/// label does not exist on the clock, say) leaves what was read, lets no start be `sure`, and
/// says why in the reasons.
///
/// An `estimate` does not survive a start set by hand, nor do those of other clips that rest on
/// this one stay right: work out a card's agreement after this.
pub fn apply(
    corrections: &Corrections,
    name: &str,
    outcome: ClipOutcome,
    given: Given,
) -> ClipOutcome {
    let mut outcome = withdraw(outcome);
    let Some(entry) = corrections.entries.iter().find(|entry| entry.name == name) else {
        return outcome;
    };
    let by_hand = ByHand {
        what: Corrected::Set,
        says_start: matches!(entry.what, What::Start { .. }),
        remark: entry.remark.clone(),
        read_verdict: outcome.verdict,
        read_start: outcome.start.clone(),
        read_clock: outcome.clock.clone(),
        read_speed: None,
    };
    let said = match &entry.what {
        What::Reject => {
            reject(&mut outcome, by_hand, &entry.remark, given.speed);
            return outcome;
        }
        What::Start { .. } | What::Clock(_) if outcome.verdict == Verdict::Failed => {
            Err("the clip could not be looked at".to_owned())
        }
        What::Start {
            label,
            frame,
            shape,
            says,
        } => start_said(&outcome, label, *frame, *shape, *says, given.lag_s),
        What::Clock(says) => clock_said(&outcome, *says),
    };
    match said {
        Ok(said) => set(&mut outcome, by_hand, entry, said, given.lag_s),
        Err(why) => unusable(&mut outcome, by_hand, entry.line, &why),
    }
    outcome
}

/// What was read, without what a person said; an outcome that nobody corrected comes back
/// as it is. The estimate of a clip that had one is not restored.
pub fn withdraw(mut outcome: ClipOutcome) -> ClipOutcome {
    let Some(by_hand) = outcome.by_hand.take() else {
        return outcome;
    };
    outcome.verdict = by_hand.read_verdict;
    outcome.start = by_hand.read_start;
    outcome.clock = by_hand.read_clock;
    outcome.clip.speed = by_hand.read_speed.unwrap_or(outcome.clip.speed);
    for note in &mut outcome.notes {
        let aside = note.code.strip_prefix(READ);
        if let Some(code) = aside.filter(|&code| code == OPEN || ON_SPEED.contains(&code)) {
            note.code = code.to_owned();
        }
    }
    let (moved, notes) = outcome
        .notes
        .into_iter()
        .partition(|note| note.code.starts_with(READ));
    outcome.notes = notes;
    outcome.reasons = moved;
    for reason in &mut outcome.reasons {
        reason.code.drain(..READ.len());
    }
    clip_base::fill(&mut outcome);
    outcome
}

/// A start and a clock as a person's words make them, and the doubts that stay.
struct Said {
    form: ClockForm,
    drop_frame: Option<bool>,
    drop_frame_known_by: DropFrameKnownBy,
    rate_known_by: RateKnownBy,
    /// As displayed on frame 0.
    counts: HalfOpen,
    doubts: Vec<Note>,
    sentence: String,
}

fn reject(outcome: &mut ClipOutcome, by_hand: ByHand, remark: &str, given_speed: Option<Ratio>) {
    outcome.start = None;
    let mut read_speed = None;
    // What the clock said of the clip's speed goes with it.
    let speed = given_speed.unwrap_or(Ratio::ONE);
    if outcome.clock.take().is_some() && clip_base::exact_speed(outcome.clip.speed) != speed {
        read_speed = Some(std::mem::replace(&mut outcome.clip.speed, speed.to_f64()));
        set_aside(outcome, &ON_SPEED);
    }
    outcome.by_hand = Some(ByHand {
        what: Corrected::Rejected,
        read_speed,
        ..by_hand
    });
    let reason = Note::new(
        REJECTED,
        with_remark("the start was rejected by hand", remark),
    );
    let mut reasons = vec![reason];
    // A clip that could not be looked at is not looked at by that.
    if outcome.verdict == Verdict::Failed {
        reasons.splice(0..0, outcome.reasons.iter().cloned());
    } else {
        outcome.verdict = Verdict::None;
    }
    keep_reasons(outcome, reasons);
    clip_base::fill(outcome);
}

/// Marks notes that do not hold any more as what was read.
fn set_aside(outcome: &mut ClipOutcome, codes: &[&str]) {
    for note in &mut outcome.notes {
        if codes.contains(&note.code.as_str()) {
            note.code.insert_str(0, READ);
        }
    }
}

/// Leaves what was read, but nobody may use it unseen.
fn unusable(outcome: &mut ClipOutcome, by_hand: ByHand, line: usize, why: &str) {
    outcome.by_hand = Some(ByHand {
        what: Corrected::Unusable,
        ..by_hand
    });
    if outcome.verdict == Verdict::Sure {
        outcome.verdict = Verdict::Unsure;
    }
    let sentence = format!("the correction on line {line} is of no use: {why}");
    let mut reasons = vec![Note::new(UNUSABLE, sentence)];
    reasons.extend(outcome.reasons.iter().cloned());
    keep_reasons(outcome, reasons);
}

fn set(outcome: &mut ClipOutcome, by_hand: ByHand, entry: &Entry, said: Said, lag_s: Ratio) {
    let start = Start::of(
        said.form,
        said.counts.shift(said.form.count_at(lag_s)),
        lag_s,
    );
    outcome.start = Some(start);
    let refresh_hz = by_hand.read_clock.as_ref().and_then(|c| c.refresh_hz);
    outcome.clock = Some(Clock {
        form: said.form.pattern().into(),
        rate: said.form.rate().to_string(),
        rate_known_by: said.rate_known_by,
        drop_frame: said.drop_frame,
        drop_frame_known_by: said.drop_frame_known_by,
        refresh_hz,
        drift_ppm_bounds: None,
    });
    outcome.by_hand = Some(by_hand);
    outcome.estimate = None;
    let is_frames = matches!(said.form, ClockForm::Frames(_));
    if said.drop_frame.is_some() || !is_frames {
        set_aside(outcome, &[OPEN]);
    }
    outcome.verdict = match said.doubts.is_empty() {
        true => Verdict::Sure,
        false => Verdict::Unsure,
    };
    let mut reasons = vec![Note::new(SET, with_remark(&said.sentence, &entry.remark))];
    reasons.extend(said.doubts);
    keep_reasons(outcome, reasons);
    clip_base::fill(outcome);
}

/// Puts `reasons` in the place of those that were read, which go to the notes.
fn keep_reasons(outcome: &mut ClipOutcome, reasons: Vec<Note>) {
    let read = std::mem::replace(&mut outcome.reasons, reasons);
    outcome.notes.extend(
        read.into_iter()
            .map(|reason| Note::new(format!("{READ}{}", reason.code), reason.sentence)),
    );
}

fn with_remark(sentence: &str, remark: &str) -> String {
    match remark {
        "" => sentence.into(),
        _ => format!("{sentence}: {remark}"),
    }
}

/// A label at a frame.
fn start_said(
    outcome: &ClipOutcome,
    label: &str,
    frame: i64,
    shape: Shape,
    says: Says,
    lag_s: Ratio,
) -> Result<Said, String> {
    let (form, drop_frame, drop_frame_known_by, rate_known_by) = match shape {
        Shape::Fraction(form) => (form, None, DropFrameKnownBy::Rate, RateKnownBy::Given),
        Shape::Frames { has_semicolon } => frame_clock(outcome, has_semicolon, says)?,
    };
    let label = form.parse(label).map_err(|error| error.to_string())?;
    let count = form.count(&label).map_err(|error| error.to_string())?;
    let passed = passed(outcome, form, frame)?;
    let low = Ratio::from_integer(count) - passed;
    let is_rate_said = says.rate.is_some() || matches!(shape, Shape::Fraction(_));
    let late = form.count_at(lag_s);
    let is_moved = frame != 0 || !late.is_zero();
    let mut doubts = doubts_on_the_way(outcome, frame != 0, is_moved && !is_rate_said);
    if drop_frame.is_none() {
        doubts.extend(skipped_on_the_way(form, &label, count, passed - late));
    }
    let at = match frame {
        0 => String::new(),
        _ => format!(" at frame {frame}"),
    };
    let later = clip_base::lag_text(lag_s).map_or_else(String::new, |lag| {
        format!(", as displayed: the start lies {lag} later")
    });
    Ok(Said {
        form,
        drop_frame,
        drop_frame_known_by,
        rate_known_by,
        counts: HalfOpen::new(low, low + Ratio::ONE),
        doubts,
        sentence: format!(
            "the start was set by hand, to {}{at}{later}",
            form.format(&label)
        ),
    })
}

/// What was in doubt and still is where the start follows from the label by the clip's time, or by the
/// clock's rate: from that of another frame than frame 0, and by the rate also from one with a lag.
fn doubts_on_the_way(outcome: &ClipOutcome, by_time: bool, by_rate: bool) -> Vec<Note> {
    let stands = |reason: &&Note| {
        let code = reason.code.as_str();
        by_time && OF_TIME.contains(&code) || by_rate && OF_RATE.contains(&code)
    };
    outcome.reasons.iter().filter(stands).cloned().collect()
}

/// The doubt whether the clock, of which that is not known, skips labels between the start and `label`,
/// which it shows `passed` counts later.
fn skipped_on_the_way(form: ClockForm, label: &Label, count: i64, passed: Ratio) -> Option<Note> {
    let skips = ClockForm::frames(form.rate(), true).ok()?;
    // A label that drop-frame has not tells that it is none.
    let other = skips.count(label).ok()?;
    let start = |form: ClockForm, count: i64| {
        let middle = Ratio::from_integer(count) - passed + Ratio::new(1, 2);
        i64::try_from(middle.floor()).map(|whole| form.text(whole))
    };
    let (plain, skipping) = (start(form, count).ok()?, start(skips, other).ok()?);
    (skipping.replace(';', ":") != plain).then(|| {
        Note::new(
            "drop_frame_unknown",
            format!(
                "nothing tells whether the clock counts drop-frame, and skips labels between the start and that \
                 label: the start is {plain}, or {skipping} if it does; add `drop_frame`"
            ),
        )
    })
}

/// Counts that the clock makes from frame 0 to `frame`.
fn passed(outcome: &ClipOutcome, form: ClockForm, frame: i64) -> Result<Ratio, String> {
    if frame == 0 {
        return Ok(Ratio::ZERO);
    }
    if outcome.clip.variable_rate {
        return Err(
            "the clip's frame rate varies, so that only frame 0 has a known time; give \
                    the label of frame 0"
                .into(),
        );
    }
    let rate = outcome.clip.rate.as_deref().and_then(clip_base::exact_rate);
    let rate = rate.ok_or("the clip has no frame rate; give the label of frame 0")?;
    let at_s = Ratio::from_integer(frame) / rate.ratio();
    // Clips do not always tell how many frames they hold, but mostly how long they are.
    if let Some(lasts_s) = clip_base::duration_s(outcome).filter(|&lasts_s| at_s >= lasts_s) {
        return Err(format!(
            "the clip has no frame {frame}, it ends after {:.2} s; frames are counted from 0",
            lasts_s.to_f64()
        ));
    }
    Ok(at_s * real_rate(outcome, form))
}

/// Counts per clip second.
fn real_rate(outcome: &ClipOutcome, form: ClockForm) -> Ratio {
    form.rate().ratio() * clip_base::exact_speed(outcome.clip.speed)
}

type FrameClock = (ClockForm, Option<bool>, DropFrameKnownBy, RateKnownBy);

/// The clock that a label with frames belongs to: what is said, else what was read, else
/// what the clip itself counts.
fn frame_clock(
    outcome: &ClipOutcome,
    has_semicolon: bool,
    says: Says,
) -> Result<FrameClock, String> {
    let read = outcome.clock.as_ref();
    let read_form = read.and_then(clip_base::clock_form);
    let read_frames = read_form.filter(|form| matches!(form, ClockForm::Frames(_)));
    let clip_rate = outcome.clip.rate.as_deref().and_then(clip_base::exact_rate);
    let (rate, rate_known_by) = match (says.rate, read_frames, read, clip_rate) {
        (Some(rate), ..) => (rate, RateKnownBy::Given),
        (None, Some(form), Some(clock), _) => (form.rate(), clock.rate_known_by),
        (None, _, _, Some(rate)) => (rate, RateKnownBy::Assumed),
        (None, _, _, None) => return Err("nothing tells the clock's rate; add `rate`".into()),
    };
    let (drop_frame, known_by) = if let Some(said) = says.drop_frame {
        (Some(said), DropFrameKnownBy::Given)
    } else if has_semicolon {
        (Some(true), DropFrameKnownBy::Given)
    } else if !rate.has_drop_frame() {
        (Some(false), DropFrameKnownBy::Rate)
    } else {
        match (read_frames, read) {
            (Some(form), Some(clock)) if form.rate() == rate => {
                (clock.drop_frame, clock.drop_frame_known_by)
            }
            _ => (None, DropFrameKnownBy::Unknown),
        }
    };
    let form = ClockForm::frames(rate, drop_frame == Some(true)).map_err(|e| e.to_string())?;
    Ok((form, drop_frame, known_by, rate_known_by))
}

/// Refuses what the digits themselves rule out, as far as they were read right: who knows that they
/// were not has another start to say, too.
fn against_digits(clock: &Clock, read: ClockForm, says: Says) -> Result<(), String> {
    let seen = read.rate();
    if let Some(said) = says.rate.filter(|&said| said != seen)
        && clock.rate_known_by == RateKnownBy::Measured
    {
        return Err(format!(
            "the digits that were read ran at {}, and at no rate near {}; take `rate` out, or add \
             `start` if they were misread",
            seen.decimal(),
            said.decimal()
        ));
    }
    let seen = match clock.drop_frame_known_by {
        DropFrameKnownBy::SkippedLabel => Some(true),
        DropFrameKnownBy::Label => Some(false),
        _ => None,
    };
    match (seen, says.drop_frame) {
        (Some(true), Some(false)) => Err("the clock was seen to skip labels as drop-frame does; \
             take `drop_frame` out, or add `start` if it was misread"
            .into()),
        (Some(false), Some(true)) => Err("the clock showed a label that drop-frame skips; take \
             `drop_frame` out, or add `start` if it was misread"
            .into()),
        _ => Ok(()),
    }
}

/// Another way of counting for the digits that were read: what the clock showed where it was
/// first seen stays, and the start follows from there.
fn clock_said(outcome: &ClipOutcome, says: Says) -> Result<Said, String> {
    let read = outcome.clock.as_ref().zip(outcome.start.as_ref());
    let (clock, start) = read.ok_or("no clock was read; add `start`")?;
    let form = clip_base::clock_form(clock);
    let read = form.and_then(|form| Some((form, clip_base::displayed_bounds(start, form)?)));
    let (old, bounds) = read.ok_or("the start has no exact bounds; read the clip again")?;
    if !matches!(old, ClockForm::Frames(_)) {
        return Err("the clock that was read does not count frames; add `start`".into());
    }
    against_digits(clock, old, says)?;
    let (new, drop_frame, drop_frame_known_by, rate_known_by) = frame_clock(outcome, false, says)?;
    let seen_s = outcome.windows.first().map_or(0.0, |w| w.first_seconds);
    let seen_s = Ratio::new(
        ((seen_s.clamp(0.0, 1e7) * 1e6).round() as i64).into(),
        1_000_000,
    );
    let there = bounds.shift(seen_s * real_rate(outcome, old));
    let shown = there.middle().floor();
    let label = i64::try_from(shown).map(|count| old.label(count));
    let label = label.map_err(|_| "the start is out of range")?;
    let count = new.count(&label).map_err(|error| error.to_string())?;
    let to_new = Ratio::from_integer(count) - Ratio::from_integer(shown);
    let doubts = outcome
        .reasons
        .iter()
        .filter(|reason| outcome.verdict != Verdict::Sure && !SETTLED.contains(&&*reason.code))
        .cloned()
        .collect();
    let kind = match new.drop_frame() {
        true => " drop-frame",
        false => "",
    };
    Ok(Said {
        form: new,
        drop_frame,
        drop_frame_known_by,
        rate_known_by,
        counts: there
            .shift(to_new)
            .shift(-(seen_s * real_rate(outcome, new))),
        doubts,
        sentence: format!(
            "the clock was set by hand to {}{kind}",
            new.rate().decimal()
        ),
    })
}

/// A name as it stands between quotes in TOML.
fn escaped(name: &str) -> String {
    let mut text = String::new();
    for letter in name.chars() {
        match letter {
            '"' | '\\' => text.extend(['\\', letter]),
            '\n' => text.push_str("\\n"),
            letter if is_obeyed(letter) => {
                text.push_str(&format!("\\u{:04X}", u32::from(letter)));
            }
            letter => text.push(letter),
        }
    }
    text
}

/// True if the file names agree but for capitals, and for what screens and pages show in place of
/// control characters.
fn is_alike(a: &str, b: &str) -> bool {
    let shown = |c: char| match c {
        '\u{2400}'..='\u{2426}' => char::REPLACEMENT_CHARACTER,
        c if is_obeyed(c) => char::REPLACEMENT_CHARACTER,
        c => c,
    };
    let file = |name: &str| {
        let file = name.rsplit('/').next().unwrap_or(name).to_lowercase();
        file.chars().map(shown).collect::<String>()
    };
    file(a) == file(b)
}
