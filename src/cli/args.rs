//! What was typed. Checked only as far as single values go; what several values
//! mean together is for [`super::settings`].

use clap::{Args as ClapArgs, Parser, Subcommand, ValueEnum};
use rollmark::timecode::{Rate, Ratio};
use std::num::NonZeroUsize;
use std::path::PathBuf;

/// Reads the clock you filmed and gives every clip its start timecode.
#[derive(Debug, Parser)]
#[command(
    name = "rollmark",
    after_help = "Exit status: 0 if no clip needs a look; 1 if one is unsure or failed, if there \
                  was none, if a correction of one is of no use, if one lacks a file or a place in \
                  a list that was asked for, or if files of an earlier run do not hold any more; 2 \
                  if something could not be done."
)]
pub struct Args {
    /// Print the version, the model and FFmpeg's version
    #[arg(short = 'V', long)]
    pub version: bool,

    #[command(subcommand)]
    pub command: Option<Command>,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Read the clock in clips and say where each clip starts on it
    Read(ReadArgs),
    /// Read everything on one or more cards, unattended, and leave a report
    Card(CardArgs),
    /// Render a practice card: clips of a filmed clock, with the right answers
    Rehearse(RehearseArgs),
    /// Write the manual pages, one per command
    Manual(ManualArgs),
    /// Print what a shell needs to complete commands and options
    Completions(CompletionsArgs),
}

#[derive(Debug, ClapArgs)]
pub struct ReadArgs {
    /// Video files; they are never changed
    #[arg(required = true, value_name = "CLIP")]
    pub clips: Vec<PathBuf>,

    /// Print JSON instead of a table: one object, or one line for each of several clips
    #[arg(long)]
    pub json: bool,

    /// Write one sidecar per clip into this folder
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,

    /// Write pictures of every stage into this folder, for when you wonder why
    #[arg(long, value_name = "DIR")]
    pub pictures: Option<PathBuf>,

    #[command(flatten)]
    pub handing: HandingArgs,

    #[command(flatten)]
    pub clock: ClockArgs,
}

#[derive(Debug, ClapArgs)]
pub struct CardArgs {
    /// Folders with the clips of one or more cards; they are never changed
    #[arg(required = true, value_name = "FOLDER")]
    pub folders: Vec<PathBuf>,

    /// Write the report, the sidecars and all else below this folder
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,

    /// Print one JSON object per event instead of a table
    #[arg(long)]
    pub json: bool,

    /// Clips read at once; as many as cores and memory allow if not given
    #[arg(long, value_name = "N", value_parser = at_least_one)]
    pub jobs: Option<NonZeroUsize>,

    #[command(flatten)]
    pub handing: HandingArgs,

    #[command(flatten)]
    pub clock: ClockArgs,
}

/// What is written beside the sidecars.
#[derive(Debug, ClapArgs)]
#[command(next_help_heading = "For the next tool")]
pub struct HandingArgs {
    /// Write what the next tool reads as well, separated by commas
    #[arg(long, value_name = "LIST", value_delimiter = ',')]
    pub write: Vec<ProductArg>,

    /// Let unsure clips into what is written, marked as such; estimates never
    #[arg(long, requires = "write")]
    pub with_unsure: bool,

    /// Starts set or rejected by hand, in a text file; docs/corrections.md shows one
    #[arg(long, value_name = "FILE")]
    pub corrections: Option<PathBuf>,
}

/// What only the user knows about clock and clips.
#[derive(Debug, ClapArgs)]
#[command(next_help_heading = "What you know of the clock and the clips")]
pub struct ClockArgs {
    /// Where in the clips to look for the clock
    #[arg(long, value_name = "WHERE", default_value = "all")]
    pub look: LookArg,

    /// The clock's counts per second, if you know them: 25, 29.97, 24000/1001
    #[arg(long, value_name = "RATE")]
    pub clock_rate: Option<Rate>,

    /// Whether the clock counts drop-frame, if you know it
    #[arg(
        long,
        value_name = "YES|NO",
        hide_possible_values = true,
        ignore_case = true
    )]
    pub drop_frame: Option<YesNo>,

    /// How late the display shows its time, in milliseconds: 0, 12.5
    #[arg(long, value_name = "MILLISECONDS", allow_negative_numbers = true)]
    pub lag: Option<Ratio>,

    /// How fast the clips play against real life: 0.25 or 30/120 if filmed at
    /// 120 and played at 30
    #[arg(long, value_name = "RATIO")]
    pub speed: Option<Ratio>,
}

#[derive(Debug, ClapArgs)]
pub struct RehearseArgs {
    /// Folder for the card: a new one, or an empty one
    #[arg(value_name = "DIR")]
    pub folder: PathBuf,

    /// Another number gives other clips; the same number gives the same clips again
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
}

#[derive(Debug, ClapArgs)]
pub struct ManualArgs {
    /// Folder for the pages, such as /usr/local/share/man/man1
    #[arg(value_name = "DIR")]
    pub folder: PathBuf,
}

#[derive(Debug, ClapArgs)]
pub struct CompletionsArgs {
    #[arg(value_name = "SHELL")]
    pub shell: clap_complete::Shell,
}

fn at_least_one(text: &str) -> Result<NonZeroUsize, &'static str> {
    text.parse().map_err(|_| "give a whole number, 1 or more")
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum LookArg {
    /// Near the start
    Head,
    /// Near the end
    Tail,
    /// Near the start and near the end, at both even if one settles the start: shows by how much
    /// clock and camera drift apart
    Ends,
    /// Everywhere, the likely places first
    All,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ProductArg {
    /// A sidecar per clip with its start timecode (ISO 16684-1)
    Xmp,
    /// A timeline of all clips, timeline.otio
    Otio,
    /// Edit lists, timeline.edl
    Edl,
    /// A table, clips.csv
    Csv,
    /// A copy of each clip with a timecode track
    Copy,
    /// A short movie of each slate, our label beside the filmed digits
    Preview,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum YesNo {
    Yes,
    No,
}
