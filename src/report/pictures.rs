//! Which pictures go on the page, so that a card of any size makes a page that still opens.

use crate::outcome::{Crop, Evidence};

/// Base64 letters of all pictures together. With it, 500 clips stay below 6 MB.
const ALL_LETTERS: usize = 3 << 20;
/// Base64 letters of one picture: about 90 kB. Displays are small; more is a mistake.
const ONE_LETTERS: usize = 120_000;
/// Pictures of one clip.
const PER_CLIP: usize = 6;

/// For each clip the indices of its crops to show, ascending. Pictures are dealt out in rounds: first
/// one for each clip in `order`, then a second, until `letters` are used up.
fn deal(order: &[usize], evidence: &[Evidence], letters: usize) -> Vec<Vec<usize>> {
    let mut shown = vec![Vec::new(); evidence.len()];
    let mut left = letters;
    for round in 0..PER_CLIP {
        for &clip in order {
            let Some(crops) = evidence.get(clip).map(|evidence| &evidence.crops) else {
                continue;
            };
            let Some(crop) = nth_to_show(crops.len(), round) else {
                continue;
            };
            let size = crops[crop].png.len();
            if size <= left && is_picture(&crops[crop]) {
                left -= size;
                shown[clip].push(crop);
            }
        }
    }
    for crops in &mut shown {
        crops.sort_unstable();
    }
    shown
}

/// For each clip the crops to show, as [`Evidence::crops`] has them.
pub fn choose<'a>(order: &[usize], evidence: &'a [Evidence]) -> Vec<Vec<&'a Crop>> {
    deal(order, evidence, ALL_LETTERS)
        .into_iter()
        .zip(evidence)
        .map(|(chosen, evidence)| chosen.into_iter().map(|i| &evidence.crops[i]).collect())
        .collect()
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

    fn evidence(sizes: &[usize]) -> Evidence {
        Evidence {
            crops: sizes.iter().map(|&size| crop(size)).collect(),
            points: Vec::new(),
        }
    }

    #[test]
    fn every_clip_gets_one_before_any_gets_two() {
        let cards = [evidence(&[100, 100, 100]), evidence(&[100, 100])];
        assert_eq!(deal(&[1, 0], &cards, 200), [vec![0], vec![0]]);
        assert_eq!(deal(&[1, 0], &cards, 300), [vec![0], vec![0, 1]]);
        assert_eq!(deal(&[1, 0], &cards, 9_999), [vec![0, 1, 2], vec![0, 1]]);
    }

    #[test]
    fn what_is_no_picture_is_left_out() {
        let mut odd = evidence(&[100, ONE_LETTERS + 1, 100]);
        odd.crops[0].png = "\" onerror=\"alert(1)".into();
        assert_eq!(deal(&[0], &[odd], usize::MAX), [vec![2]]);
    }

    #[test]
    fn missing_evidence_is_no_trouble() {
        assert_eq!(deal(&[0, 1, 2], &[evidence(&[100])], 9_999), [vec![0]]);
    }
}
