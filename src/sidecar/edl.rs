//! A card as edit decision lists in the manner of CMX 3600 and SMPTE 258M: one
//! event a clip, the whole of it, in the order of the clock. `docs/interchange.md`
//! says what such a list can and cannot carry.

use super::otio::file_name;
use super::placed::{Admit, LeftOut, Placed, placed};
use crate::note::is_obeyed;
use crate::outcome::{ByHand, CardClip, CardOutcome, Verdict};
use crate::timecode::{ClockForm, Label, Rate};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

/// Letters of a reel name: the field of the CMX 3600 event line.
const REEL_LEN: usize = 8;

/// Event numbers have three digits.
const MOST_EVENTS: usize = 999;

/// The first line.
const TITLE: &str = "TITLE: ROLLMARK\r\n";

/// Where the record side begins: hour one, as programmes do (common practice, no source).
const RECORD_START: Label = Label::new(1, 0, 0, 0);

/// The lists with their file names: `timeline.edl` for the commonest frame rate, and one
/// list more for each other rate, since the labels of one list count in one base;
/// `timeline_25.edl`, `timeline_59.94.edl`. Clips that roll through midnight have lists of their
/// own, `timeline_midnight.edl`, since an out before its in makes some readers refuse the
/// whole list. A list that is full, at 999 events or 23 hours, goes on in
/// `..._part2.edl`. There is always a `timeline.edl`; comments at its end name the clips
/// that are in none of them, and why.
pub fn to_files(card: &CardOutcome, admit: Admit) -> Vec<(String, Vec<u8>)> {
    let reels = reels(&card.clips);
    let (clips, mut left_out) = placed(card, admit);
    let mut groups: BTreeMap<(Rate, bool), Vec<Event<'_>>> = BTreeMap::new();
    for one in clips {
        match labelled(&one) {
            Ok(form) => {
                let group = (one.rate, passes_midnight(&one, form));
                groups.entry(group).or_default().push((one, form));
            }
            Err(why) => left_out.push(LeftOut {
                clip: one.clip,
                why,
            }),
        }
    }
    // The commonest; of equals the slowest.
    let main = groups
        .iter()
        .max_by_key(|((rate, midnight), events)| {
            (!midnight, events.len(), std::cmp::Reverse(*rate))
        })
        .map(|(group, _)| *group);
    let mut files = Vec::new();
    for (group, events) in &groups {
        let (rate, midnight) = *group;
        let mut stem = String::from("timeline");
        if main.is_some_and(|(main, _)| main != rate) {
            write!(stem, "_{}", rate.decimal()).expect(GROWS);
        }
        if midnight && main != Some(*group) {
            stem.push_str("_midnight");
        }
        for (number, part) in parts(events).into_iter().enumerate() {
            let name = match number {
                0 => format!("{stem}.edl"),
                more => format!("{stem}_part{}.edl", more + 1),
            };
            files.push((name, list(rate, part, &reels)));
        }
    }
    if files.is_empty() {
        files.push((
            "timeline.edl".into(),
            format!("{TITLE}FCM: NON-DROP FRAME\r\n* NO CLIP CAN BE LISTED\r\n").into_bytes(),
        ));
    }
    // The main list first.
    files.sort_by_key(|(name, _)| name != "timeline.edl");
    let mut lines = String::new();
    for left in &left_out {
        comment(
            &mut lines,
            "NOT LISTED",
            &format!("{}: {}", left.clip.name, left.why),
        );
    }
    files[0].1.extend_from_slice(lines.as_bytes());
    files
}

/// Clips that have a place on the time line and labels that no event line can hold: name and why.
pub fn without_a_label(card: &CardOutcome, admit: Admit) -> Vec<(&str, String)> {
    let (clips, _) = placed(card, admit);
    clips
        .iter()
        .filter_map(|one| Some((&*one.clip.name, labelled(one).err()?)))
        .collect()
}

/// How the clip's labels count, if an event line can hold them.
fn labelled(one: &Placed<'_>) -> Result<ClockForm, String> {
    let rate = one.rate.decimal();
    let form = one
        .form
        .ok_or_else(|| format!("{rate} frames a second have no timecode base"))?;
    if form.last_digits() > 2 {
        return Err(format!(
            "at {rate} frames a second labels need three frame digits"
        ));
    }
    if one.frames > form.counts_per_day() - record_start(form) {
        return Err("it is longer than the 23 hours that a list holds".into());
    }
    Ok(form)
}

/// True if the exclusive out is the next day's.
fn passes_midnight(one: &Placed<'_>, form: ClockForm) -> bool {
    one.start_frame + one.frames >= form.counts_per_day()
}

fn record_start(form: ClockForm) -> i64 {
    form.count(&RECORD_START)
        .expect("the full hour is never dropped")
}

type Event<'a> = (Placed<'a>, ClockForm);

/// Cuts where an event would have a number of four digits or be recorded past midnight.
fn parts<'e, 'a>(events: &'e [Event<'a>]) -> Vec<&'e [Event<'a>]> {
    let mut parts = Vec::new();
    let (mut from, mut frames) = (0, 0);
    for (i, (one, _)) in events.iter().enumerate() {
        let record = events[from].1;
        frames += one.frames;
        if i - from == MOST_EVENTS || frames > record.counts_per_day() - record_start(record) {
            parts.push(&events[from..i]);
            (from, frames) = (i, one.frames);
        }
    }
    parts.push(&events[from..]);
    parts
}

fn list(rate: Rate, events: &[Event<'_>], reels: &BTreeMap<&str, String>) -> Vec<u8> {
    let mut text = String::from(TITLE);
    // The record side counts as the first event does.
    let record = events[0].1;
    let mut at = record_start(record);
    let mut mode = None;
    for (i, (one, form)) in events.iter().enumerate() {
        if mode != Some(form.drop_frame()) {
            mode = Some(form.drop_frame());
            let frame_code = match form.drop_frame() {
                true => "DROP FRAME",
                false => "NON-DROP FRAME",
            };
            write!(text, "FCM: {frame_code}\r\n").expect(GROWS);
        }
        let out = one.start_frame + one.frames;
        write!(
            text,
            "{:03}  {} V     C        {} {} {} {}\r\n",
            i + 1,
            reels[one.clip.name.as_str()],
            form.text(one.start_frame),
            form.text(out),
            record.text(at),
            record.text(at + one.frames),
        )
        .expect(GROWS);
        at += one.frames;
        if i == 0 {
            // Behind the event, since some readers take no comment before the first.
            comment(&mut text, "FRAME RATE", &rate.decimal());
        }
        comment(&mut text, "FROM CLIP NAME", file_name(&one.clip.name));
        comment(&mut text, "SOURCE FILE", &one.clip.name);
        remarks(&mut text, one.clip);
        if passes_midnight(one, *form) {
            comment(
                &mut text,
                "SOURCE PASSES MIDNIGHT",
                "its out lies on the next day",
            );
        }
    }
    text.into_bytes()
}

const GROWS: &str = "a string takes everything";

fn remarks(text: &mut String, clip: &CardClip) {
    let outcome = &clip.outcome;
    if outcome.verdict == Verdict::Unsure {
        let why = outcome.reasons.first();
        comment(text, "START UNSURE", why.map_or("", |why| &why.sentence));
    }
    if let Some((what, remark)) = outcome.by_hand.as_ref().and_then(ByHand::set) {
        comment(
            text,
            &format!("{} SET BY HAND", what.to_uppercase()),
            remark,
        );
    }
    let inherited = outcome
        .start
        .as_ref()
        .and_then(|s| s.inherited_from.as_ref());
    if let Some(from) = inherited {
        comment(text, "START INHERITED FROM", from);
    }
}

/// A comment on one line, whatever the text holds.
fn comment(text: &mut String, what: &str, value: &str) {
    let plain: String = value
        .chars()
        .map(|c| if is_obeyed(c) { '_' } else { c })
        .collect();
    let line = format!("* {what}: {plain}");
    text.push_str(line.trim_end_matches([' ', ':']));
    text.push_str("\r\n");
}

/// A reel name for every clip of the card: eight capital letters and digits, unique, and as
/// far as names allow independent of which other clips there are.
///
/// A clip whose name, without its ending and any other characters, has at most eight that
/// no other clip has too, keeps them, with zeros behind. Any other gets its first four and
/// four more that its full name decides, since cutting would make one reel of
/// `A001C003_1124` and `A001C003_1125`.
fn reels(clips: &[CardClip]) -> BTreeMap<&str, String> {
    let mut wishes: BTreeMap<String, usize> = BTreeMap::new();
    for clip in clips {
        *wishes.entry(wish(&clip.name)).or_default() += 1;
    }
    let keeps = |name: &str| {
        let wish = wish(name);
        (wish.len() == REEL_LEN && wishes[&wish] == 1).then_some(wish)
    };
    let mut names: Vec<&str> = clips.iter().map(|clip| clip.name.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    let mut taken: BTreeSet<String> = names.iter().filter_map(|name| keeps(name)).collect();
    let mut reels = BTreeMap::new();
    for name in names {
        let reel = keeps(name).unwrap_or_else(|| {
            let mut tries = (0u32..).map(|attempt| hashed(name, attempt));
            tries.find(|reel| !taken.contains(reel)).expect("endless")
        });
        taken.insert(reel.clone());
        reels.insert(name, reel);
    }
    reels
}

/// The letters and digits of the file name, capital, with zeros behind up to eight; longer
/// if the name is.
fn wish(name: &str) -> String {
    let file = file_name(name);
    let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem);
    let mut wish: String = stem.chars().filter(char::is_ascii_alphanumeric).collect();
    wish.make_ascii_uppercase();
    while wish.len() < REEL_LEN {
        wish.push('0');
    }
    wish
}

fn hashed(name: &str, attempt: u32) -> String {
    let digest = Sha256::digest(format!("{name}\n{attempt}"));
    let mut number = u32::from_be_bytes([digest[0], digest[1], digest[2], digest[3]]);
    let mut reel: String = wish(name).chars().take(REEL_LEN / 2).collect();
    while reel.len() < REEL_LEN {
        reel.push(char::from(
            b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"[number as usize % 36],
        ));
        number /= 36;
    }
    reel
}
