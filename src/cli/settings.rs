//! What was meant: arguments checked against each other, in the terms of the
//! library.

use super::args::{CardArgs, ClockArgs, HandingArgs, LookArg, ProductArg, ReadArgs, YesNo};
use rollmark::clip::{Look, ReadOptions};
use rollmark::delivery::Product;
use rollmark::error::{Error, ErrorKind, Result};
use rollmark::fit::Known;
use rollmark::sidecar::Admit;
use rollmark::timecode::{ClockForm, Ratio};
use std::collections::BTreeSet;
use std::io::IsTerminal;
use std::num::NonZeroUsize;
use std::path::PathBuf;

/// Longest lag of a display that is believed, in milliseconds. Common practice,
/// no source: monitors and phones stay below 200; more is a slip of the unit.
const LONGEST_LAG_MS: i32 = 2000;

/// Memory that reading one clip may take, in bytes: 330 MB were measured at 4K, 10 bit, and 8K has
/// four times the pixels (430 MiB in H.264, docs/unbreakable.md).
const CLIP_BYTES: u64 = 1 << 30;

/// Parts of a millisecond in which a lag is told. Nobody measures a display more finely, and what is
/// reckoned from longer terms could get out of hand.
const LAG_PARTS_OF_MS: i32 = 1000;

/// Clips play at most this many times slower or faster than life.
const WIDEST_SPEED: i32 = 1000;

/// The largest denominator of a rate or a speed: rates of the trade have 1001, a speed by any two of
/// them less than ten thousand, and a decimal of six places this.
const LARGEST_DENOMINATOR: i128 = 1_000_000;

/// How `read` shows its results.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Show {
    Table {
        in_colour: bool,
    },
    /// One indented object.
    Json,
    /// One object a line.
    JsonLines,
}

/// Everything that `read` needs to know.
#[derive(Debug)]
pub struct ReadSettings {
    pub clips: Vec<PathBuf>,
    pub show: Show,
    /// Folder for sidecars.
    pub out: Option<PathBuf>,
    /// Folder for stage pictures.
    pub pictures: Option<PathBuf>,
    pub options: ReadOptions,
    pub handing: Handing,
}

/// How `card` shows what happens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CardShow {
    Table {
        in_colour: bool,
    },
    /// One object a line for each event.
    Json,
}

/// Everything that `card` needs to know.
#[derive(Debug)]
pub struct CardSettings {
    pub folders: Vec<PathBuf>,
    pub show: CardShow,
    pub out: PathBuf,
    /// Clips read at once.
    pub workers: NonZeroUsize,
    pub options: ReadOptions,
    pub handing: Handing,
}

/// What is written beside the sidecars.
#[derive(Debug)]
pub struct Handing {
    pub products: BTreeSet<Product>,
    pub admit: Admit,
    /// File of corrections.
    pub corrections: Option<PathBuf>,
}

impl ReadSettings {
    /// # Errors
    /// [`ErrorKind::BadRequest`] if a value is out of range or two contradict.
    pub fn resolve(args: ReadArgs) -> Result<Self> {
        if args.out.is_none() && !args.handing.write.is_empty() {
            return Err(
                Error::new(ErrorKind::BadRequest, "--write has no folder to write into")
                    .next("add --out DIR"),
            );
        }
        let clips = each_once(args.clips);
        let show = match (args.json, clips.len()) {
            (false, _) => Show::Table {
                in_colour: is_in_colour(),
            },
            (true, 1) => Show::Json,
            (true, _) => Show::JsonLines,
        };
        Ok(Self {
            show,
            options: ReadOptions {
                pictures: args.pictures.is_some(),
                ..read_options(args.clock)?
            },
            clips,
            out: args.out,
            pictures: args.pictures,
            handing: handing(args.handing),
        })
    }
}

impl CardSettings {
    /// # Errors
    /// [`ErrorKind::BadRequest`] if a value is out of range or two contradict.
    pub fn resolve(args: CardArgs) -> Result<Self> {
        Ok(Self {
            folders: args.folders,
            show: if args.json {
                CardShow::Json
            } else {
                CardShow::Table {
                    in_colour: is_in_colour(),
                }
            },
            out: args.out,
            workers: args.jobs.unwrap_or_else(workers),
            options: ReadOptions {
                evidence: true,
                ..read_options(args.clock)?
            },
            handing: handing(args.handing),
        })
    }
}

/// Clips as they are named first, each once: patterns that overlap name some again.
fn each_once(mut clips: Vec<PathBuf>) -> Vec<PathBuf> {
    let mut seen = BTreeSet::new();
    clips.retain(|clip| match clip.canonicalize() {
        Ok(path) => seen.insert(path),
        // What is not there is complained of as often as it is named.
        Err(_) => true,
    });
    clips
}

fn read_options(args: ClockArgs) -> Result<ReadOptions> {
    let known = Known {
        rate: args.clock_rate,
        drop_frame: args.drop_frame.map(|answer| answer == YesNo::Yes),
        lag_s: args.lag.map(lag_s).transpose()?,
        speed: args.speed.map(speed).transpose()?,
    };
    if let Some(rate) = known.rate
        && (ClockForm::frames(rate, false).is_err() || rate.ratio().den() > LARGEST_DENOMINATOR)
    {
        return Err(Error::new(
            ErrorKind::BadRequest,
            format!("no clock counts {} frames a second", rate.decimal()),
        )
        .next("name the rate that the clock counts, as 25 or 29.97, or leave the option out"));
    }
    if let (Some(rate), Some(true)) = (known.rate, known.drop_frame)
        && !rate.has_drop_frame()
    {
        return Err(Error::new(
            ErrorKind::BadRequest,
            format!("a clock at {} has no drop-frame", rate.decimal()),
        )
        .next("drop-frame exists at 29.97, 59.94 and 119.88; leave one of the options out"));
    }
    Ok(ReadOptions {
        known,
        look: match args.look {
            LookArg::Head => Look::Head,
            LookArg::Tail => Look::Tail,
            LookArg::Ends => Look::Ends,
            LookArg::All => Look::Everywhere,
        },
        ..ReadOptions::default()
    })
}

const fn product_of(arg: ProductArg) -> Product {
    match arg {
        ProductArg::Xmp => Product::Xmp,
        ProductArg::Otio => Product::Otio,
        ProductArg::Edl => Product::Edl,
        ProductArg::Csv => Product::Csv,
        ProductArg::Copy => Product::Copy,
        ProductArg::Preview => Product::Preview,
    }
}

fn handing(args: HandingArgs) -> Handing {
    Handing {
        products: args.write.into_iter().map(product_of).collect(),
        admit: Admit {
            unsure: args.with_unsure,
        },
        corrections: args.corrections,
    }
}

/// As many clips at once as there are cores, unless memory is short.
fn workers() -> NonZeroUsize {
    let cores = std::thread::available_parallelism().unwrap_or(NonZeroUsize::MIN);
    let mut system = sysinfo::System::new();
    system.refresh_memory();
    let room = system.available_memory() / CLIP_BYTES;
    let room = usize::try_from(room).ok().and_then(NonZeroUsize::new);
    cores.min(room.unwrap_or(NonZeroUsize::MIN))
}

/// Whether a table on standard output is in colour.
fn is_in_colour() -> bool {
    std::io::stdout().is_terminal() && !is_colour_unwanted()
}

/// The convention of the `NO_COLOR` variable: set and not empty means no colour.
fn is_colour_unwanted() -> bool {
    let is_set = |name| std::env::var_os(name).filter(|value| !value.is_empty());
    is_set("NO_COLOR").is_some() || is_set("TERM").is_some_and(|term| term == "dumb")
}

fn lag_s(lag_ms: Ratio) -> Result<Ratio> {
    if lag_ms < Ratio::ZERO || lag_ms > Ratio::from_integer(LONGEST_LAG_MS) {
        return Err(Error::new(
            ErrorKind::BadRequest,
            format!("a lag of {} ms is not believed", lag_ms.to_f64()),
        )
        .next(format!(
            "give it in milliseconds, from 0 to {LONGEST_LAG_MS}"
        )));
    }
    if lag_ms.den() > i128::from(LAG_PARTS_OF_MS) {
        return Err(Error::new(
            ErrorKind::BadRequest,
            format!("a lag of {lag_ms} ms has too many digits"),
        )
        .next("give it in milliseconds, with at most three digits behind the point"));
    }
    Ok(lag_ms / Ratio::from_integer(1000))
}

fn speed(speed: Ratio) -> Result<Ratio> {
    let widest = Ratio::from_integer(WIDEST_SPEED);
    if speed < widest.recip() || speed > widest {
        return Err(Error::new(
            ErrorKind::BadRequest,
            format!("a speed of {} is not believed", speed.to_f64()),
        )
        .next("give playing speed against real life, for example 0.25 or 30/120"));
    }
    if speed.den() > LARGEST_DENOMINATOR {
        return Err(Error::new(
            ErrorKind::BadRequest,
            format!("a speed of {speed} has too many digits"),
        )
        .next(
            "give the rates at which the clip plays and was shot, for example 30/120, or at most six \
             digits behind the point",
        ));
    }
    Ok(speed)
}

#[cfg(test)]
mod tests {
    use super::super::args::{Args, Command};
    use super::*;
    use clap::{Parser, ValueEnum};
    use rollmark::timecode::Rate;

    /// Files of a kind that is in no list would pass for copies.
    #[test]
    fn all_that_can_be_asked_for_is_listed_and_called_so() {
        for arg in ProductArg::value_variants() {
            let product = product_of(*arg);
            assert!(Product::ALL.contains(&product), "{product:?}");
            let word = arg.to_possible_value().unwrap();
            assert_eq!(product.name(), word.get_name());
        }
    }

    fn resolve(words: &[&str]) -> Result<ReadSettings> {
        let words = ["rollmark", "read"].iter().chain(words);
        match Args::try_parse_from(words).unwrap().command {
            Some(Command::Read(args)) => ReadSettings::resolve(args),
            other => panic!("{other:?}"),
        }
    }

    fn refusal(words: &[&str]) -> String {
        let error = resolve(words).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::BadRequest);
        error.to_string()
    }

    #[test]
    fn nothing_is_taken_as_known_unless_it_is_said() {
        let settings = resolve(&["a.mov"]).unwrap();
        assert_eq!(settings.options.known.rate, None);
        assert_eq!(settings.options.known.drop_frame, None);
        assert_eq!(settings.options.known.lag_s, None);
        assert_eq!(settings.options.known.speed, None);
        assert_eq!(settings.options.look, Look::Everywhere);
        assert!(!settings.options.pictures);
    }

    #[test]
    fn a_lag_in_milliseconds_becomes_exact_seconds() {
        let settings = resolve(&["--lag", "16.7", "a.mov"]).unwrap();
        assert_eq!(settings.options.known.lag_s, Some(Ratio::new(167, 10_000)));
    }

    #[test]
    fn a_speed_may_be_a_decimal_or_a_fraction() {
        for text in ["0.25", "1/4", "30/120"] {
            let settings = resolve(&["--speed", text, "a.mov"]).unwrap();
            assert_eq!(settings.options.known.speed, Some(Ratio::new(1, 4)));
        }
    }

    #[test]
    fn a_clip_that_is_named_twice_is_read_once() {
        let place = tempfile::tempdir().unwrap();
        std::fs::create_dir(place.path().join("A")).unwrap();
        let paths = ["a.mov", "b.mov", "A/../a.mov", "a.mov"].map(|name| place.path().join(name));
        paths[..2]
            .iter()
            .for_each(|clip| std::fs::write(clip, "").unwrap());
        let words = paths.each_ref().map(|clip| clip.to_str().unwrap());
        let settings = resolve(&words).unwrap();
        assert_eq!(settings.clips, paths[..2]);
        // What is missing is told as often as it is asked for.
        assert_eq!(resolve(&["no.mov", "no.mov"]).unwrap().clips.len(), 2);
    }

    #[test]
    fn a_rate_of_no_clock_is_refused() {
        let rate = "1634249166/129227251";
        assert!(refusal(&["--clock-rate", rate, "a.mov"]).starts_with("no clock counts"));
    }

    #[test]
    fn rates_may_be_written_as_people_write_them() {
        for (text, yes) in [("29.97", "yes"), ("30000/1001", "YES"), ("29.97p", "Yes")] {
            let drop_frame = format!("--drop-frame={yes}");
            let settings = resolve(&["--clock-rate", text, &drop_frame, "a.mov"]).unwrap();
            assert_eq!(settings.options.known.rate, Some(Rate::F29_97));
            assert_eq!(settings.options.known.drop_frame, Some(true));
        }
    }

    #[test]
    fn drop_frame_at_a_rate_that_has_none_is_a_contradiction() {
        assert_eq!(
            refusal(&["--clock-rate", "25", "--drop-frame", "yes", "a.mov"]),
            "a clock at 25 has no drop-frame; drop-frame exists at 29.97, 59.94 and 119.88; \
             leave one of the options out"
        );
        assert!(resolve(&["--clock-rate", "25", "--drop-frame", "no", "a.mov"]).is_ok());
    }

    #[test]
    fn lags_and_speeds_out_of_range_are_refused() {
        assert!(refusal(&["--lag=-1", "a.mov"]).starts_with("a lag of -1 ms is not believed"));
        assert!(refusal(&["--lag", "2000.5", "a.mov"]).contains("from 0 to 2000"));
        assert!(refusal(&["--speed", "0", "a.mov"]).starts_with("a speed of 0 is not"));
        assert!(refusal(&["--speed=-1/4", "a.mov"]).contains("0.25 or 30/120"));
        // A third is a third, and not what a pocket calculator shows of it.
        assert_eq!(
            refusal(&["--speed", "0.333333333", "a.mov"]),
            "a speed of 333333333/1000000000 has too many digits; give the rates at which the clip plays \
             and was shot, for example 30/120, or at most six digits behind the point"
        );
        assert!(resolve(&["--speed", "1/3", "a.mov"]).is_ok());
        assert!(resolve(&["--speed", "0.333333", "a.mov"]).is_ok());
        assert!(resolve(&["--speed", "23.976/119.88", "a.mov"]).is_ok());
        assert!(refusal(&["--lag", "16.68333", "a.mov"]).contains("at most three digits"));
        assert!(resolve(&["--lag", "16.683", "a.mov"]).is_ok());
        assert!(resolve(&["--lag", "1001/60", "a.mov"]).is_ok());
        assert!(resolve(&["--lag", "0", "a.mov"]).is_ok());
        assert!(resolve(&["--lag", "2000", "a.mov"]).is_ok());
    }

    #[test]
    fn several_clips_as_json_come_one_a_line() {
        assert_eq!(resolve(&["--json", "a.mov"]).unwrap().show, Show::Json);
        assert_eq!(
            resolve(&["--json", "a.mov", "b.mov"]).unwrap().show,
            Show::JsonLines
        );
    }
}
