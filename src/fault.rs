//! A fault of this program in the middle of a clip: caught, so that the other clips are
//! read, and kept for the clip's reason in place of being printed across the progress bars.

use crate::error::{Error, ErrorKind};
use crate::note::Note;
use crate::outcome::{ClipOutcome, Tool};
use std::any::Any;
use std::cell::RefCell;
use std::panic::{self, AssertUnwindSafe};
use std::path::Path;

/// Code of a clip whose reading hit a fault of this program.
pub const FAULT: &str = "program_fault";

thread_local! {
    /// Whether this thread is within [`catch`], and what was said since.
    static CAUGHT: RefCell<Option<String>> = const { RefCell::new(None) };
}

/// From now on, what panics within [`catch`] is printed nowhere. For the program alone: the
/// hook is the process's.
pub fn keep_off_the_screen() {
    let before = panic::take_hook();
    panic::set_hook(Box::new(move |panic| {
        let is_caught = CAUGHT.with_borrow_mut(|caught| {
            let Some(said) = caught else { return false };
            *said = text_of(panic.payload());
            if let Some(place) = panic.location() {
                said.push_str(&format!(", at {}:{}", place.file(), place.line()));
            }
            true
        });
        if !is_caught {
            before(panic);
        }
    }));
}

/// What `job` gives.
///
/// # Errors
/// What it said when it panicked; with the place in the source, if
/// [`keep_off_the_screen`] was called before.
pub fn catch<T>(job: impl FnOnce() -> T) -> Result<T, String> {
    CAUGHT.set(Some(String::new()));
    let result = panic::catch_unwind(AssertUnwindSafe(job));
    let said = CAUGHT.take().unwrap_or_default();
    result.map_err(|payload| match said.is_empty() {
        false => said,
        true => text_of(payload.as_ref()),
    })
}

fn text_of(payload: &(dyn Any + Send)) -> String {
    let text = payload.downcast_ref::<String>().map(String::as_str);
    text.or_else(|| payload.downcast_ref::<&str>().copied())
        .unwrap_or("no message")
        .to_owned()
}

/// The outcome of a clip at which the program itself failed.
pub fn outcome(path: &Path, said: &str, tool: Tool) -> ClipOutcome {
    let error = Error::new(
        ErrorKind::Undecodable,
        "reading it hit a fault of this program",
    );
    let mut outcome = ClipOutcome::failed(path, &error, tool);
    outcome.reasons = vec![Note::new(
        FAULT,
        format!("reading it hit a fault of this program ({said}); please report it with the clip"),
    )];
    outcome
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_said_is_kept_with_its_place_and_the_next_job_begins_anew() {
        keep_off_the_screen();
        let said = catch(|| panic!("a digit of {}", 11)).unwrap_err();
        assert!(
            said.starts_with("a digit of 11, at src/fault.rs:"),
            "{said}"
        );
        assert_eq!(catch(|| 7), Ok(7));
        let said = catch(|| std::panic::panic_any(7)).unwrap_err();
        assert!(said.starts_with("no message"), "{said}");
    }
}
