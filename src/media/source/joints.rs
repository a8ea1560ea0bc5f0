//! Recordings that were put end to end, byte behind byte: the stamps of each start again. They
//! are moved so that they go on rising, as if nothing lay between.

use super::keys::Hops;
use super::{Source, stamp_of};
use ffmpeg_next::Packet;

/// Decoding stamps that fall are those of another recording once so many packets in a row lie below
/// what was there before: one or a few may be damaged, and where FFmpeg rebuilds them from those of
/// presentation they may be late by 16, as no codec reorders over more pictures.
const RESTART_PACKETS: usize = 16;

/// Moves both stamps of a packet.
fn shift(packet: &mut Packet, ticks: i64) {
    if ticks != 0 {
        packet.set_pts(packet.pts().map(|pts| pts.saturating_add(ticks)));
        packet.set_dts(packet.dts().map(|dts| dts.saturating_add(ticks)));
    }
}

impl Source {
    /// The next packet of the picture stream, with a stamp that goes on from those before it in any
    /// recording.
    pub(super) fn next_in_file(&mut self) -> Option<Packet> {
        if let Some(packet) = self.held.pop_front() {
            return Some(packet);
        }
        let packet = self.next_shifted()?;
        let top = self.run.top_dts;
        let is_below = |packet: &Packet| packet.dts().zip(top).is_some_and(|(dts, top)| dts < top);
        let mut has_fallen = is_below(&packet);
        self.held.push_back(packet);
        while has_fallen && self.held.len() < RESTART_PACKETS {
            let Some(next) = self.next_shifted() else {
                break;
            };
            has_fallen = is_below(&next);
            self.held.push_back(next);
        }
        if has_fallen && self.held.len() == RESTART_PACKETS {
            self.restart();
        }
        self.held.pop_front()
    }

    fn next_shifted(&mut self) -> Option<Packet> {
        let mut packet = self.next_stored()?;
        shift(&mut packet, self.run.shift);
        Some(packet)
    }

    /// The packets that are held begin a recording.
    fn restart(&mut self) {
        let first = self.held.iter().filter_map(stamp_of).min();
        let (Some(end), Some(first)) = (self.run.end, first) else {
            return;
        };
        let ticks = end.saturating_sub(first);
        for packet in &mut self.held {
            shift(packet, ticks);
        }
        self.run.shift = self.run.shift.saturating_add(ticks);
        self.tally.restart.get_or_insert(end);
        self.hops = Hops::Never;
    }

    /// True if stamps start again: they may lead a jump anywhere.
    pub(super) fn leads_astray(&self) -> bool {
        let has_table = self.hops == Hops::ByIndex;
        self.tally.restart.is_some() || (self.reach.is_astray() && !has_table)
    }

    /// As [`Self::jump`], by reading from the head without decoding.
    pub(super) fn walk(&mut self, aim: i64) -> bool {
        let mut read = 0;
        let mut key = None;
        if self.rewind().is_err() {
            return false;
        }
        while let Some(packet) = self.next_packet() {
            if packet.dts().is_some_and(|dts| dts > aim) {
                break;
            }
            if packet.is_key() && stamp_of(&packet).is_some_and(|stamp| stamp <= aim) {
                key = Some(read);
            }
            read += 1;
        }
        let Some(key) = key else {
            return false;
        };
        if self.rewind().is_err() {
            return false;
        }
        for _ in 0..key {
            self.next_packet();
        }
        let Some(packet) = self.next_packet() else {
            return false;
        };
        self.trusted_from = stamp_of(&packet);
        self.ahead.push_front(packet);
        true
    }
}
