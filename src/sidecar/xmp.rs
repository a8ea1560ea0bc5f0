//! A clip's start as an XMP sidecar, `NAME.xmp` (ISO 16684-1, with the dynamic media
//! properties of the XMP specification part 2). `docs/interchange.md` names the
//! properties.

use super::placed::Admit;
use crate::clip_base;
use crate::note::Note;
use crate::outcome::{ByHand, ClipLabel, ClipOutcome, Verdict};
use crate::timecode::{Rate, Ratio};
use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

/// What an XMP sidecar's file name adds to the name of its clip without its ending.
pub const SUFFIX: &str = ".xmp";

/// Who made the packet, where the standard has a place for it.
const TOOLKIT: &str = "Rollmark";

/// The packet, or `None` if the clip has no start in a timecode base of its own or its
/// verdict is not admitted.
pub fn to_bytes(outcome: &ClipOutcome, admit: Admit) -> Option<Vec<u8>> {
    if !admit.lets_in(outcome) {
        return None;
    }
    let base = outcome.start.as_ref()?.in_clip_base.as_ref()?;
    let rate = clip_base::exact_rate(&base.rate)?;
    let mut packet = Packet(Writer::new_with_indent(Vec::new(), b' ', 1));
    packet.write(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)));
    packet.open(
        "x:xmpmeta",
        &[("xmlns:x", "adobe:ns:meta/"), ("x:xmptk", TOOLKIT)],
    );
    packet.open(
        "rdf:RDF",
        &[("xmlns:rdf", "http://www.w3.org/1999/02/22-rdf-syntax-ns#")],
    );
    packet.open(
        "rdf:Description",
        &[
            ("rdf:about", ""),
            ("xmlns:xmpDM", "http://ns.adobe.com/xmp/1.0/DynamicMedia/"),
        ],
    );
    packet.start_timecode(base, rate);
    let ratio = rate.ratio();
    packet.text("xmpDM:startTimeScale", &ratio.num().to_string());
    packet.text("xmpDM:startTimeSampleSize", &ratio.den().to_string());
    packet.text("xmpDM:videoFrameRate", &six_decimals(ratio));
    packet.duration(outcome, rate);
    packet.text("xmpDM:logComment", &remark(outcome));
    for name in ["rdf:Description", "rdf:RDF", "x:xmpmeta"] {
        packet.close(name);
    }
    let mut bytes = packet.0.into_inner();
    bytes.push(b'\n');
    Some(bytes)
}

/// Remarks that say how far the label can be taken at its word.
const ON_THE_LABEL: [&str; 4] = ["drop_frame_open", "rate_assumed", "base_apart", "conformed"];

/// What the standard calls labels of this rate; `None` where it has no name.
fn time_format(rate: Rate, drop_frame: bool) -> Option<&'static str> {
    Some(match (rate, drop_frame) {
        (Rate::F23_976, _) => "23976Timecode",
        (Rate::F24, _) => "24Timecode",
        (Rate::F25, _) => "25Timecode",
        (Rate::F29_97, true) => "2997DropTimecode",
        (Rate::F29_97, false) => "2997NonDropTimecode",
        (Rate::F30, _) => "30Timecode",
        (Rate::F50, _) => "50Timecode",
        (Rate::F59_94, true) => "5994DropTimecode",
        (Rate::F59_94, false) => "5994NonDropTimecode",
        (Rate::F60, _) => "60Timecode",
        _ => return None,
    })
}

/// An XML document in the making; writing to memory cannot fail.
struct Packet(Writer<Vec<u8>>);

impl Packet {
    fn write(&mut self, event: Event<'_>) {
        self.0.write_event(event).expect("memory takes everything");
    }

    fn open(&mut self, name: &str, attributes: &[(&str, &str)]) {
        let start = BytesStart::new(name).with_attributes(attributes.iter().copied());
        self.write(Event::Start(start));
    }

    fn close(&mut self, name: &str) {
        self.write(Event::End(BytesEnd::new(name)));
    }

    fn text(&mut self, name: &str, value: &str) {
        self.open(name, &[]);
        self.write(Event::Text(BytesText::new(&legal(value))));
        self.close(name);
    }

    /// A structure, with its fields as elements.
    fn fields(&mut self, name: &str, fields: &[(&str, &str)]) {
        self.open(name, &[("rdf:parseType", "Resource")]);
        for (field, value) in fields {
            self.text(field, value);
        }
        self.close(name);
    }

    fn start_timecode(&mut self, base: &ClipLabel, rate: Rate) {
        // Drop-frame has semicolons throughout here, unlike the labels of SMPTE ST 12-1.
        let value = match base.drop_frame {
            true => base.label.replace(':', ";"),
            false => base.label.clone(),
        };
        let mut fields = Vec::new();
        if let Some(format) = time_format(rate, base.drop_frame) {
            fields.push(("xmpDM:timeFormat", format));
        }
        fields.push(("xmpDM:timeValue", value.as_str()));
        self.fields("xmpDM:startTimecode", &fields);
    }

    /// In frames where they are counted, else as exact as the container tells it.
    fn duration(&mut self, outcome: &ClipOutcome, rate: Rate) {
        let clip = &outcome.clip;
        let frames = clip.frames.filter(|_| !clip.variable_rate);
        let exact = clip.exact_duration_seconds.as_ref();
        let (scale, value) = match (frames, exact.and_then(|text| text.parse::<Ratio>().ok())) {
            (Some(frames), _) => (rate.ratio().recip(), i128::from(frames)),
            (None, Some(seconds)) => (Ratio::new(1, seconds.den()), seconds.num()),
            (None, None) => return,
        };
        let (scale, value) = (scale.to_string(), value.to_string());
        let fields = [
            ("xmpDM:scale", scale.as_str()),
            ("xmpDM:value", value.as_str()),
        ];
        self.fields("xmpDM:duration", &fields);
    }
}

/// What a person should know who finds this start in a bin.
fn remark(outcome: &ClipOutcome) -> String {
    let mut parts = Vec::new();
    if let (Some(start), Some(clock)) = (&outcome.start, &outcome.clock) {
        let showed = match clip_base::lag_text(clip_base::lag_s(start)) {
            None => "which showed".to_owned(),
            Some(lag) => format!("{lag} after what was displayed:"),
        };
        parts.push(format!(
            "start from the filmed clock, {showed} {} at {}",
            start.label,
            clip_base::counts_a_second(&clock.rate),
        ));
        if let Some(from) = &start.inherited_from {
            parts.push(format!("inherited from {from}"));
        }
    }
    if let Some((what, remark)) = outcome.by_hand.as_ref().and_then(ByHand::set) {
        parts.push(match remark.trim() {
            "" => format!("{what} set by hand"),
            remark => format!("{what} set by hand: {remark}"),
        });
    }
    let on_the_label = |note: &&Note| ON_THE_LABEL.contains(&note.code.as_str());
    let notes = outcome.notes.iter().filter(on_the_label);
    parts.extend(notes.map(|note| note.sentence.clone()));
    if outcome.verdict == Verdict::Unsure {
        let reasons: Vec<&str> = outcome
            .reasons
            .iter()
            .map(|r| r.sentence.as_str())
            .collect();
        parts.push(format!("UNSURE: {}", reasons.join("; ")));
    }
    parts.join("; ")
}

fn six_decimals(ratio: Ratio) -> String {
    let micros = (ratio * Ratio::from_integer(1_000_000)).round();
    format!("{}.{:06}", micros / 1_000_000, micros % 1_000_000)
}

/// Without the characters that XML 1.0 (section 2.2) cannot hold even when escaped.
fn legal(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\t' | '\n' | '\r' => c,
            _ if c < ' ' || matches!(c, '\u{FFFE}' | '\u{FFFF}') => '\u{FFFD}',
            _ => c,
        })
        .collect()
}
