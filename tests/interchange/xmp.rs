//! XMP packets, read by exiftool and by an XML parser.

use crate::cards::{frames, outcome, unsure, without_start};
use crate::readers::{check, exiftool};
use rollmark::note::Note;
use rollmark::outcome::{ByHand, ClipOutcome, Corrected, Verdict};
use rollmark::sidecar::{Admit, xmp};
use rollmark::timecode::Rate;
use serde_json::{Value, json};

#[test]
fn exiftool_reads_start_rate_and_duration() {
    let clock = frames(Rate::F29_97, true);
    let clip = outcome(clock, "00:00:59;28", Rate::F29_97, 10);
    let tags = exiftool(&xmp::to_bytes(&clip, Admit::default()).unwrap());
    assert_eq!(tags["Warning"], Value::Null, "{tags}");
    assert_eq!(tags["Error"], Value::Null, "{tags}");
    assert_eq!(
        tags["StartTimecode"],
        json!({"TimeFormat": "2997DropTimecode", "TimeValue": "00;00;59;28"})
    );
    assert_eq!(tags["StartTimeScale"], 30000);
    assert_eq!(tags["StartTimeSampleSize"], 1001);
    // 30000/1001 to six decimals.
    assert_eq!(
        tags["VideoFrameRate"].to_string().trim_matches('"'),
        "29.97003"
    );
    // exiftool divides the scale out when it can: 10 frames of 1001/30000 s.
    let duration = &tags["Duration"];
    assert_eq!(duration["Value"], 10, "{duration}");
    let scale: f64 = duration["Scale"]
        .to_string()
        .trim_matches('"')
        .parse()
        .unwrap();
    assert!((scale - 1001.0 / 30000.0).abs() < 1e-9);
}

/// The closed list of the XMP specification (dynamic media, data type Timecode); other
/// rates have no name, and none is made up.
#[test]
fn only_rates_of_the_closed_list_are_named() {
    let named = |rate: Rate, drop_frame: bool| {
        let clip = outcome(frames(rate, drop_frame), "10:00:00:00", rate, 10);
        let tags = exiftool(&xmp::to_bytes(&clip, Admit::default()).unwrap());
        let start = &tags["StartTimecode"];
        assert!(start["TimeValue"].is_string(), "{rate}");
        start["TimeFormat"].as_str().map(str::to_owned)
    };
    for (rate, drop_frame, name) in [
        (Rate::F23_976, false, "23976Timecode"),
        (Rate::F24, false, "24Timecode"),
        (Rate::F25, false, "25Timecode"),
        (Rate::F29_97, true, "2997DropTimecode"),
        (Rate::F29_97, false, "2997NonDropTimecode"),
        (Rate::F30, false, "30Timecode"),
        (Rate::F50, false, "50Timecode"),
        (Rate::F59_94, true, "5994DropTimecode"),
        (Rate::F59_94, false, "5994NonDropTimecode"),
        (Rate::F60, false, "60Timecode"),
    ] {
        assert_eq!(named(rate, drop_frame).as_deref(), Some(name), "{rate}");
    }
    for rate in [
        Rate::F47_952,
        Rate::F48,
        Rate::F100,
        Rate::F119_88,
        Rate::F120,
    ] {
        assert_eq!(named(rate, false), None, "{rate}");
    }
}

#[test]
fn any_remark_gives_a_well_formed_packet() {
    let mut clip = unsure(outcome(
        frames(Rate::F25, false),
        "10:00:00:00",
        Rate::F25,
        10,
    ));
    let remark = "<b>&\"'\u{0}\u{1b}]]> \u{fffe} \u{1f3ac}";
    clip.by_hand = Some(ByHand {
        what: Corrected::Set,
        says_start: true,
        remark: remark.into(),
        read_verdict: Verdict::None,
        read_start: None,
        read_clock: None,
        read_speed: None,
    });
    let open = "nothing seen tells whether the clock counts drop-frame";
    clip.notes.push(Note::new("drop_frame_open", open));
    assert_eq!(
        xmp::to_bytes(&clip, Admit::default()),
        None,
        "unsure and not admitted"
    );
    let packet = xmp::to_bytes(&clip, Admit { unsure: true }).unwrap();
    let elements = check("xml", &packet, &[]);
    let comment = elements
        .as_array()
        .unwrap()
        .iter()
        .find(|pair| pair[0].as_str().unwrap().ends_with("logComment"))
        .unwrap();
    let text = comment[1].as_str().unwrap();
    assert!(
        text.contains("<b>&\"'\u{fffd}\u{fffd}]]> \u{fffd} \u{1f3ac}"),
        "{text}"
    );
    assert!(
        text.contains("UNSURE: only 4 frames show the clock"),
        "{text}"
    );
    assert!(text.contains(open), "{text}");
}

/// With a lag the start is no label that the display showed.
#[test]
fn a_start_that_a_lag_moved_is_not_said_to_have_been_shown() {
    let clock = frames(Rate::F25, false);
    let mut clip = outcome(clock, "10:00:00:12", Rate::F25, 10);
    let comment = |clip: &ClipOutcome| {
        String::from_utf8(xmp::to_bytes(clip, Admit::default()).unwrap()).unwrap()
    };
    let shown = "which showed 10:00:00:12 at 25 counts a second";
    assert!(comment(&clip).contains(shown));
    clip.start.as_mut().unwrap().exact_lag_seconds = Some("12/25".into());
    let moved = "480 ms after what was displayed: 10:00:00:12 at 25 counts a second";
    let packet = comment(&clip);
    assert!(
        packet.contains(moved) && !packet.contains("which showed"),
        "{packet}"
    );
}

#[test]
fn no_start_gives_no_packet() {
    let nothing = without_start(Verdict::None, "no_display", "no digits were seen");
    assert_eq!(xmp::to_bytes(&nothing, Admit { unsure: true }), None);
    let odd = Rate::new(25, 2).unwrap();
    let no_base = outcome(frames(Rate::F25, false), "10:00:00:00", odd, 10);
    assert_eq!(xmp::to_bytes(&no_base, Admit::default()), None);
    assert_eq!(no_base.notes[0].code, "base_none");
}
