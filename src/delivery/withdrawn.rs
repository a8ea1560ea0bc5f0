//! Files that an earlier run handed over and that this run's results no longer bear out: a
//! clip that somebody has rejected since, or given another start. A sidecar is removed, since
//! it would be replaced if the clip still had a start; a copy holds footage, is never removed,
//! and is named to the user instead.

use super::{Delivery, Product};
use crate::clip_base;
use crate::digest::hex;
use crate::error::Error;
use crate::outcome::{CardClip, CardOutcome, ClipOutcome, Verdict};
use crate::path_text::{path_of, text_of, with_suffix};
use crate::save::{Holder, Ledger, Told};
use crate::sidecar::edl;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};

/// Ends what is told of a start that was not sure.
const UNSURE: &str = " unsure";

/// A file whose start no longer holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Withdrawn {
    /// Below the output folder.
    pub file: PathBuf,
    /// What became of it, in words that follow its name.
    pub sentence: String,
    pub is_removed: bool,
}

impl Delivery<'_> {
    /// Finds such files, and removes those that this run was asked to write, if they are as
    /// they were written. Files of clips that are gone from the card, that could not be read
    /// this time, or that share no more than their name with one of it, are left as they are. What
    /// could not be removed is told besides. To be asked before [`Delivery::write`].
    pub fn withdraw(&self, ledger: &Ledger) -> (Vec<Withdrawn>, Vec<Error>) {
        let names = self.card.clips.iter().map(|clip| &*clip.name);
        let places: BTreeMap<&str, usize> = names.zip(0..).collect();
        let xmp_names = self.xmp_names();
        let (mut withdrawn, mut faults) = (Vec::new(), Vec::new());
        for (file, told) in ledger.all_told() {
            let product = Product::of(&file);
            let now = match &told.clip {
                None => self.now_of_all(&file, product, told),
                Some(clip) => places.get(&**clip).and_then(|&index| {
                    if let Holder::Another(_) = ledger.holder(&file, &self.sources[index]) {
                        return None;
                    }
                    let has_its_name = match product {
                        Product::Xmp => file == xmp_names[index],
                        Product::Copy => begins_with_clip(&file, told),
                        _ => true,
                    };
                    self.now_of_one(&self.card.clips[index].outcome, product, told, has_its_name)
                }),
            };
            let Some(now) = now.filter(|_| self.out.join(&file).symlink_metadata().is_ok()) else {
                continue;
            };
            let is_asked = self.products.contains(&product);
            let is_removed = is_asked
                && ledger.remove(&file).unwrap_or_else(|fault| {
                    faults.push(fault);
                    false
                });
            withdrawn.push(Withdrawn {
                file,
                sentence: sentence(told, product, &now, (is_asked, is_removed)),
                is_removed,
            });
        }
        (withdrawn, faults)
    }

    /// What a file of one clip would have to say; `None` if it says so, or will before the run
    /// ends, or if nothing is known. `has_its_name` is true of one called as this run would call it.
    fn now_of_one(
        &self,
        outcome: &ClipOutcome,
        product: Product,
        told: &Told,
        has_its_name: bool,
    ) -> Option<Now> {
        let is_asked = self.products.contains(&product);
        if outcome.verdict == Verdict::Failed {
            return None;
        }
        if is_asked && self.hands_over(product, outcome) {
            return (!has_its_name).then_some(Now::OtherName);
        }
        match start(outcome) {
            None => Some(Now::NoStart),
            Some(_) if lacks_label(product, outcome) => Some(Now::NoLabel),
            // Sure by now of what it was not sure of is no reason to take it back.
            Some(start) if told.start.trim_end_matches(UNSURE) == start => None,
            Some(start) if told.start == start => is_asked.then_some(Now::NotLetIn),
            Some(start) => Some(Now::Start(start)),
        }
    }

    /// As [`Self::now_of_one`], of a file that speaks of all clips.
    fn now_of_all(&self, file: &Path, product: Product, told: &Told) -> Option<Now> {
        let mut clips = self.card.clips.iter();
        if clips.any(|clip| clip.outcome.was_left_out()) {
            return None;
        }
        let is_of_others = if self.products.contains(&product) {
            // One clip at another rate less is one list less.
            let lists = || edl::to_files(self.card, self.admit).into_iter();
            product == Product::Edl && !lists().any(|(name, _)| Path::new(&name) == file)
        } else {
            // Clips that were read one by one are not all that a timeline is of.
            let is_card = !self.card.folders.is_empty();
            is_card && told.start != digest(self.card)
        };
        is_of_others.then_some(Now::Otherwise)
    }

    /// True if this run writes, or tries to write, that file of the clip.
    fn hands_over(&self, product: Product, outcome: &ClipOutcome) -> bool {
        match product {
            Product::Preview => Self::has_preview(outcome),
            _ => self.admit.lets_in(outcome) && !lacks_label(product, outcome),
        }
    }
}

/// True if that file of the clip holds a label of the clip's own, and the clip has none.
fn lacks_label(product: Product, outcome: &ClipOutcome) -> bool {
    let start = outcome.start.as_ref();
    matches!(product, Product::Xmp | Product::Copy)
        && start.is_some_and(|start| start.in_clip_base.is_none())
}

/// What has become of a start that an earlier run handed over.
enum Now {
    NoStart,
    /// It has no label in the clip's base any more.
    NoLabel,
    Start(String),
    /// It is unsure, and unsure clips are not asked for.
    NotLetIn,
    /// Of files that speak of all clips.
    Otherwise,
    /// Of a copy or a sidecar that this run gives another name.
    OtherName,
}

/// True if a copy's name is its clip's, or that with an ending more. Earlier versions put the
/// new ending in place of the clip's.
fn begins_with_clip(copy: &Path, told: &Told) -> bool {
    let Some(clip) = told.clip.as_deref().map(path_of) else {
        return true;
    };
    let ending = copy.extension().unwrap_or_default().to_string_lossy();
    let name = |path: &Path| path.file_name().map(text_of_name);
    name(copy)
        .zip(name(&clip))
        .is_none_or(|(copy, name_of_clip)| {
            copy.starts_with(&name_of_clip)
                || Some(copy) == name(&with_suffix(&clip, &format!(".{ending}")))
        })
}

fn text_of_name(name: &OsStr) -> String {
    text_of(Path::new(name))
}

fn sentence(
    told: &Told,
    product: Product,
    now: &Now,
    (is_asked, is_removed): (bool, bool),
) -> String {
    let was = &told.start;
    let why = match now {
        Now::NoStart => format!("with {was}; the clip has no start any more"),
        Now::NoLabel => format!("with {was}; the clip has no label of its own any more"),
        Now::Start(start) => format!("with {was}; the clip's start is {start} now"),
        Now::NotLetIn => format!("with {was}; unsure clips are not asked for now"),
        Now::Otherwise => "with other clips or starts than now".to_owned(),
        Now::OtherName => {
            let what = match product {
                Product::Copy => "copy",
                _ => "sidecar",
            };
            format!("with {was}; the clip's {what} has another name now")
        }
    };
    if is_removed {
        return format!("was of an earlier run, {why}: it was removed");
    }
    let renew = match now {
        Now::NoStart | Now::NoLabel | Now::NotLetIn | Now::OtherName => String::new(),
        // It was asked for: the clip is unsure.
        Now::Start(_) if is_asked => ", or let unsure clips in with --with-unsure".to_owned(),
        Now::Start(_) | Now::Otherwise => {
            format!(", or have it made anew with --write {}", product.name())
        }
    };
    format!("is of an earlier run, {why}: delete it{renew}")
}

/// What is noted of a file of one clip; `None` if the clip has no start.
pub(super) fn told_of(clip: &CardClip) -> Option<Told> {
    Some(Told {
        clip: Some(clip.name.clone()),
        start: start(&clip.outcome)?,
    })
}

/// What is noted of a file that speaks of all clips.
pub(super) fn told_of_all(card: &CardOutcome) -> Told {
    Told {
        clip: None,
        start: digest(card),
    }
}

/// The start as the user knows it, and the clip's rate where it has labels of its own.
fn start(outcome: &ClipOutcome) -> Option<String> {
    let start = outcome.start.as_ref()?;
    let mut text = match &start.in_clip_base {
        Some(base) => {
            let rate = clip_base::exact_rate(&base.rate);
            let rate = rate.map_or_else(|| base.rate.clone(), |rate| rate.decimal());
            format!("{} at {rate}", base.label)
        }
        None => start.label.clone(),
    };
    if outcome.verdict != Verdict::Sure {
        text.push_str(UNSURE);
    }
    Some(text)
}

/// Stands for the starts and verdicts of all clips.
fn digest(card: &CardOutcome) -> String {
    let mut hasher = Sha256::new();
    for clip in &card.clips {
        let outcome = &clip.outcome;
        let start = start(outcome).unwrap_or_default();
        hasher.update(format!("{}\n{:?} {start}\n", clip.name, outcome.verdict));
    }
    hex(&hasher.finalize())
}
