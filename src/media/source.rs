//! Packets in, decoded frames out: one picture stream of one file, read forwards,
//! with jumps. Knows FFmpeg's stamps only; [`super::clip`] turns them into frame
//! times and decides what is given out.

mod descriptions;
mod joints;
mod keys;
mod reach;

use self::keys::Hops;
use self::reach::Reach;
use super::open::{self, Opening};
use crate::error::{Error, ErrorKind, Result};
use crate::timecode::Ratio;
use ffmpeg_next::{
    self as ffmpeg, Discard, Packet, ffi, format::context::Input, frame, packet::Ref,
};
use std::collections::{BTreeSet, VecDeque};
use std::path::{Path, PathBuf};

/// After so many packets in a row that do not decode, or reads that fail, the
/// rest is given up: no container has legitimate runs of that length, and
/// reading on could take hours.
const MOST_FAILURES: u32 = 500;

/// A decoder that has swallowed so many packets without giving out a frame will
/// give none: no codec reorders over more than 16 frames, and a start is
/// possible every few seconds.
const MOST_SILENT: u32 = 2000;

/// After a jump a key frame must come within so many packets: ten minutes of
/// video at 60 frames per second.
const MOST_PACKETS_TO_KEY: u32 = 36_000;

/// What reading has shown so far.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Tally {
    /// Packets that did not decode, and frames that decoded with errors; each
    /// counted once however often it was read.
    pub damaged: usize,
    /// Why reading stopped before the end, if it did.
    pub stopped: Option<ffmpeg::Error>,
    /// End of the last packet read, in FFmpeg's stamps.
    pub furthest: Option<i64>,
    /// True once the last packet of the file has been read.
    pub reached_end: bool,
    /// Widest distance in ticks between packets that were read one after the other, or stand so in
    /// the index.
    pub widest_gap: i64,
    /// Where stamps start again for the first time: the end of what was presented before.
    pub restart: Option<i64>,
}

/// Packets that were read one after the other, since the file was opened or the last jump.
#[derive(Clone, Copy, Debug, Default)]
struct Run {
    has_any: bool,
    /// Decoding stamp of the last of those that have one.
    last_dts: Option<i64>,
    /// The highest that two in a row have reached.
    top_dts: Option<i64>,
    /// End of what is presented last.
    end: Option<i64>,
    /// Added to the stamps of the file since they started again.
    shift: i64,
}

/// What was asked of the decoder, and what another one is asked in its place.
#[derive(Clone, Copy, Debug, Default)]
struct Wishes {
    accepts_incomplete: bool,
    is_rough: bool,
}

impl Wishes {
    fn tell(self, decoder: &mut ffmpeg::decoder::Video) {
        let skipped = if self.is_rough {
            Discard::All
        } else {
            Discard::Default
        };
        // SAFETY: the context is open and used by this thread only.
        let context = unsafe { &mut *decoder.as_mut_ptr() };
        context.skip_loop_filter = skipped.into();
        if self.accepts_incomplete {
            context.flags |= ffi::AV_CODEC_FLAG_OUTPUT_CORRUPT as i32;
        }
    }
}

/// Tells whether a rewound file stands at its first packet again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Mark {
    pts: Option<i64>,
    dts: Option<i64>,
    position: isize,
    size: usize,
}

impl Mark {
    fn of(packet: &Packet) -> Self {
        Self {
            pts: packet.pts(),
            dts: packet.dts(),
            position: packet.position(),
            size: packet.size(),
        }
    }
}

/// Presentation stamp, else decoding stamp.
fn stamp_of(packet: &Packet) -> Option<i64> {
    packet.pts().or(packet.dts())
}

/// True for packets that an edit list hides: decoded, never presented.
pub(super) fn is_hidden(packet: &Packet) -> bool {
    // SAFETY: a plain field of a packet that lives. `Packet::flags` leaves out this flag.
    unsafe { (*packet.as_ptr()).flags & ffi::AV_PKT_FLAG_DISCARD != 0 }
}

/// An opened picture stream.
pub(super) struct Source {
    path: PathBuf,
    /// Clips that are read at the same time.
    beside: usize,
    demuxer: Input,
    stream: usize,
    decoder: ffmpeg::decoder::Video,
    wishes: Wishes,
    /// No picture was looked at when the file was opened.
    is_as_claimed: bool,
    /// Packets of the picture stream that were read but not decoded yet.
    ahead: VecDeque<Packet>,
    /// Those behind them, read to see whether stamps start again.
    held: VecDeque<Packet>,
    /// The decoder's description that came last with a packet, if any has.
    description: Option<Vec<u8>>,
    head: Option<Mark>,
    is_draining: bool,
    failures: u32,
    /// After a jump: frames presented before this stamp may lack their references.
    trusted_from: Option<i64>,
    /// Key frames only: stamp and bytes of the frame given last.
    last_given: Option<(i64, i64)>,
    /// Key frames only: packets that were passed over since the key frame that was decoded
    /// last, and that one, or since the last frame between key frames.
    between: Vec<Packet>,
    /// The decoder has seen all that lies before the first packet of `between`.
    is_primed: bool,
    hops: Hops,
    /// Ticks from when the last key frame was decoded to when it was presented.
    wait: i64,
    /// Length of a packet that does not say, in ticks.
    step: i64,
    run: Run,
    reach: Reach,
    /// Packets decoded since a frame came out.
    silent: u32,
    /// Stamps of damaged packets and frames.
    damaged: BTreeSet<i64>,
    /// Stamp of an incomplete packet: damage, unless the file ends there.
    cut: Option<i64>,
    /// Stamp of the packet sent to the decoder last.
    sent: i64,
    tally: Tally,
}

impl Source {
    /// Opens the file's picture stream; reads nothing yet.
    pub(super) fn open(path: &Path, beside: usize) -> Result<Self> {
        let Opening {
            demuxer,
            stream,
            decoder,
            is_as_claimed,
        } = open::open(path, beside)?;
        let hops = Hops::of(&demuxer, stream);
        Ok(Self {
            path: path.to_path_buf(),
            beside,
            demuxer,
            stream,
            decoder,
            wishes: Wishes::default(),
            is_as_claimed,
            ahead: VecDeque::new(),
            held: VecDeque::new(),
            description: None,
            head: None,
            is_draining: false,
            failures: 0,
            trusted_from: None,
            last_given: None,
            between: Vec::new(),
            is_primed: false,
            hops,
            wait: 0,
            step: 0,
            run: Run::default(),
            reach: Reach::default(),
            silent: 0,
            damaged: BTreeSet::new(),
            cut: None,
            sent: 0,
            tally: Tally::default(),
        })
    }

    pub(super) fn demuxer(&self) -> &Input {
        &self.demuxer
    }

    pub(super) fn stream(&self) -> ffmpeg::Stream<'_> {
        self.demuxer
            .stream(self.stream)
            .expect("the stream was there when the file was opened")
    }

    /// Width and height in pixels of pictures whose layout is known; `None` if only decoding
    /// tells whether these are pictures.
    pub(super) fn known_size(&mut self) -> Option<(u32, u32)> {
        if self.is_as_claimed {
            let first = self.look_ahead(1, usize::MAX).front().cloned()?;
            return open::size_in_header(&self.stream(), &first);
        }
        // SAFETY: the parameters belong to the open demuxer.
        let format = unsafe { (*self.stream().parameters().as_ptr()).format };
        let (width_px, height_px) = open::size(&self.stream());
        (format >= 0 && width_px > 0 && height_px > 0).then_some((width_px, height_px))
    }

    pub(super) const fn tally(&self) -> &Tally {
        &self.tally
    }

    /// Reads packets of the head without decoding them; they are decoded later.
    /// At most `count` packets or `bytes`.
    pub(super) fn look_ahead(&mut self, count: usize, bytes: usize) -> &VecDeque<Packet> {
        let mut total = 0;
        let mut read = VecDeque::new();
        while read.len() < count && total < bytes {
            let Some(packet) = self.read_packet() else {
                break;
            };
            total += packet.size();
            read.push_back(packet);
        }
        self.ahead.append(&mut read);
        &self.ahead
    }

    /// Ticks per frame, for packets that do not say how long they last.
    pub(super) fn set_step(&mut self, ticks: i64) {
        self.step = ticks.max(0);
    }

    /// Lets the decoder give out pictures that it holds to be incomplete: for
    /// streams that never say where one can start.
    pub(super) fn accept_incomplete(&mut self) {
        self.wishes.accepts_incomplete = true;
        self.wishes.tell(&mut self.decoder);
    }

    /// Leaves out the filter that smooths the edges of blocks (H.264, 8.7; H.265, 8.7), from
    /// the next packet on.
    pub(super) fn set_rough(&mut self, is_rough: bool) {
        self.wishes.is_rough = is_rough;
        self.wishes.tell(&mut self.decoder);
    }

    /// The next frame in presentation order; `None` at the end.
    pub(super) fn next_frame(&mut self) -> Option<frame::Video> {
        loop {
            if let Some(frame) = self.receive() {
                return Some(frame);
            }
            if self.is_draining {
                return None;
            }
            match self.next_packet() {
                Some(packet) => self.send(&packet),
                None => {
                    self.is_draining = true;
                    // Only fails where draining has begun already.
                    let _ = self.decoder.send_eof();
                }
            }
        }
    }

    /// Back to the head of the file.
    ///
    /// # Errors
    /// Those of opening the file, which happens where FFmpeg cannot rewind.
    pub(super) fn rewind(&mut self) -> Result<()> {
        self.forget();
        let Some(head) = self.head else {
            return Ok(());
        };
        // After a jump FFmpeg may not read beyond the first of several recordings.
        let start = head.dts.or(head.pts).filter(|_| !self.leads_astray());
        if start.is_some_and(|start| self.seek_file(start))
            && let Some(first) = self.read_packet()
            && Mark::of(&first) == head
        {
            self.reach.is_at_head();
            self.ahead.push_back(first);
            return Ok(());
        }
        let reopened = open::open(&self.path, self.beside)?;
        if reopened.stream != self.stream {
            return Err(Error::new(
                ErrorKind::CannotOpen,
                "the file changed while it was being read",
            )
            .next("wait until it is copied completely, then try again")
            .in_file(&self.path));
        }
        self.demuxer = reopened.demuxer;
        self.decoder = reopened.decoder;
        self.wishes.tell(&mut self.decoder);
        self.description = None;
        self.forget_run();
        self.reach.is_at_head();
        Ok(())
    }

    /// Jumps to the stamp `aim` so that reading goes on with a key frame, and
    /// tells whether that is presented at or before `latest`. Not every file has
    /// an index: transport streams go on with the first key frame behind `aim`.
    /// If false, the place is lost: another jump or [`Self::rewind`] must follow.
    pub(super) fn jump(&mut self, aim: i64, latest: i64) -> bool {
        if self.leads_astray() {
            return self.walk(aim);
        }
        self.forget();
        if !self.seek_file(aim) {
            return false;
        }
        for _ in 0..MOST_PACKETS_TO_KEY {
            let Some(packet) = self.read_packet() else {
                return false;
            };
            if self.leads_astray() {
                return self.walk(aim);
            }
            if packet.is_key() {
                let stamp = stamp_of(&packet);
                self.ahead.push_back(packet);
                self.trusted_from = stamp;
                return stamp.is_some_and(|stamp| stamp <= latest);
            }
        }
        false
    }

    /// Reads on without decoding, over so many bytes or to the end, where it says false and
    /// [`Tally::furthest`] is the end of the file. The place is lost.
    pub(super) fn skim(&mut self, bytes: usize) -> bool {
        self.ahead.clear();
        let mut read = 0;
        while read < bytes {
            let Some(packet) = self.read_packet() else {
                return false;
            };
            read += packet.size();
        }
        true
    }

    /// True if a packet of another stream ends at or behind a time, in seconds by FFmpeg's stamps.
    pub(super) fn others_reach(&self, at_s: Ratio) -> bool {
        // Here they are left out. Not every such file has an index to jump by.
        let Ok(mut demuxer) = open::open_demuxer(&self.path) else {
            return false;
        };
        let mut packets = demuxer.packets();
        packets.any(|(stream, packet)| {
            let length = packet.duration().max(0);
            let end = stamp_of(&packet).map(|stamp| stamp.saturating_add(length));
            let (of, per) = (
                stream.time_base().numerator(),
                stream.time_base().denominator(),
            );
            let tick_s = Ratio::checked_new(of.into(), per.into());
            let reaches = |(end, tick_s): (i64, Ratio)| Ratio::from_integer(end) * tick_s >= at_s;
            stream.index() != self.stream && end.zip(tick_s).is_some_and(reaches)
        })
    }

    /// True if all packets from the head up to here were read.
    pub(super) fn is_from_head(&self) -> bool {
        self.reach.is_from_head()
    }

    /// True if what was read at a stamp lies behind packets that were not.
    pub(super) fn is_apart(&self, stamp: i64) -> bool {
        self.reach.is_apart(stamp)
    }

    fn forget(&mut self) {
        self.ahead.clear();
        self.decoder.flush();
        self.is_draining = false;
        self.failures = 0;
        self.silent = 0;
        self.trusted_from = None;
        self.last_given = None;
        self.between.clear();
        self.is_primed = false;
        self.decoder.skip_frame(Discard::Default);
    }

    fn forget_run(&mut self) {
        self.run = Run::default();
        self.held.clear();
    }

    fn seek_file(&mut self, aim: i64) -> bool {
        self.forget_run();
        self.reach.has_jumped();
        let stream = i32::try_from(self.stream).expect("FFmpeg counts streams in 32 bits");
        // SAFETY: the demuxer is open; any stamp and a valid stream are allowed.
        let result = unsafe {
            ffi::av_seek_frame(
                self.demuxer.as_mut_ptr(),
                stream,
                aim,
                ffi::AVSEEK_FLAG_BACKWARD,
            )
        };
        result >= 0
    }

    fn next_packet(&mut self) -> Option<Packet> {
        match self.ahead.pop_front() {
            Some(packet) => Some(packet),
            None => self.read_packet(),
        }
    }

    /// Ticks from a packet's stamp to its end.
    fn length_of(&self, packet: &Packet) -> i64 {
        match packet.duration() {
            told if told > 0 => told,
            _ => self.step,
        }
    }

    /// The next packet of the picture stream.
    fn read_packet(&mut self) -> Option<Packet> {
        let Some(packet) = self.next_in_file() else {
            self.reach.has_ended();
            return None;
        };
        self.head.get_or_insert(Mark::of(&packet));
        if let Some(dts) = packet.dts() {
            let before = self.run.last_dts.replace(dts).unwrap_or(dts);
            let gap = dts.saturating_sub(before);
            self.tally.widest_gap = self.tally.widest_gap.max(gap);
            self.run.top_dts = self.run.top_dts.max(Some(dts.min(before)));
        }
        if let Some(stamp) = stamp_of(&packet) {
            let at = Some(packet.position()).filter(|at| *at >= 0);
            self.reach
                .has_read(at, packet.dts().unwrap_or(stamp), stamp);
            if !is_hidden(&packet) {
                let end = stamp.saturating_add(self.length_of(&packet));
                self.run.end = self.run.end.max(Some(end));
                self.tally.furthest = self.tally.furthest.max(Some(end));
            }
        }
        Some(packet)
    }

    /// The next packet of the picture stream, as it is in the file.
    fn next_stored(&mut self) -> Option<Packet> {
        let mut failures = 0;
        loop {
            let mut packet = Packet::empty();
            match packet.read(&mut self.demuxer) {
                Ok(()) if packet.stream() != self.stream => {}
                // The end of the file cuts this packet off: its lower part would
                // be made up. Transport streams mark packets for lesser losses.
                Ok(()) if packet.is_corrupt() && !self.is_transport_stream() => {
                    self.cut = Some(stamp_of(&packet).unwrap_or(0));
                }
                Ok(()) => {
                    let lossy = stamp_of(&packet).filter(|_| packet.is_corrupt());
                    for stamp in self.cut.take().into_iter().chain(lossy) {
                        self.note_damage(stamp);
                    }
                    self.run.has_any = true;
                    self.describe(&mut packet);
                    return Some(packet);
                }
                Err(ffmpeg::Error::Eof) => {
                    // A jump behind the last packet has not seen the end.
                    self.tally.reached_end |= self.run.has_any;
                    return None;
                }
                Err(e) => {
                    failures += 1;
                    if failures >= MOST_FAILURES {
                        self.tally.stopped = Some(e);
                        self.tally.reached_end = true;
                        return None;
                    }
                }
            }
        }
    }

    fn is_transport_stream(&self) -> bool {
        self.demuxer.format().name() == "mpegts"
    }

    fn send(&mut self, packet: &Packet) {
        self.silent += 1;
        self.sent = stamp_of(packet).unwrap_or(self.sent);
        if self.decoder.send_packet(packet).is_err() {
            self.fail();
        } else if self.silent > MOST_SILENT {
            self.is_draining = true;
            let _ = self.decoder.send_eof();
        }
    }

    fn receive(&mut self) -> Option<frame::Video> {
        loop {
            let mut frame = frame::Video::empty();
            match self.decoder.receive_frame(&mut frame) {
                // Hidden by the edit list; older releases drop these themselves.
                // SAFETY: the frame was just filled.
                Ok(()) if unsafe { (*frame.as_ptr()).flags } & ffi::AV_FRAME_FLAG_DISCARD != 0 => {}
                Ok(()) => {
                    self.failures = 0;
                    self.silent = 0;
                    let stamp = frame.pts().or(frame.timestamp());
                    if frame.is_corrupt() || frame.has_decode_errors() {
                        self.note_damage(stamp.unwrap_or(self.sent));
                    }
                    if self
                        .trusted_from
                        .is_some_and(|from| stamp.is_some_and(|s| s < from))
                    {
                        continue;
                    }
                    return Some(frame);
                }
                Err(
                    ffmpeg::Error::Eof
                    | ffmpeg::Error::Other {
                        errno: ffmpeg::error::EAGAIN,
                    },
                ) => {
                    return None;
                }
                Err(_) => {
                    self.fail();
                    if self.is_draining && self.failures >= MOST_FAILURES {
                        return None;
                    }
                }
            }
        }
    }

    /// A packet did not decode. Too many in a row end the reading.
    fn fail(&mut self) {
        self.note_damage(self.sent);
        self.failures += 1;
        if self.failures >= MOST_FAILURES && !self.is_draining {
            self.is_draining = true;
            let _ = self.decoder.send_eof();
        }
    }

    fn note_damage(&mut self, stamp: i64) {
        self.damaged.insert(stamp);
        self.tally.damaged = self.damaged.len();
    }
}

#[cfg(test)]
#[path = "source_tests.rs"]
mod tests;
