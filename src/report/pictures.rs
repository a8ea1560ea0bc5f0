//! Which pictures go on the page, so that a card of any size makes a page that still opens.

use crate::outcome::{Crop, Evidence};

/// Base64 letters of all pictures together. With it, 500 clips stay below 6 MB.
const ALL_LETTERS: usize = 3 << 20;
/// Base64 letters of one picture: about 90 kB. Displays are small; more is a mistake.
const ONE_LETTERS: usize = 120_000;

/// The base64 letters of each picture of a clip; `None` for what is no picture.
pub fn sizes(evidence: &Evidence) -> Vec<Option<usize>> {
    let size = |crop: &Crop| is_picture(crop).then_some(crop.png.len());
    evidence.crops.iter().map(size).collect()
}

/// Which crops to show of each clip, ascending; `clips` in the order in which pictures are
/// dealt out, with their [`sizes`].
pub fn deal(clips: &[Vec<Option<usize>>]) -> Vec<Vec<usize>> {
    deal_out(clips, ALL_LETTERS)
}

/// Deals pictures out in rounds: first one for each clip, then a second, until `letters` are
/// used up.
fn deal_out(clips: &[Vec<Option<usize>>], letters: usize) -> Vec<Vec<usize>> {
    let mut shown = vec![Vec::new(); clips.len()];
    let mut left = letters;
    for round in 0..clips.iter().map(Vec::len).max().unwrap_or(0) {
        for (sizes, shown) in clips.iter().zip(&mut shown) {
            let Some(crop) = order(sizes.len()).nth(round) else {
                continue;
            };
            if let Some(size) = sizes[crop].filter(|&size| size <= left) {
                left -= size;
                shown.push(crop);
            }
        }
    }
    for crops in &mut shown {
        crops.sort_unstable();
    }
    shown
}

/// The middle one, since the slate often comes in smeared; then the ends, which say most of how
/// it ran, and the others.
fn order(crops: usize) -> impl Iterator<Item = usize> {
    let first = [crops / 2, 0, crops.saturating_sub(1)];
    let is_new = move |&(at, crop): &(usize, usize)| crop < crops && !first[..at].contains(&crop);
    let others = (0..crops).filter(move |crop| !first.contains(crop));
    let distinct = first.into_iter().enumerate().filter(is_new);
    distinct.map(|(_, crop)| crop).chain(others)
}

/// PNG by its first eight bytes in base64 (the signature, ISO/IEC 15948), and nothing
/// else than base64 behind them.
fn is_picture(crop: &Crop) -> bool {
    crop.png.len() <= ONE_LETTERS
        && crop.png.starts_with("iVBORw0KGg")
        && crop
            .png
            .bytes()
            .all(|b| b.is_ascii_alphanumeric() || matches!(b, b'+' | b'/' | b'='))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn crop(letters: usize) -> Crop {
        Crop {
            seconds: 0.0,
            digits: String::new(),
            label: None,
            png: format!("iVBORw0KGg{}", "A".repeat(letters - 10)),
        }
    }

    #[test]
    fn every_clip_gets_one_before_any_gets_two() {
        let clips = [vec![Some(100); 2], vec![Some(100); 3]];
        for (crops, in_order) in [
            (4, &[2, 0, 3, 1][..]),
            (3, &[1, 0, 2]),
            (2, &[1, 0]),
            (1, &[0]),
            (0, &[]),
        ] {
            assert_eq!(order(crops).collect::<Vec<_>>(), in_order);
        }
        assert_eq!(deal_out(&clips, 200), [vec![1], vec![1]]);
        assert_eq!(deal_out(&clips, 300), [vec![0, 1], vec![1]]);
        assert_eq!(deal_out(&clips, 9_999), [vec![0, 1], vec![0, 1, 2]]);
    }

    #[test]
    fn what_is_no_picture_is_left_out() {
        let mut odd = Evidence {
            crops: [100, ONE_LETTERS + 1, 100].map(crop).into(),
            points: Vec::new(),
        };
        odd.crops[0].png = "\" onerror=\"alert(1)".into();
        let sizes = sizes(&odd);
        assert_eq!(sizes, [None, None, Some(100)]);
        assert_eq!(deal_out(&[sizes], usize::MAX), [vec![2]]);
    }

    #[test]
    fn missing_evidence_is_no_trouble() {
        let clips = [vec![Some(100)], Vec::new(), Vec::new()];
        assert_eq!(deal_out(&clips, 9_999), [vec![0], vec![], vec![]]);
    }
}
