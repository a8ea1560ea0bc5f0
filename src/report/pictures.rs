//! Which pictures go on the page, so that a card of any size makes a page that still opens.

use crate::outcome::{Crop, Evidence};

/// Base64 letters of all pictures together. With it, 500 clips stay below 6 MB.
const ALL_LETTERS: usize = 3 << 20;
/// Base64 letters of one picture: about 90 kB. Displays are small; more is a mistake.
const ONE_LETTERS: usize = 120_000;
/// Pictures of one clip.
const PER_CLIP: usize = 6;

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
    for round in 0..PER_CLIP {
        for (sizes, shown) in clips.iter().zip(&mut shown) {
            let Some(crop) = nth_to_show(sizes.len(), round) else {
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

/// First, last, then from the second on: the ends of the slate say most.
const fn nth_to_show(crops: usize, round: usize) -> Option<usize> {
    match round {
        _ if round >= crops => None,
        0 => Some(0),
        1 => Some(crops - 1),
        _ => Some(round - 1),
    }
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
        assert_eq!(deal_out(&clips, 200), [vec![0], vec![0]]);
        assert_eq!(deal_out(&clips, 300), [vec![0, 1], vec![0]]);
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
