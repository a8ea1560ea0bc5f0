//! Runs the program and looks into what it says.

use rollmark::timecode::{ClockForm, Rate};
use serde_json::Value;
use std::path::Path;
use std::process::Command;

/// What the program said about one clip.
pub struct Said {
    pub json: Value,
    /// Exit status of the run.
    pub status: i32,
    pub stderr: String,
}

/// Counts, or clip frames, that bounds may be wide. Camera and clock run in step: one count can't be
/// narrowed. Two near rates, both possible over a short look, add to it; a fine clock is placed to
/// the clip's frame.
const WIDEST: f64 = 1.25;

/// `rollmark read --json` on one clip.
pub fn read(clip: &Path) -> Said {
    read_with(&[], clip)
}

/// As [`read`], with options.
pub fn read_with(options: &[&str], clip: &Path) -> Said {
    let mut said = read_all_with(options, &[clip]);
    assert_eq!(said.len(), 1, "one clip, one object");
    said.remove(0)
}

/// `rollmark read --json` on several clips in one run; one object each, in order.
pub fn read_all(clips: &[&Path]) -> Vec<Said> {
    read_all_with(&[], clips)
}

fn read_all_with(options: &[&str], clips: &[&Path]) -> Vec<Said> {
    let output = Command::new(env!("CARGO_BIN_EXE_rollmark"))
        .args(["read", "--json"])
        .args(options)
        .args(clips)
        .output()
        .expect("the program starts");
    let stderr = String::from_utf8_lossy(&output.stderr).into_owned();
    let objects: Vec<Value> = serde_json::Deserializer::from_slice(&output.stdout)
        .into_iter()
        .collect::<Result<_, _>>()
        .unwrap_or_else(|error| {
            let text = String::from_utf8_lossy(&output.stdout);
            panic!("stdout is not JSON ({error}):\n{text}\nstderr:\n{stderr}")
        });
    assert_eq!(objects.len(), clips.len(), "one object per clip\n{stderr}");
    let status = output.status.code().expect("the program was not killed");
    for (json, clip) in objects.iter().zip(clips) {
        assert_eq!(json["clip"]["path"], clip.to_string_lossy().as_ref());
    }
    objects
        .into_iter()
        .map(|json| Said {
            json,
            status,
            stderr: stderr.clone(),
        })
        .collect()
}

impl Said {
    pub fn verdict(&self) -> &str {
        self.json["verdict"].as_str().unwrap_or("no verdict")
    }

    /// The start label, if one was given.
    pub fn label(&self) -> Option<&str> {
        self.json["start"]["label"].as_str()
    }

    /// Codes of the reasons and of the notes.
    pub fn codes(&self) -> Vec<&str> {
        ["reasons", "notes"]
            .iter()
            .filter_map(|list| self.json[list].as_array())
            .flatten()
            .filter_map(|note| note["code"].as_str())
            .collect()
    }

    /// Everything, for a failure that explains itself.
    pub fn all(&self) -> String {
        format!("{:#}\nstderr: {}", self.json, self.stderr)
    }

    /// The start is `label` and may be used unseen.
    #[track_caller]
    pub fn must_be_sure_of(&self, label: &str) {
        self.must_start_at(label);
        assert_eq!(self.verdict(), "sure", "{}", self.all());
        assert_eq!(self.status, 0, "{}", self.all());
    }

    /// Two clocks were seen, nobody can tell which is the crew's, and both are named.
    #[track_caller]
    pub fn must_leave_open(&self, labels: [&str; 2]) {
        assert_eq!(self.verdict(), "unsure", "{}", self.all());
        for label in labels {
            assert!(self.all().contains(label), "{label}: {}", self.all());
        }
    }

    /// The start is `label`, with whatever confidence.
    #[track_caller]
    pub fn must_start_at(&self, label: &str) {
        self.must_start_within(label, WIDEST);
    }

    /// The same, with bounds of so many counts or clip frames.
    #[track_caller]
    pub fn must_start_within(&self, label: &str, widest: f64) {
        assert_eq!(self.label(), Some(label), "{}", self.all());
        self.must_hold_within(label, widest);
    }

    /// The start may be some counts beside `label`, with whatever confidence, but its bounds hold it.
    #[track_caller]
    pub fn must_hold(&self, label: &str) {
        self.must_hold_within(label, WIDEST);
    }

    #[track_caller]
    fn must_hold_within(&self, label: &str, widest: f64) {
        assert!(
            ["sure", "unsure"].contains(&self.verdict()),
            "{}",
            self.all()
        );
        self.bounds_must_hold(label, widest);
    }

    /// A start may be missing or marked as doubtful, or lack the last digits of `label`, but not
    /// be wrong and sure.
    #[track_caller]
    pub fn must_not_be_sure_of_other_than(&self, label: &str) {
        if self.verdict() == "sure" {
            let told = self.label().expect("who is sure tells a start");
            let is_part = told.len() >= "HH:MM:SS".len() && label.starts_with(told);
            assert!(is_part, "{}", self.all());
            self.must_start_at(told);
        }
    }

    /// There is nothing that runs like a clock.
    #[track_caller]
    pub fn must_be_none(&self) {
        assert_eq!(self.verdict(), "none", "{}", self.all());
        assert!(self.json["start"].is_null(), "{}", self.all());
        assert!(!self.json["reasons"].as_array().unwrap().is_empty());
    }

    /// The clip could not be looked at, and the reason has this code.
    #[track_caller]
    pub fn must_fail_with(&self, code: &str) {
        assert_eq!(self.verdict(), "failed", "{}", self.all());
        assert_eq!(self.json["reasons"][0]["code"], code, "{}", self.all());
        assert!(self.json["start"].is_null(), "{}", self.all());
        assert_eq!(self.status, 1, "{}", self.all());
    }

    /// The clock was found to run at this rate, an integer ratio as text.
    #[track_caller]
    pub fn must_run_at(&self, rate: &str) {
        let said = self.json["clock"]["rate"].as_str().unwrap();
        if self.json["clock"]["rate_known_by"] == "assumed" {
            // A thousandth of a difference does not show in a few seconds.
            let base = |rate: &str| rate.parse::<Rate>().unwrap().base();
            assert_eq!(base(said), base(rate), "{}", self.all());
        } else {
            assert_eq!(said, rate, "{}", self.all());
        }
    }

    /// The bounds hold the count of the label on frame 0, are no wider than so many counts or
    /// clip frames, and agree with the seconds beside them.
    #[track_caller]
    fn bounds_must_hold(&self, label: &str, widest: f64) {
        let clock = &self.json["clock"];
        let rate: Rate = clock["rate"].as_str().unwrap().parse().unwrap();
        let form = match clock["form"].as_str().unwrap() {
            "HH:MM:SS" => ClockForm::Seconds,
            "HH:MM:SS.d" => ClockForm::Tenths,
            "HH:MM:SS.dd" => ClockForm::Hundredths,
            "HH:MM:SS.ddd" => ClockForm::Thousandths,
            _ => ClockForm::frames(rate, clock["drop_frame"] == true).unwrap(),
        };
        let count = form.count(&form.parse(label).unwrap()).unwrap() as f64;
        let pair = |field: &str| {
            let bounds = self.json["start"][field].as_array().unwrap();
            (bounds[0].as_f64().unwrap(), bounds[1].as_f64().unwrap())
        };
        // Printed floats: a millionth of a count is slack enough.
        let slack = 1e-6;
        let (low, high) = pair("count_bounds");
        assert!(
            low <= count + slack && count < high + slack,
            "count {count} outside of [{low}, {high})\n{}",
            self.all()
        );
        let per_second = rate.ratio().to_f64();
        let frame: Rate = self.json["clip"]["rate"].as_str().unwrap().parse().unwrap();
        let widest = widest * (per_second / frame.ratio().to_f64()).max(1.0);
        assert!(
            high - low <= widest,
            "bounds {low} to {high} are wide\n{}",
            self.all()
        );
        let (low_s, high_s) = pair("seconds_bounds");
        assert!(
            (low_s - low / per_second).abs() < slack && (high_s - high / per_second).abs() < slack,
            "{}",
            self.all()
        );
    }
}
