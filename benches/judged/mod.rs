//! What the benches that film and read clips share: the rates, and who is right.

use rollmark::clip::{ReadOptions, read_clip};
use rollmark::outcome::{ClipOutcome, RateKnownBy, Start, Verdict};
use rollmark::progress::Deaf;
use rollmark::rehearse::Shoot;
use rollmark::timecode::{ClockForm, Rate};
use rollmark::vision::Eye;
use std::path::Path;
use std::time::Instant;

pub const CAMERAS: [Rate; 7] = [
    Rate::F23_976,
    Rate::F24,
    Rate::F25,
    Rate::F29_97,
    Rate::F30,
    Rate::F50,
    Rate::F59_94,
];

/// The camera of the clip of a number: each in turn, and shifted by one from turn to turn, so that
/// every share of the clips has most of them.
pub fn camera_of(number: usize) -> Rate {
    CAMERAS[(number + number / CAMERAS.len()) % CAMERAS.len()]
}

pub fn clocks() -> Vec<ClockForm> {
    let mut forms = Vec::new();
    for rate in Rate::TRADE {
        for drop_frame in [false, true] {
            forms.extend(ClockForm::frames(rate, drop_frame));
        }
    }
    forms.extend([
        ClockForm::Seconds,
        ClockForm::Tenths,
        ClockForm::Hundredths,
        ClockForm::Thousandths,
    ]);
    forms
}

/// A clip that was filmed and read.
pub struct Judged {
    pub outcome: ClipOutcome,
    pub took_s: f64,
    /// How far the start is off, and how far it may be; without a start or a clock, `None`.
    pub off_s: Option<f64>,
    pub allowed_s: f64,
    /// The start is within one frame of the truth.
    pub is_near: bool,
    /// The bounds with one refresh and half a frame cover the truth.
    pub is_covered: bool,
}

impl Judged {
    pub fn is_sure(&self) -> bool {
        self.outcome.verdict == Verdict::Sure
    }

    /// Start, offset, time and reasons, for one line.
    pub fn line(&self) -> String {
        let reasons: Vec<_> = self
            .outcome
            .reasons
            .iter()
            .map(|r| r.code.as_str())
            .collect();
        format!(
            "{:?} {}, off {} ms of {:.1} allowed, {:.2} s; {}",
            self.outcome.verdict,
            self.outcome.start.as_ref().map_or("-", |s| &s.label),
            self.off_s
                .map_or("-".to_owned(), |off| format!("{:.1}", off * 1e3)),
            self.allowed_s * 1e3,
            self.took_s,
            reasons.join(" "),
        )
    }
}

/// Reads a clip that `shoot` filmed with the whole product.
pub fn read_and_judge(eye: &Eye, shoot: &Shoot, path: &Path) -> Judged {
    let began = Instant::now();
    let outcome = read_clip(eye, path, &ReadOptions::default(), &mut Deaf).outcome;
    let took_s = began.elapsed().as_secs_f64();
    let (Some(truth), Some(staged)) = (shoot.phi(), &shoot.staged) else {
        return Judged {
            outcome,
            took_s,
            off_s: None,
            allowed_s: 0.0,
            is_near: false,
            is_covered: false,
        };
    };
    let form = staged.clock.form;
    let refresh_s = staged.display.refresh_s().to_f64();
    let frame_s = 1.0 / shoot.camera.rate.ratio().to_f64();
    let count_s = 1.0 / form.rate().ratio().to_f64();
    // A clock of whole seconds is placed by its changes, not by its counts.
    let unit_s = if form == ClockForm::Seconds {
        frame_s
    } else {
        frame_s.max(count_s)
    };
    let allowed_s = unit_s + refresh_s;
    let off_s = outcome
        .start
        .as_ref()
        .map(|s| (count_by_label(form, s, &outcome) - truth.to_f64()) * count_s);
    let is_covered = outcome.start.as_ref().zip(off_s).is_some_and(|(s, off_s)| {
        let half_s = (s.count_bounds[1] - s.count_bounds[0]) / 2.0 * count_s;
        off_s.abs() <= half_s + refresh_s + frame_s / 2.0
    });
    Judged {
        took_s,
        off_s,
        allowed_s,
        is_near: off_s.is_some_and(|off| off.abs() <= allowed_s),
        is_covered,
        outcome,
    }
}

/// Phi as read, in counts of the clock that was filmed. Where the readings do not tell whether the clock drops labels, or at which
/// of two near rates it runs (the outcome says so), the label is right either way and the
/// count is not, so the label counts, by the rule of the clock that was filmed. So it does
/// where the frames of a clock were not read and it was taken for one of whole seconds.
fn count_by_label(form: ClockForm, start: &Start, outcome: &ClipOutcome) -> f64 {
    let is_open = outcome
        .clock
        .as_ref()
        .is_some_and(|c| c.drop_frame.is_none() || c.rate_known_by == RateKnownBy::Assumed);
    let count = |label: &str| form.parse(label).and_then(|l| form.count(&l));
    let label = start.label.replace(';', ":");
    let part = start.count.rem_euclid(1.0);
    let in_frames = label.matches(':').count() == 2;
    let width = usize::from(form.last_digits());
    match (count(&label), count(&format!("{label}:{:0width$}", 0))) {
        (Ok(count), _) if is_open => count as f64 + part,
        (_, Ok(second)) if in_frames => second as f64 + part * f64::from(form.base()),
        // In real seconds, since a clock may be taken for one of another form that shows the
        // same time.
        _ => start.seconds * form.rate().ratio().to_f64(),
    }
}
