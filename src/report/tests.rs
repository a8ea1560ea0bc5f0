//! The page as bytes: what stands on it, in which order, how large it may grow. How it looks is
//! tested in a browser, in `tests/report.rs`.

use super::*;
use crate::note::Note;
use crate::outcome::{
    ByHand, CARD_FORMAT_VERSION, CLIP_FORMAT_VERSION, Camera, CardClip, ClipOutcome, ClipPart,
    Clock, Corrected, Crop, DropFrameKnownBy, NOT_READ, Point, RateKnownBy, Start, Tool, Verdict,
};

fn page_of(card: &CardOutcome, evidence: &[Evidence]) -> String {
    let mut page = Vec::new();
    let of_clip = |clip: usize| evidence.get(clip).cloned().unwrap_or_default();
    write(card, &of_clip, &mut page).expect("memory takes everything");
    String::from_utf8(page).expect("the page is UTF-8")
}

fn tool() -> Tool {
    Tool {
        name: "rollmark".into(),
        version: "0.1.0".into(),
        model: "0123456789abcdef".into(),
    }
}

fn card(clips: Vec<CardClip>) -> CardOutcome {
    CardOutcome {
        format: CARD_FORMAT_VERSION,
        folders: vec!["/media/CARD_07/".into()],
        clips,
        cameras: vec![Camera {
            name: "Camera A".into(),
            clock_offset_seconds: None,
            clock_drift_ppm: None,
            notes: Vec::new(),
        }],
        skipped: Vec::new(),
        gone: Vec::new(),
        notes: Vec::new(),
        tool: tool(),
    }
}

/// A clip whose clock of 25 shows `seconds` at frame 0.
pub fn clip(name: &str, verdict: Verdict, seconds: Option<f64>) -> CardClip {
    let start = seconds.map(|seconds| Start {
        label: format!("{}:00", words::time_of_day(seconds)),
        count: seconds * 25.0 + 0.5,
        count_bounds: [seconds * 25.0, seconds * 25.0 + 1.0],
        seconds,
        seconds_bounds: [seconds, seconds + 0.04],
        exact_count_bounds: None,
        in_clip_base: None,
        inherited_from: None,
        exact_lag_seconds: None,
    });
    CardClip {
        name: name.into(),
        sidecar: format!("{name}.rollmark.json"),
        camera: 0,
        outcome: ClipOutcome {
            format: CLIP_FORMAT_VERSION,
            verdict,
            reasons: vec![Note::new(
                "agreed",
                "40 of 40 read frames agree on one running clock",
            )],
            clock: start.is_some().then(|| Clock {
                form: "HH:MM:SS:FF".into(),
                rate: "25/1".into(),
                rate_known_by: RateKnownBy::Measured,
                drop_frame: Some(false),
                drop_frame_known_by: DropFrameKnownBy::Rate,
                refresh_hz: None,
                drift_ppm_bounds: None,
            }),
            start,
            clip: ClipPart {
                frames: Some(750),
                rate: Some("25/1".into()),
                duration_seconds: Some(30.0),
                ..ClipPart::unknown(name)
            },
            windows: Vec::new(),
            estimate: None,
            chapter: None,
            by_hand: None,
            notes: Vec::new(),
            tool: tool(),
        },
    }
}

/// Where each text stands on the page; each must.
fn order_of<const N: usize>(page: &str, texts: [&str; N]) -> [usize; N] {
    texts.map(|text| {
        page.find(text)
            .unwrap_or_else(|| panic!("{text} is missing"))
    })
}

#[test]
fn attention_comes_first_then_the_clock() {
    let page = page_of(
        &card(vec![
            clip("ready_late.mov", Verdict::Sure, Some(40_000.0)),
            clip("nothing.mov", Verdict::None, None),
            clip("ready_early.mov", Verdict::Sure, Some(36_000.0)),
            clip("doubt_late.mov", Verdict::Unsure, Some(39_000.0)),
            clip("doubt_early.mov", Verdict::Unsure, Some(38_000.0)),
            clip("broken.mov", Verdict::Failed, None),
            clip("doubt_without_start.mov", Verdict::Unsure, None),
        ]),
        &[],
    );
    let places = order_of(
        &page,
        [
            "<h3 id=\"clip-5-name\">",
            "<h3 id=\"clip-4-name\">",
            "<h3 id=\"clip-7-name\">",
            "<h3 id=\"clip-2-name\">",
            "<h3 id=\"clip-6-name\">",
            "<h3 id=\"clip-3-name\">",
            "<h3 id=\"clip-1-name\">",
        ],
    );
    assert!(places.is_sorted(), "{places:?}");
}

/// A run that was stopped leaves clips of which nobody should think that they are broken.
#[test]
fn a_clip_that_the_run_did_not_come_to_is_not_called_broken() {
    let mut left_out = clip("left_out.mov", Verdict::Failed, None);
    left_out.outcome.reasons = vec![Note::new(NOT_READ, "the run was stopped before")];
    let page = page_of(&card(vec![left_out]), &[]);
    assert!(page.contains("Not read yet") && !page.contains("Could not be read"));
    let page = page_of(&card(vec![clip("broken.mov", Verdict::Failed, None)]), &[]);
    assert!(page.contains("Could not be read"));
}

#[test]
fn a_night_is_told_from_evening_to_morning() {
    let page = page_of(
        &card(vec![
            clip("morning.mov", Verdict::Sure, Some(2.0 * 3600.0)),
            clip("evening.mov", Verdict::Sure, Some(22.0 * 3600.0)),
            clip("midnight.mov", Verdict::Sure, Some(86_390.0)),
        ]),
        &[],
    );
    let places = order_of(&page, ["clip-2-name", "clip-3-name", "clip-1-name"]);
    assert!(places.is_sorted(), "{places:?}");
}

#[test]
fn a_page_that_is_written_clip_by_clip_asks_for_one_at_a_time() {
    let asked = std::cell::RefCell::new(Vec::new());
    let clips = ["a.mov", "<!--clip-->.mov", "c.mov"]
        .map(|name| clip(name, Verdict::Sure, Some(1.0)))
        .to_vec();
    let mut page = Vec::new();
    let evidence = |clip: usize| {
        asked.borrow_mut().push(clip);
        Evidence::default()
    };
    write(&card(clips), &evidence, &mut page).unwrap();
    assert_eq!(asked.into_inner(), [0, 1, 2, 0, 1, 2]);
    let page = String::from_utf8(page).unwrap();
    assert_eq!(page.matches("<article").count(), 3);
    assert!(!page.contains(CLIP_PLACE), "a place was left open");
    assert!(page.contains("&lt;!--clip--&gt;.mov"));
    assert!(page.ends_with("</html>"));
}

#[test]
fn clips_that_are_gone_are_named_apart_from_those_of_the_card() {
    let mut card = card(vec![clip("a.mov", Verdict::Sure, Some(1.0))]);
    assert!(!page_of(&card, &[]).contains("No longer on the card"));
    card.gone = vec![crate::outcome::Gone {
        name: "b.mov".into(),
        sidecar: "b.mov.rollmark.json".into(),
    }];
    let page = page_of(&card, &[]);
    assert_eq!(page.matches("<article").count(), 1);
    assert!(page.contains("No longer on the card"));
    assert!(page.contains("href=\"./b.mov.rollmark.json\""));
}

#[test]
fn a_start_is_never_called_ready_by_mistake() {
    // Sure of nothing cannot be; should it ever, an eye sees it.
    let page = page_of(&card(vec![clip("a.mov", Verdict::Sure, None)]), &[]);
    assert!(page.contains("<section class=\"pile eye\""));
    assert!(!page.contains("<section class=\"pile ready\""));
}

#[test]
fn the_same_card_makes_the_same_bytes() {
    let card = card(
        (0..50)
            .map(|i| clip("a.mov", Verdict::Sure, Some(f64::from(i))))
            .collect(),
    );
    assert_eq!(page_of(&card, &[]), page_of(&card, &[]));
}

#[test]
fn names_stay_names() {
    // Both parts of the name: a closing tag's slash would part them elsewhere.
    let name = "<script>alert(1)/<img src=x onerror=\"alert(1)\">&amp;'.mov";
    let page = page_of(&card(vec![clip(name, Verdict::Sure, Some(1.0))]), &[]);
    assert!(!page.contains("<img src=x"));
    assert_eq!(page.matches("<script").count(), 1, "only the page's own");
    assert!(page.contains("&lt;script&gt;alert(1)/"));
    assert!(page.contains("&lt;img src=x onerror=&quot;alert(1)&quot;&gt;&amp;amp;'.mov</bdi>"));
    assert!(page.contains(
        "href=\"./%3Cscript%3Ealert%281%29/%3Cimg%20src%3Dx%20onerror%3D%22alert%281%29%22%3E%26amp%3B%27.mov.rollmark.json\""
    ));
}

#[test]
fn the_page_needs_nothing_from_elsewhere() {
    let page = page_of(&card(vec![clip("a.mov", Verdict::Sure, Some(1.0))]), &[]);
    for outside in ["http:", "https:", "//", "@import", "url("] {
        let text = page.replace("// ", "");
        assert!(!text.contains(outside), "{outside}");
    }
}

#[test]
fn the_policy_names_the_script() {
    use base64::Engine as _;
    use sha2::Digest as _;
    let hash = base64::engine::general_purpose::STANDARD.encode(sha2::Sha256::digest(SCRIPT));
    assert!(
        POLICY.contains(&format!("'sha256-{hash}'")),
        "page.js changed; its hash is now {hash}"
    );
    assert!(!SCRIPT.contains("</"), "would end the script early");
}

#[test]
fn five_hundred_clips_with_large_pictures_stay_below_six_megabytes() {
    let clips: Vec<_> = (0..500)
        .map(|i| {
            clip(
                &format!("A001C{i:03}.MOV"),
                Verdict::Unsure,
                Some(f64::from(i) * 90.0),
            )
        })
        .collect();
    let picture = Crop {
        seconds: 1.0,
        digits: "10000000".into(),
        label: Some("10:00:00:00".into()),
        png: format!("iVBORw0KGg{}", "A".repeat(40_000)),
    };
    let evidence: Vec<_> = (0..500)
        .map(|i| Evidence {
            crops: vec![picture.clone(); 6],
            points: (0..400)
                .map(|n| Point {
                    seconds: f64::from(n) * 0.0373,
                    read_count: Some(i64::from(i * 90 * 25 + n)),
                    displayed_count: i64::from(i * 90 * 25 + n),
                })
                .collect(),
        })
        .collect();
    let size = page_of(&card(clips), &evidence).len();
    assert!(size < 6_000_000, "{size} bytes");
    assert!(
        size > 3_000_000,
        "{size} bytes: pictures and drawings are missing"
    );
}

#[test]
fn a_start_that_a_lag_moved_says_so() {
    let mut late = clip("a.mov", Verdict::Sure, Some(36_000.0));
    assert!(!page_of(&card(vec![late.clone()]), &[]).contains("after what the display showed"));
    let start = late.outcome.start.as_mut().unwrap();
    // A refresh of a panel of 60 Hz, which no decimal tells.
    start.exact_lag_seconds = Some("1/60".into());
    let page = page_of(&card(vec![late]), &[]);
    assert!(page.contains("16.667 ms after what the display showed"));
}

#[test]
fn a_list_of_any_length_takes_little_room() {
    let mut card = card(vec![clip("a.mov", Verdict::Sure, Some(1.0))]);
    let skipped = |nth: usize| Skipped {
        name: format!("stills/IMG_{nth:05}.JPG"),
        reason: Note::new("picture", "it is a still picture"),
    };
    card.skipped = (0..500).map(skipped).collect();
    assert!(!page_of(&card, &[]).contains("names them all"));
    card.skipped = (0..20_000).map(skipped).collect();
    let gone = |nth: usize| Gone {
        name: format!("B001C{nth:05}.MOV"),
        sidecar: format!("B001C{nth:05}.MOV.rollmark.json"),
    };
    card.gone = (0..20_000).map(gone).collect();
    let page = page_of(&card, &[]);
    assert!(page.len() < 250_000, "{} bytes", page.len());
    // All are counted, and where they are named is said.
    assert_eq!(
        page.matches("<span class=\"count\">20000</span>").count(),
        2
    );
    let told = "And 19500 more; <a href=\"./card.json\"><bdi>card.json</bdi></a> names them all.";
    assert_eq!(page.matches(told).count(), 2);
}

#[test]
fn what_a_person_said_stands_once_in_a_row() {
    let rejected = |reason: &str| {
        let mut clip = clip("a.mov", Verdict::None, None);
        clip.outcome.reasons = vec![Note::new("rejected_by_hand", reason)];
        clip.outcome.by_hand = Some(ByHand {
            what: Corrected::Rejected,
            says_start: false,
            remark: "the clock on the wall".into(),
            read_verdict: Verdict::Sure,
            read_start: None,
            read_clock: None,
            read_speed: None,
        });
        page_of(&card(vec![clip]), &[])
    };
    for reason in [
        "the start was rejected by hand: the clock on the wall",
        "the card knows better",
    ] {
        let page = rejected(reason);
        assert_eq!(page.matches("the clock on the wall").count(), 1, "{reason}");
    }
}

#[test]
fn an_estimate_is_never_set_as_a_start() {
    let mut lost = clip("a.mov", Verdict::None, None);
    lost.outcome.estimate = Some(crate::outcome::Estimate {
        seconds: 36_000.0,
        seconds_bounds: [35_990.0, 36_010.0],
        sentence: "by the camera's own clock".into(),
        rests_on: vec!["b.mov".into()],
    });
    let page = page_of(&card(vec![lost]), &[]);
    assert!(page.contains("<p class=\"start guess\"><span class=\"label\">≈ 10:00:00</span>"));
    assert!(page.contains("09:59:50 to 10:00:10"));
    assert!(!page.contains("10:00:00:00"));
}
