//! What was typed. Checked only as far as single values go; what several values
//! mean together is for [`super::settings`].

use clap::{Args as ClapArgs, Parser, Subcommand, ValueEnum};
use rollmark::timecode::{Rate, Ratio};
use std::path::PathBuf;

/// Reads the clock you filmed and gives every clip its start timecode.
#[derive(Debug, Parser)]
#[command(
    name = "rollmark",
    after_help = "Exit status: 0 if no clip needs a look, 1 if one is unsure or failed, \
                  2 if something could not be done."
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
    /// Render a practice card: clips of a filmed clock, with the right answers
    Rehearse(RehearseArgs),
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

    /// Where in the clips to look for the clock
    #[arg(long, value_name = "WHERE", default_value = "all")]
    pub look: LookArg,

    /// The clock's counts per second, if you know them: 25, 29.97, 24000/1001
    #[arg(long, value_name = "RATE")]
    pub clock_rate: Option<Rate>,

    /// Whether the clock counts drop-frame, if you know it
    #[arg(long, value_name = "YES|NO", hide_possible_values = true)]
    pub drop_frame: Option<YesNo>,

    /// How late the display shows its time, in milliseconds: 0, 12.5
    #[arg(long, value_name = "MILLISECONDS")]
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

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum LookArg {
    /// Near the start
    Head,
    /// Near the end
    Tail,
    /// Everywhere, the likely places first
    All,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum YesNo {
    Yes,
    No,
}
