//! The start that a copy is to carry.

use crate::error::{Error, ErrorKind, Result};
use crate::timecode::{ClockForm, Rate};

/// The start that a copy is to carry: a legal label, in the clip's own base.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CopyTimecode {
    form: ClockForm,
    count: i64,
}

impl CopyTimecode {
    /// `count` frames since midnight at `rate`, from 0 up to the day's last.
    ///
    /// # Errors
    /// [`ErrorKind::BadRequest`] for drop-frame at a rate that has none, a count
    /// outside the day, or a rate above 255: files have one byte for the base.
    pub fn new(rate: Rate, drop_frame: bool, count: i64) -> Result<Self> {
        let bad = |what: String| Error::new(ErrorKind::BadRequest, what);
        let form = ClockForm::frames(rate, drop_frame).map_err(|e| bad(e.to_string()))?;
        if form.base() > u8::MAX.into() {
            return Err(bad(format!(
                "a timecode track holds at most 255 frames a second, not {}",
                rate.decimal()
            )));
        }
        if !(0..form.counts_per_day()).contains(&count) {
            return Err(bad(format!("frame {count} is not within one day")));
        }
        Ok(Self { form, count })
    }

    /// From a label such as `01:00:00;00`.
    ///
    /// # Errors
    /// As [`Self::new`]; also for a label that does not exist, such as
    /// `00:01:00;00` in drop-frame.
    pub fn from_label(rate: Rate, drop_frame: bool, label: &str) -> Result<Self> {
        let bad =
            |e: crate::timecode::TimecodeError| Error::new(ErrorKind::BadRequest, e.to_string());
        let form = ClockForm::frames(rate, drop_frame).map_err(bad)?;
        let count = form
            .parse(label)
            .and_then(|label| form.count(&label))
            .map_err(bad)?;
        Self::new(rate, drop_frame, count)
    }

    pub const fn form(&self) -> ClockForm {
        self.form
    }

    /// Frames since midnight.
    pub const fn count(&self) -> i64 {
        self.count
    }

    pub fn label(&self) -> String {
        self.form.text(self.count)
    }

    pub(super) fn base(&self) -> u8 {
        u8::try_from(self.form.base()).expect("checked when it was made")
    }

    /// What the sample of a timecode track holds.
    pub(super) fn sample(&self) -> u32 {
        u32::try_from(self.count).expect("a day of 255 frames a second has 25 bits")
    }
}
