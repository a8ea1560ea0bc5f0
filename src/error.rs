//! The one error type: what went wrong, in which file, what to do next.
//!
//! An error means *could not look*. What was seen is a verdict, and "yes, but"
//! is a note; see [`crate::outcome`] and [`crate::note`].

use std::fmt;
use std::path::{Path, PathBuf};

/// What sort of thing went wrong. Codes are stable; those of clips that failed are written to their
/// sidecars.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ErrorKind {
    /// The path does not exist or cannot be read.
    CannotOpen,
    /// The path is a folder where a file was expected.
    IsFolder,
    /// The file has no bytes.
    Empty,
    /// The file is not a video container that FFmpeg knows.
    NotVideo,
    /// The container lacks its index (a recording that was cut off before it was closed).
    NoIndex,
    /// The container has no picture stream.
    NoPicture,
    /// No decoder for the picture stream.
    NoDecoder,
    /// Frames could not be decoded.
    Undecodable,
    /// The file could not be written.
    CannotWrite,
    /// The output exists and is not ours to replace.
    WouldReplace,
    /// A sidecar that does not parse, or of a format newer than this program.
    NotSidecar,
    /// Arguments or settings contradict each other or are out of range.
    BadRequest,
    /// The built-in model does not load: a broken build.
    Model,
}

impl ErrorKind {
    /// The stable code.
    pub const fn code(self) -> &'static str {
        match self {
            Self::CannotOpen => "cannot_open",
            Self::IsFolder => "is_folder",
            Self::Empty => "empty_file",
            Self::NotVideo => "not_video",
            Self::NoIndex => "no_index",
            Self::NoPicture => "no_picture",
            Self::NoDecoder => "no_decoder",
            Self::Undecodable => "undecodable",
            Self::CannotWrite => "cannot_write",
            Self::WouldReplace => "would_replace",
            Self::NotSidecar => "not_sidecar",
            Self::BadRequest => "bad_request",
            Self::Model => "model",
        }
    }
}

/// What went wrong, where, and what to do next.
#[derive(Debug)]
pub struct Error {
    kind: ErrorKind,
    /// One sentence without a final stop, lower case.
    what: String,
    /// The file it is about, if it is about one.
    file: Option<PathBuf>,
    /// What the user can do, one sentence without a final stop.
    next: Option<String>,
    source: Option<Box<dyn std::error::Error + Send + Sync>>,
}

/// Result of anything that may fail to look.
pub type Result<T, E = Error> = std::result::Result<T, E>;

impl Error {
    pub fn new(kind: ErrorKind, what: impl Into<String>) -> Self {
        Self {
            kind,
            what: what.into(),
            file: None,
            next: None,
            source: None,
        }
    }

    /// Names the file, unless a deeper layer already did.
    pub fn in_file(mut self, file: impl AsRef<Path>) -> Self {
        self.file.get_or_insert_with(|| file.as_ref().to_path_buf());
        self
    }

    /// Names another file than the one at hand: that which somebody asked for.
    pub(crate) fn of_file(mut self, file: &Path) -> Self {
        self.file = Some(file.to_path_buf());
        self
    }

    /// Says what to do next.
    pub fn next(mut self, next: impl Into<String>) -> Self {
        self.next = Some(next.into());
        self
    }

    /// Keeps the cause.
    pub fn because(mut self, source: impl Into<Box<dyn std::error::Error + Send + Sync>>) -> Self {
        self.source = Some(source.into());
        self
    }

    pub const fn kind(&self) -> ErrorKind {
        self.kind
    }

    /// What went wrong, without file and advice.
    pub fn what(&self) -> &str {
        &self.what
    }

    pub fn file(&self) -> Option<&Path> {
        self.file.as_deref()
    }

    /// What to do next, if there is something.
    pub fn advice(&self) -> Option<&str> {
        self.next.as_deref()
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(file) = &self.file {
            write!(f, "{}: ", file.display())?;
        }
        f.write_str(&self.what)?;
        if let Some(source) = &self.source {
            write!(f, " ({})", in_words(source))?;
        }
        if let Some(next) = &self.next {
            write!(f, "; {next}")?;
        }
        Ok(())
    }
}

/// What a cause says, without the number that the system's errors carry.
pub(crate) fn in_words(cause: &impl fmt::Display) -> String {
    let said = cause.to_string();
    match said.rsplit_once(" (os error ") {
        Some((words, number)) if number.ends_with(')') => words.to_owned(),
        _ => said,
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        self.source
            .as_deref()
            .map(|s| s as &(dyn std::error::Error + 'static))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cause_is_told_in_words() {
        let full = std::io::Error::from_raw_os_error(28);
        assert!(full.to_string().contains("28"), "{full}");
        let error = Error::new(ErrorKind::CannotWrite, "cannot write this file")
            .in_file("out/a.mov")
            .because(full)
            .next("make room there");
        assert_eq!(
            error.to_string(),
            "out/a.mov: cannot write this file (No space left on device); make room there"
        );
        assert_eq!(in_words(&"three (of them)"), "three (of them)");
    }
}
