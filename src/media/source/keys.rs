//! Key frames, without decoding what lies between, and frames between them where they are rare.

use super::{MOST_FAILURES, Source, is_hidden, stamp_of};
use ffmpeg_next::{Discard, ffi, format::context::Input, frame};

/// Jumping to the next key frame is cheaper than reading more bytes than this.
const HOP_BYTES: i64 = 256 << 10;

/// How to get from one key frame to the next without reading what lies between.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Hops {
    Never,
    /// The index names every key frame.
    ByIndex,
    /// Every packet is a key frame: any jump finds one.
    ByTime,
}

impl Hops {
    pub(super) fn of(demuxer: &Input, stream: usize) -> Self {
        let can_seek = ["mxf", "matroska,webm", "avi"].contains(&demuxer.format().name());
        let is_intra_only = demuxer.stream(stream).is_some_and(|stream| {
            // SAFETY: descriptions are constants of the library.
            unsafe {
                let id = stream.parameters().id();
                ffi::avcodec_descriptor_get(id.into())
                    .as_ref()
                    .is_some_and(|d| d.props & ffi::AV_CODEC_PROP_INTRA_ONLY != 0)
            }
        });
        if can_seek && is_intra_only {
            Self::ByTime
        } else {
            Self::Never
        }
    }
}

impl Source {
    /// The next frames come from here on, where decoding stands behind the frame given last, whose
    /// stamp is `last`.
    pub(in crate::media) fn go_on_from(&mut self, last: i64) {
        self.was_given(last);
        self.between.clear();
        self.is_primed = true;
    }

    /// Distances are counted from the frame whose stamp is `last`, wherever decoding stands.
    pub(in crate::media) fn was_given(&mut self, last: i64) {
        self.last_given = Some((last, 0));
    }

    /// The next key frame whose stamp is above `after` and at least `closest`
    /// above the frame before; `None` at the end. Every key frame is decoded by
    /// itself, so nothing of its neighbours is needed or left over. What lies
    /// between is skipped here, not by the demuxer: FFmpeg 5.1's for QuickTime
    /// gives the wrong presentation stamps when it is told to skip.
    ///
    /// If none comes within `widest` of the frame before, be it that the file ends there, a frame
    /// between key frames at least `closest` behind that one is given, which is decoded from the
    /// key frame on, or from the frame on at which [`Self::go_on_from`] said that decoding stands.
    pub(in crate::media) fn next_key(
        &mut self,
        after: Option<i64>,
        closest: i64,
        widest: Option<i64>,
    ) -> Option<frame::Video> {
        // The frame given last is no next one, wherever a jump ends.
        let closest = closest.max(1);
        self.hop(closest, widest);
        while self.failures < MOST_FAILURES {
            let Some(packet) = self.next_packet() else {
                widest?;
                return self.next_before_the_end(after, closest);
            };
            let last = self.last_given.map(|(last, _)| last);
            let Some(stamp) = stamp_of(&packet) else {
                continue;
            };
            let is_near = last.is_some_and(|last| stamp < last.saturating_add(closest));
            let is_passed = is_hidden(&packet) || is_near || after.is_some_and(|a| stamp <= a);
            if let Some(widest) = widest {
                if packet.is_key() {
                    self.between.clear();
                    self.is_primed = false;
                }
                self.between.push(packet.clone());
                let last = last.or(after);
                let is_far = last.is_some_and(|last| stamp > last.saturating_add(widest));
                if let Some(last) = last.filter(|_| is_far && !packet.is_key()) {
                    return self.next_between(last.saturating_add(closest));
                }
            }
            if !packet.is_key() || is_passed {
                continue;
            }
            let waits = packet
                .pts()
                .zip(packet.dts())
                .map(|(pts, dts)| pts.saturating_sub(dts));
            self.wait = waits.map_or(0, |ticks| ticks.max(0));
            self.decoder.flush();
            self.send(&packet);
            let _ = self.decoder.send_eof();
            let frame = self.receive();
            self.decoder.flush();
            if frame.is_some() {
                let bytes = i64::try_from(packet.size()).unwrap_or(i64::MAX);
                self.last_given = Some((stamp, bytes));
                return frame;
            }
        }
        None
    }

    /// A frame at least `closest` behind the one before, of what was passed over and has no key
    /// frame behind it any more.
    fn next_before_the_end(&mut self, after: Option<i64>, closest: i64) -> Option<frame::Video> {
        let last = self.last_given.map(|(last, _)| last).or(after)?;
        let target = last.saturating_add(closest);
        let is_there = |packet| stamp_of(packet).is_some_and(|stamp| stamp >= target);
        if !self.between.iter().any(is_there) {
            return None;
        }
        self.next_between(target)
    }

    /// The first frame with a stamp of at least `target`, by decoding what was passed over.
    /// Frames to which no other refers are left out where the codec marks them.
    fn next_between(&mut self, target: i64) -> Option<frame::Video> {
        if !self.is_primed {
            self.decoder.flush();
            self.is_draining = false;
            self.is_primed = true;
        }
        for packet in std::mem::take(&mut self.between).into_iter().rev() {
            self.ahead.push_front(packet);
        }
        self.decoder.skip_frame(Discard::NonReference);
        let frame = self.next_from(target);
        self.decoder.skip_frame(Discard::Default);
        frame
    }

    /// The next frame with a stamp of at least `target`; `None` at the end.
    fn next_from(&mut self, target: i64) -> Option<frame::Video> {
        loop {
            let frame = self.next_frame()?;
            let stamp = frame.pts().or(frame.timestamp());
            if stamp.is_some_and(|stamp| stamp >= target) {
                self.last_given = stamp.map(|stamp| (stamp, 0));
                return Some(frame);
            }
        }
    }

    /// The demuxer's index holds every packet of the file; they lie `widest` ticks apart at most.
    pub(in crate::media) fn trust_index(&mut self, widest: i64) {
        self.hops = Hops::ByIndex;
        self.tally.widest_gap = self.tally.widest_gap.max(widest);
    }

    /// Jumps over what lies between key frames, where the way is long, unless it is so
    /// long that frames between are wanted.
    fn hop(&mut self, closest: i64, widest: Option<i64>) {
        let Some((last, bytes)) = self.last_given.filter(|_| self.ahead.is_empty()) else {
            return;
        };
        let after = last.saturating_add(closest);
        let next = match self.hops {
            Hops::Never => None,
            // The index has times of decoding.
            Hops::ByIndex => self.indexed_key(last, after.saturating_sub(self.wait)),
            Hops::ByTime => {
                let between = closest / self.step.max(1);
                (bytes.saturating_mul(between) > HOP_BYTES).then_some(after)
            }
        };
        let is_far = |next: i64| widest.is_some_and(|w| next > last.saturating_add(w));
        let Some(next) = next.filter(|next| !is_far(*next)) else {
            return;
        };
        self.between.clear();
        self.is_primed = false;
        // If it fails, the packets in between are read and skipped.
        // Where groups are open, asking for a time before the key frame is presented leads to the
        // key frame before.
        if self.seek_file(next.saturating_add(self.wait))
            && let Some(packet) = self.read_packet()
        {
            if stamp_of(&packet).is_some_and(|stamp| stamp <= last) {
                // Without an index of the file jumps end where it was read last.
                self.hops = Hops::Never;
            }
            self.ahead.push_back(packet);
        }
    }

    /// Stamp of the next key frame in the index at or behind `after`, if it lies
    /// far behind the one at `last`.
    fn indexed_key(&self, last: i64, after: i64) -> Option<i64> {
        // SAFETY: the entries are read at once, before FFmpeg is called again.
        unsafe {
            let stream = self.stream().as_ptr().cast_mut();
            let entry = |ts, flags| {
                ffi::avformat_index_get_entry_from_timestamp(stream, ts, flags).as_ref()
            };
            let here = entry(last, ffi::AVSEEK_FLAG_BACKWARD)?.pos;
            entry(after, 0)
                .filter(|next| next.pos - here > HOP_BYTES)
                .map(|next| next.timestamp)
        }
    }
}
