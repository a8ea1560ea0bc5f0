//! What is remarked about a clip's oddities, as far as it was read: notes, and doubts about its
//! times.

use super::Clip;
use crate::media::claims::{self, SampleTable};
use crate::media::edits::{self, Cut};
use crate::note::{HEAD_LOST, Note, TIMES_WRONG, TRUNCATED};
use crate::timecode::Ratio;

/// A claimed length may be longer than the frames by this much before the file
/// counts as cut off: half a second, or, where the claim is that of the longest
/// stream, two seconds, since sound often runs on.
const LENGTH_SLACK_S: Ratio = Ratio::new(1, 2);
const SHARED_LENGTH_SLACK_S: Ratio = Ratio::new(2, 1);

impl Clip {
    fn note(&mut self, code: &str, sentence: impl Into<String>) {
        let note = Note::new(code, sentence);
        match self.facts.notes.iter_mut().find(|old| old.code == code) {
            Some(old) => *old = note,
            None => self.facts.notes.push(note),
        }
    }

    fn has_doubt(&self, code: &str) -> bool {
        self.facts.doubts.iter().any(|doubt| doubt.code == code)
    }

    fn doubt_times(&mut self, sentence: impl Into<String>) {
        if !self.has_doubt(TIMES_WRONG) {
            self.facts.doubts.push(Note::new(TIMES_WRONG, sentence));
        }
    }

    /// What an MXF file says of its first picture cannot be followed.
    pub(super) fn doubt_head(&mut self) {
        if !self.has_doubt(HEAD_LOST) {
            self.facts.doubts.push(Note::new(
                HEAD_LOST,
                "the file says that it begins elsewhere than with the first picture stored, in a \
                 way in which programs differ; compare one frame by eye",
            ));
        }
    }

    pub(super) fn note_damaged(&mut self) {
        let damaged = self.damaged_before;
        self.note(
            "damaged_frames",
            format!("{damaged} of the pictures read so far are damaged or did not decode"),
        );
        // An AVI file gives no times: its frames are counted, too.
        if self.must_count || self.facts.container == "avi" {
            self.doubt_times(
                "pictures are damaged in a file whose frames are counted, as it gives them no times: \
                 some may be missing, and the start be off by as many; copy it from the card again, \
                 or compare one frame by eye",
            );
        }
    }

    pub(super) fn note_interlaced(&mut self) {
        self.note(
            "interlaced",
            "frames hold two fields taken at different times; a digit that changes between them \
             shows both",
        );
    }

    pub(super) fn note_repaired_stamps(&mut self) {
        let sentence = if self.must_count {
            "the file does not tell of every picture when it is presented; the times were rebuilt \
             from the order of the pictures and the nominal rate"
                .to_owned()
        } else {
            format!(
                "{} of the presentation times read so far were missing or ran backwards and were \
                 rebuilt from the nominal rate",
                self.stamper.repaired()
            )
        };
        self.note("stamps_repaired", sentence);
        if !self.must_count && self.stamper.is_dubious() {
            self.doubt_times(
                "many presentation times of the file run backwards or are missing, so that the \
                 others may be wrong, too; copy it from the card again, or compare one frame by \
                 eye",
            );
        }
    }

    pub(super) fn note_spacing(&mut self) {
        self.facts.is_variable_rate |= self.spacing.is_uneven();
        let Some((low, high)) = self.spacing.range().filter(|_| self.facts.is_variable_rate) else {
            return;
        };
        let ms = |ticks: i64| {
            let ms =
                Ratio::from_integer(ticks) * self.facts.tick_seconds * Ratio::from_integer(1000);
            format!("{:.1}", ms.to_f64())
        };
        let sentence = format!(
            "frames lie {} to {} ms apart, as far as read; every frame's own time is used, never \
             its number",
            ms(low),
            ms(high)
        );
        self.note("variable_rate", sentence);
    }

    /// Recordings that were joined keep the times of each as a rule; what lies between was not filmed.
    pub(super) fn doubt_joints(&mut self) {
        if let Some(restart) = self.source.tally().restart {
            let ticks = restart.saturating_sub(self.stamper.zero());
            let at_s = Ratio::from_integer(ticks) * self.facts.tick_seconds;
            self.doubt_times(format!(
                "the times of the file start again {:.1} s after its first frame, as where recordings \
                 were joined; what lies between them was not filmed, and the start may be so much \
                 off; read each recording by itself, or compare one frame by eye",
                at_s.to_f64()
            ));
        }
        let in_order = self.spacing.range().map_or(0, |(_, widest)| widest);
        let widest = in_order.max(self.source.tally().widest_gap);
        if widest <= self.longest_gap || self.has_doubt(TIMES_WRONG) {
            return;
        }
        let widest_s = Ratio::from_integer(widest) * self.facts.tick_seconds;
        self.doubt_times(format!(
            "{:.1} s lie between two frames in a row, as where recordings were joined or the \
             times are damaged: the start may be so much off; compare one frame by eye",
            widest_s.to_f64()
        ));
    }

    /// Programs differ in how they follow an edit list, and those that do show what was not filmed
    /// in a row as if it were.
    pub(super) fn doubt_edits(&mut self) {
        if !claims::is_movie(self.source.demuxer()) {
            return;
        }
        let track = self.source.stream().id();
        let cut = edits::cut_of(&self.facts.path, track, self.facts.tick_seconds);
        let what = match cut.ok().flatten() {
            Some(Cut::Joined) => "leaves out or repeats parts of the recording",
            Some(Cut::Parted) => "puts a pause between two parts of the recording",
            Some(Cut::AtOtherSpeed) => "plays a part of the recording at another speed",
            None => return,
        };
        self.doubt_times(format!(
            "the edit list of the file {what}, so that clip time is not the camera's, and the start \
             may be as much off; read the file that the camera wrote, or compare one frame by eye"
        ));
    }

    fn note_truncated(&mut self, claimed_s: Ratio, left: &str, left_s: Ratio) {
        self.note(
            TRUNCATED,
            format!(
                "the file ends early: {left}{:.2} s of {:.2} s are in it; copy it from the card \
                 again",
                left_s.to_f64(),
                claimed_s.to_f64()
            ),
        );
    }

    /// The end of the file cuts off its last box. What a sample table says is said better.
    pub(super) fn note_cut_off(&mut self) {
        if !self.facts.notes.iter().any(|note| note.code == TRUNCATED) {
            let said = "the file ends early: its last piece is longer than what is there; copy it from the card \
                        again";
            self.note(TRUNCATED, said);
        }
    }

    /// Compares the sample table with the length of the file.
    pub(super) fn note_table(&mut self, table: &SampleTable, file_len: u64, step: Ratio) {
        if table.needed_len <= file_len {
            return;
        }
        let left_s = (Ratio::from_integer(table.whole_ticks) + step) * self.facts.tick_seconds;
        let claimed_s = self.facts.duration_s.unwrap_or(left_s);
        let left = format!("{} of {} frames, ", table.presented_whole, table.presented);
        self.facts.frames = Some(table.presented_whole);
        self.facts.duration_s = Some(left_s);
        self.note_truncated(claimed_s, &left, left_s);
    }

    /// True if another stream than the pictures', sound as a rule, is there up to a time after
    /// frame 0.
    fn others_reach(&self, at_s: Ratio) -> bool {
        let zero_s = Ratio::from_integer(self.stamper.zero()) * self.facts.tick_seconds;
        self.source.others_reach(at_s + zero_s)
    }

    /// Called when reading gave no more frames: compares claims with the end.
    pub(super) fn note_end(&mut self) {
        let tally = *self.source.tally();
        if !tally.reached_end {
            return;
        }
        if let Some(count) = self.count.filter(|_| !self.skips()) {
            self.facts.frames = Some(count);
        }
        if let Some(cause) = tally.stopped {
            self.note(
                TRUNCATED,
                format!("reading stopped before the end ({cause}); copy it from the card again"),
            );
        }
        if std::mem::replace(&mut self.knows_end, true) {
            return;
        }
        let read = match (self.must_count, self.neighbour) {
            (true, last) => last.map(|last| Ratio::from_integer(last) + self.stamper.step()),
            (false, _) => tally
                .furthest
                .map(|end| Ratio::from_integer(end.saturating_sub(self.stamper.zero()))),
        };
        let Some(end_s) = read.map(|ticks| ticks * self.facts.tick_seconds) else {
            return;
        };
        let slack_s = if self.has_own_duration {
            LENGTH_SLACK_S
        } else {
            SHARED_LENGTH_SLACK_S
        };
        match self.facts.duration_s {
            Some(claimed_s) if claimed_s > end_s + slack_s => {
                if self.has_own_duration || !self.others_reach(claimed_s - slack_s) {
                    self.note_truncated(claimed_s, "", end_s);
                }
                self.facts.duration_s = Some(end_s);
            }
            // Estimated lengths, as of transport streams, fall short.
            Some(claimed_s) if claimed_s >= end_s => {}
            _ => self.facts.duration_s = Some(end_s),
        }
    }
}
