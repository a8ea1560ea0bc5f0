//! Edit lists of QuickTime and MP4 files (ISO/IEC 14496-12, 8.6.6), as far as they make clip time
//! another one than that of the recording. FFmpeg follows them without a word.

use super::boxes;
use crate::timecode::Ratio;
use std::fs::File;
use std::io::{Read, Result, Seek, SeekFrom};
use std::ops::Range;
use std::path::Path;

/// More bytes of an edit list are not looked at: thousands of entries.
const MOST_BYTES: u64 = 1 << 16;

/// One entry.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Edit {
    /// How long it lasts, in ticks of the movie; 0: to the end.
    lasts: u64,
    /// Where in the track it begins, in the track's ticks; below 0: nothing is shown.
    from: i64,
    is_at_speed: bool,
}

impl Edit {
    const fn is_empty(&self) -> bool {
        self.from < 0
    }
}

/// How an edit list makes clip time another than the recording's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Cut {
    /// Parts follow upon each other that do not in the recording.
    Joined,
    /// Nothing is shown between two parts.
    Parted,
    /// A part plays at another speed, or stands.
    AtOtherSpeed,
}

/// What the edit list of a track does, of which a tick lasts `tick_seconds`.
pub(super) fn cut_of(path: &Path, track: i32, tick_seconds: Ratio) -> Result<Option<Cut>> {
    let mut file = File::open(path)?;
    let Some(movie) = boxes::moov_at(&mut file)? else {
        return Ok(None);
    };
    let (mut ticks_per_s, mut list) = (None, None);
    for (kind, body) in boxes::children_in(&mut file, movie)? {
        match &kind {
            b"mvhd" => ticks_per_s = number_behind_times(&mut file, body)?,
            b"trak" if list.is_none() => list = list_of(&mut file, body, track)?,
            _ => {}
        }
    }
    let movie_tick_s = ticks_per_s.and_then(|n| Ratio::checked_new(1, n.into()));
    Ok(movie_tick_s
        .zip(list)
        .and_then(|(movie_tick_s, list)| cut_by(&edits(&list), movie_tick_s / tick_seconds)))
}

/// The edit list's bytes, if the `trak` box is that of the track.
fn list_of(file: &mut File, body: Range<u64>, track: i32) -> Result<Option<Vec<u8>>> {
    let (mut is_wanted, mut edits) = (false, None);
    for (kind, body) in boxes::children_in(file, body)? {
        match &kind {
            b"tkhd" => {
                let number = number_behind_times(file, body)?;
                is_wanted = number.is_some_and(|n| i32::try_from(n) == Ok(track));
            }
            b"edts" => edits = Some(body),
            _ => {}
        }
    }
    let Some(edits) = edits.filter(|_| is_wanted) else {
        return Ok(None);
    };
    let lists = boxes::children_in(file, edits)?;
    let list = lists.into_iter().find(|(kind, _)| kind == b"elst");
    list.map(|(_, body)| contents(file, body)).transpose()
}

fn contents(file: &mut File, body: Range<u64>) -> Result<Vec<u8>> {
    let mut bytes = Vec::new();
    file.seek(SeekFrom::Start(body.start))?;
    file.take((body.end - body.start).min(MOST_BYTES))
        .read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// The first number behind the two times of a movie's or a track's header: the ticks per second,
/// or the track's number (8.2.2 and 8.3.2). Version 1 has 64-bit times.
fn number_behind_times(file: &mut File, body: Range<u64>) -> Result<Option<u32>> {
    let bytes = contents(file, body)?;
    let at = match bytes.first() {
        Some(1) => 20,
        _ => 12,
    };
    let number = bytes.get(at..).and_then(|rest| rest.first_chunk());
    Ok(number.map(|four| u32::from_be_bytes(*four)))
}

/// The entries of an `elst` box, as many as are whole.
fn edits(list: &[u8]) -> Vec<Edit> {
    let Some((head, entries)) = list.split_first_chunk::<8>() else {
        return Vec::new();
    };
    let count = u32::from_be_bytes([head[4], head[5], head[6], head[7]]);
    let is_long = head[0] == 1;
    let edit = |entry: &[u8]| {
        let (lasts, from, rate) = if is_long {
            let (lasts, rest) = entry.split_first_chunk()?;
            let (from, rate) = rest.split_first_chunk()?;
            (u64::from_be_bytes(*lasts), i64::from_be_bytes(*from), rate)
        } else {
            let (lasts, rest) = entry.split_first_chunk()?;
            let (from, rate) = rest.split_first_chunk()?;
            let from = i32::from_be_bytes(*from);
            (u32::from_be_bytes(*lasts).into(), from.into(), rate)
        };
        Some(Edit {
            lasts,
            from,
            // 16 bits of the whole and 16 of the fraction.
            is_at_speed: rate == [0, 1, 0, 0],
        })
    };
    entries
        .chunks_exact(if is_long { 20 } else { 12 })
        .take(count as usize)
        .filter_map(edit)
        .collect()
}

/// `movie_tick`: ticks of the track in one of the movie.
fn cut_by(edits: &[Edit], movie_tick: Ratio) -> Option<Cut> {
    let shown = |edit: &&Edit| !edit.is_empty();
    if edits.iter().filter(shown).any(|edit| !edit.is_at_speed) {
        return Some(Cut::AtOtherSpeed);
    }
    // Empty edits before the first part only delay it, and those behind the last are of no matter.
    let first = edits.iter().position(|edit| !edit.is_empty())?;
    let last = edits.iter().rposition(|edit| !edit.is_empty())?;
    let parts = &edits[first..=last];
    if parts.iter().any(Edit::is_empty) {
        return Some(Cut::Parted);
    }
    let adjoins = |pair: &[Edit]| {
        let end =
            Ratio::from_integer(pair[0].from) + Ratio::from_integer(pair[0].lasts) * movie_tick;
        // Lengths are rounded to ticks of the movie, beginnings to those of the track.
        (Ratio::from_integer(pair[1].from) - end).abs() <= movie_tick + Ratio::ONE
    };
    (!parts.windows(2).all(adjoins)).then_some(Cut::Joined)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cut(list: &[(u64, i64)]) -> Option<Cut> {
        let edits: Vec<Edit> = list
            .iter()
            .map(|&(lasts, from)| Edit {
                lasts,
                from,
                is_at_speed: true,
            })
            .collect();
        // Milliseconds, and ticks of 1/12800 s.
        cut_by(&edits, Ratio::new(12_800, 1000))
    }

    #[test]
    fn what_cameras_and_writers_put_down_cuts_nothing() {
        assert_eq!(cut(&[]), None);
        assert_eq!(cut(&[(6000, 1024)]), None);
        assert_eq!(cut(&[(0, 1024)]), None, "in fragments: to the end");
        assert_eq!(cut(&[(500, -1), (250, -1), (6000, 0)]), None);
        assert_eq!(cut(&[(6000, 0), (500, -1)]), None);
        assert_eq!(cut(&[(500, -1)]), None);
    }

    #[test]
    fn parts_that_adjoin_but_for_rounding_are_one() {
        // 1001/30 ms and 427.09 ticks a frame: ten frames, and what follows.
        assert_eq!(cut(&[(333, 0), (500, 4271)]), None);
        assert_eq!(cut(&[(334, 0), (500, 4271)]), None);
        assert_eq!(cut(&[(334, 0), (500, 4271 + 512)]), Some(Cut::Joined));
        assert_eq!(cut(&[(334, 0), (500, 0)]), Some(Cut::Joined));
    }

    #[test]
    fn what_is_left_out_shown_later_or_slowed_down_is_told() {
        assert_eq!(cut(&[(2000, 0), (2000, 51_200)]), Some(Cut::Joined));
        let parted = [(1000, -1), (2000, 0), (9, -1), (2000, 25_600)];
        assert_eq!(cut(&parted), Some(Cut::Parted));
        // By hand: version, flags, count, then length, beginning and speed of each.
        let list = |rate: [u8; 4]| {
            let short = [
                &[0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 23, 112, 0, 0, 4, 0][..],
                &rate,
            ]
            .concat();
            let mut long = vec![1, 0, 0, 0, 0, 0, 0, 1];
            long.extend([0, 0, 0, 0, 0, 0, 23, 112, 0, 0, 0, 0, 0, 0, 4, 0]);
            long.extend(rate);
            [short, long]
        };
        for list in list([0, 1, 0, 0]) {
            let plain = Edit {
                lasts: 6000,
                from: 1024,
                is_at_speed: true,
            };
            assert_eq!(edits(&list), [plain]);
            assert_eq!(edits(&list[..list.len() - 1]), []);
        }
        for rate in [[0, 0, 0, 0], [0, 0, 128, 0], [0, 2, 0, 0]] {
            for list in list(rate) {
                assert_eq!(cut_by(&edits(&list), Ratio::ONE), Some(Cut::AtOtherSpeed));
            }
        }
    }
}
