//! The tables of `docs/rate-changes.md`, which the program itself writes.

use crate::{is_regenerating, root};
use rollmark::timecode::{Change, ClockForm, Rate, Ratio, in_clip_base};
use std::fmt::Write as _;
use std::fs;

const BEGIN: &str = "<!-- written by the tests from here -->\n";
const END: &str = "<!-- to here -->";

fn clocks() -> Vec<(String, ClockForm)> {
    let mut clocks: Vec<(String, ClockForm)> = Vec::new();
    for rate in Rate::TRADE {
        let form = |drop_frame| ClockForm::frames(rate, drop_frame).unwrap();
        if rate.has_drop_frame() {
            clocks.push((format!("{} NDF", rate.decimal()), form(false)));
            clocks.push((format!("{} DF", rate.decimal()), form(true)));
        } else {
            clocks.push((rate.decimal(), form(false)));
        }
    }
    for (name, form) in [
        ("seconds", ClockForm::Seconds),
        ("tenths", ClockForm::Tenths),
        ("hundredths", ClockForm::Hundredths),
        ("thousandths", ClockForm::Thousandths),
    ] {
        clocks.push((name.into(), form));
    }
    clocks
}

/// Each clock shows ten o'clock, at the very beginning of that count.
fn tables() -> String {
    let mut text = String::new();
    let groups = [&Rate::TRADE[..5], &Rate::TRADE[5..10], &Rate::TRADE[10..]];
    for rates in groups {
        text.push_str("\n| clock | shows |");
        for rate in rates {
            write!(text, " {} clip |", rate.decimal()).unwrap();
        }
        text.push_str("\n|---|---|");
        text.push_str(&"---|".repeat(rates.len()));
        text.push('\n');
        for (name, clock) in clocks() {
            let whole = clock.format(&rollmark::timecode::Label::new(10, 0, 0, 0));
            let count = clock.count(&clock.parse(&whole).unwrap()).unwrap();
            write!(text, "| {name} | {whole} |").unwrap();
            for rate in rates {
                let start = in_clip_base(clock, Ratio::from_integer(count), *rate).unwrap();
                let mark = match start.change {
                    Change::SameCount => " =",
                    Change::SameSpeed => "",
                    Change::DropFrame => " ~",
                    Change::Apart { .. } => " *",
                };
                write!(text, " {}{mark} |", start.label).unwrap();
            }
            text.push('\n');
        }
    }
    text.push('\n');
    text
}

#[test]
fn the_page_on_rate_changes_shows_what_the_program_does() {
    let file = root().join("docs/rate-changes.md");
    let page = fs::read_to_string(&file).unwrap();
    let (head, rest) = page.split_once(BEGIN).expect("where the tables begin");
    let (kept, tail) = rest.split_once(END).expect("where they end");
    let now = tables();
    if is_regenerating() {
        fs::write(&file, format!("{head}{BEGIN}{now}{END}{tail}")).unwrap();
        return;
    }
    for (old, new) in kept.lines().zip(now.lines()) {
        assert_eq!(old, new, "ROLLMARK_REGENERATE=1 writes the tables anew");
    }
    assert_eq!(kept, now);
}

/// Some cells worked out by hand, so that the page cannot be wrong together with the program.
#[test]
fn some_labels_of_the_page_by_hand() {
    let page = fs::read_to_string(root().join("docs/rate-changes.md")).unwrap();
    let row = |clock: &str, clips: &str| {
        let table = page.split(clips).nth(1).unwrap();
        let line = table
            .lines()
            .find(|line| line.starts_with(&format!("| {clock} |")))
            .unwrap();
        line.split('|')
            .map(|cell| cell.trim().to_owned())
            .collect::<Vec<_>>()
    };
    // 36 000 s of 24000/1001 are 863 136.86 frames: 36 s of labels short of ten hours.
    assert_eq!(row("25", "| 23.976 clip |")[3], "09:59:24:00 *");
    // 36 036 s: ten hours of labels at 29.97 take 0.1 % longer.
    assert_eq!(row("29.97 NDF", "| 23.976 clip |")[5], "10:00:36:00 *");
    // 1 078 920 counts of 1001/30000 s are 35 999.964 s.
    assert_eq!(row("29.97 DF", "| 23.976 clip |")[5], "09:59:59:24 ~");
    assert_eq!(row("29.97 DF", "| 23.976 clip |")[6], "10:00:00;00 =");
    assert_eq!(row("29.97 DF", "| 47.952 clip |")[6], "10:00:00;00");
    // 36 000 s of 30000/1001 are 1 078 921.08 frames, one more than ten hours of drop-frame.
    assert_eq!(row("thousandths", "| 23.976 clip |")[6], "10:00:00;01 ~");
}
