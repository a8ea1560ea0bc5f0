//! The way to end a run early.

use std::sync::atomic::{AtomicU8, Ordering};

/// How urgently a run shall end. Only ever rises.
#[derive(Debug, Default)]
pub struct Stop(AtomicU8);

const FINISH: u8 = 1;
const NOW: u8 = 2;

impl Stop {
    pub const fn new() -> Self {
        Self(AtomicU8::new(0))
    }

    /// Begin no further clip; finish those that are being read.
    pub fn finish(&self) {
        self.0.fetch_max(FINISH, Ordering::Relaxed);
    }

    /// Give up the clips that are being read, too. What is finished stays.
    pub fn now(&self) {
        self.0.fetch_max(NOW, Ordering::Relaxed);
    }

    pub fn is_asked(&self) -> bool {
        self.0.load(Ordering::Relaxed) >= FINISH
    }

    pub fn is_now(&self) -> bool {
        self.0.load(Ordering::Relaxed) >= NOW
    }
}
