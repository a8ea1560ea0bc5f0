//! Events that deep code sends up, so that only the command line prints.

/// Something happened that a progress bar may show.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// A clip was opened; its length in seconds if the container tells.
    Opened { duration_s: Option<f64> },
    /// Looking for a display; position in the clip in seconds.
    Searching { at_s: f64 },
    /// A display was found and is being read; position in the clip in seconds.
    Reading { at_s: f64 },
    /// A clip is being copied and the copy compared; bytes read so far, of both.
    Copying { done_bytes: u64, total_bytes: u64 },
}

/// What the listener wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wish {
    GoOn,
    Stop,
}

/// Receives events. Implemented for closures.
pub trait Listener {
    fn hear(&mut self, event: Event) -> Wish;
}

impl<F: FnMut(Event) -> Wish> Listener for F {
    fn hear(&mut self, event: Event) -> Wish {
        self(event)
    }
}

/// Hears nothing, never stops anything.
pub struct Deaf;

impl Listener for Deaf {
    fn hear(&mut self, _: Event) -> Wish {
        Wish::GoOn
    }
}
