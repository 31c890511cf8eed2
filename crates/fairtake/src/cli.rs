//! What can be typed. Man pages and shell completions come from these definitions.

use crate::choices::{DesignArg, MatchArg, PatternArg, PlayingArg, RoleArg};
pub(crate) use crate::cli_bridge::BridgeArgs;
pub(crate) use crate::cli_sweep::SweepArgs;
pub(crate) use crate::cli_write_up::WriteUpArgs;
use clap::{Args, Parser, Subcommand, ValueEnum};
use fairtake_compare::{Design, Settings};
use std::path::PathBuf;

/// Compare microphones fairly: which differences are larger than re-placing and re-playing make by themselves?
#[derive(Debug, Parser)]
#[command(name = "fairtake", version, about, max_term_width = 100)]
pub(crate) struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Compare audio files, or all takes of a shootout folder
    Compare(CompareArgs),
    /// Start a shootout folder with an empty log
    New(NewArgs),
    /// Take a recording into a shootout folder: whole, by channels, or cut where microphones were changed
    Add(AddArgs),
    /// Check whether takes can be compared, without comparing them
    Check(CheckArgs),
    /// Compare all takes of a shootout folder and write its report
    Report(ReportArgs),
    /// Write everything up: report, words to be spoken, reels with captions, data, in one new folder
    WriteUp(WriteUpArgs),
    /// How much of a difference is equalising: the correction as a filter and as bands, and what remains
    Bridge(BridgeArgs),
    /// Write a sweep, noise or tone for a loudspeaker, with marks by which recordings of it are measured
    Sweep(SweepArgs),
    /// Measure the microphones of a folder by themselves: data sheets from sweeps, a calibrator, silence
    Measure(MeasureArgs),
    /// Watch a shootout folder while recording: every file dropped there is answered, keep or play again
    Watch(WatchArgs),
    /// Open the work page on a shootout folder: plan, takes, compare, listen, write up
    Open(OpenArgs),
    /// What the blind tests of a folder say; or serve them to an audience
    Listen(ListenArgs),
    /// Make a demo shootout in an invented boathouse, compare it and open the work page on it
    Demo(DemoArgs),
    /// Write man pages and shell completions
    #[command(hide = true)]
    Generate(GenerateArgs),
}

/// Settings of an analysis, shared by several commands.
#[derive(Debug, Args)]
pub(crate) struct AnalysisArgs {
    /// Differences smaller than this do not matter to you, in dB [default: the log's, else 1]
    #[arg(long, value_name = "DB", value_parser = positive)]
    pub margin: Option<f64>,
    /// By what levels are matched before spectra are compared
    #[arg(long = "match", value_enum, default_value_t = MatchArg::Loudness)]
    pub match_by: MatchArg,
    /// Bands per octave
    #[arg(long, value_name = "N", default_value_t = 12, value_parser = bands)]
    pub bands: u32,
    /// Key (or file stem) of the microphone that the others are compared with [default: the first]
    #[arg(long, value_name = "MIC")]
    pub reference: Option<String>,
    /// Compare this pair only, as REFERENCE,AGAINST
    #[arg(long, value_name = "MIC,MIC")]
    pub pair: Option<String>,
    /// How the takes were made, instead of what is recognised
    #[arg(long, value_enum)]
    pub design: Option<DesignArg>,
    /// How the source is played
    #[arg(long, value_enum, default_value_t = PlayingArg::Auto)]
    pub playing: PlayingArg,
    /// Seed of everything random
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Distance from grille to source in mm, for the placement allowance of bare files
    #[arg(long, value_name = "MM", value_parser = positive)]
    pub distance: Option<f64>,
    /// Radius of what radiates in mm (0 = a point), for the placement allowance of bare files
    #[arg(long, value_name = "MM", value_parser = not_negative)]
    pub radius: Option<f64>,
    /// Polar pattern of the microphones, for the placement allowance of bare files
    #[arg(long, value_enum)]
    pub pattern: Option<PatternArg>,
    /// Measure anew, also where a folder's last result still holds
    #[arg(long)]
    pub anew: bool,
}

/// What is analysed, and how; shared by several commands.
#[derive(Debug, Args)]
pub(crate) struct InputArgs {
    /// Two or more audio files, or one shootout folder
    #[arg(required = true)]
    pub paths: Vec<PathBuf>,
    /// Settings.
    #[command(flatten)]
    pub analysis: AnalysisArgs,
    /// Channel of multichannel files, counted from 1
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..))]
    pub channel: u16,
}

/// Arguments of `compare`.
#[derive(Debug, Args)]
pub(crate) struct CompareArgs {
    /// What is compared.
    #[command(flatten)]
    pub input: InputArgs,
    /// Print the findings as JSON
    #[arg(long)]
    pub json: bool,
    /// Write per-event values (CSV), enough to recompute every band difference; refuses to overwrite
    #[arg(long, value_name = "FILE")]
    pub events: Option<PathBuf>,
    /// Write the report, one HTML file that needs nothing else; refuses to overwrite
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
    /// Let files given with --events and --report be replaced
    #[arg(long)]
    pub overwrite: bool,
    /// Exit with 1 when a caution with one of these codes stands; `all` for any
    #[arg(long, value_name = "CODE", value_delimiter = ',')]
    pub strict: Vec<String>,
}

/// Arguments of `open`.
#[derive(Debug, Args)]
pub(crate) struct OpenArgs {
    /// Folder with a shootout.toml
    #[arg(default_value = ".")]
    pub folder: PathBuf,
    /// Serve others in the room too, at this address of this machine; they need the link that is printed
    #[arg(long, value_name = "ADDRESS")]
    pub on: Option<std::net::IpAddr>,
    /// Port [default: any that is free]
    #[arg(long, default_value_t = 0, hide_default_value = true)]
    pub port: u16,
    /// Do not open a browser
    #[arg(long)]
    pub quiet: bool,
}

/// Arguments of `listen`.
#[derive(Debug, Args)]
pub(crate) struct ListenArgs {
    /// Folder with a shootout.toml
    #[arg(default_value = ".")]
    pub folder: PathBuf,
    /// Serve the tests, and nothing else of the folder, at this address and port
    #[arg(long, value_name = "ADDRESS:PORT", conflicts_with = "json")]
    pub serve: Option<std::net::SocketAddr>,
    /// Name under which a proxy of yours shows it, such as `https://listen.example.org`
    #[arg(long = "as", value_name = "NAME", requires = "serve")]
    pub shown_as: Option<String>,
    /// Print as JSON
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `new`.
#[derive(Debug, Args)]
pub(crate) struct NewArgs {
    /// Folder to make; must not hold a log yet
    pub folder: PathBuf,
    /// Title of the shootout
    #[arg(long)]
    pub title: Option<String>,
}

/// Arguments of `add`.
#[derive(Debug, Args)]
pub(crate) struct AddArgs {
    /// Shootout folder
    pub folder: PathBuf,
    /// Audio file; it is copied, the original is left alone
    pub file: PathBuf,
    /// Key of the source
    #[arg(long)]
    pub source: String,
    /// Microphones: one, or one per channel, or one per part where the file is cut [default: names in the file]
    #[arg(long, value_name = "MIC", value_delimiter = ',')]
    pub mics: Vec<String>,
    /// Cut one long recording in which microphones were changed in turn
    #[arg(long, value_enum)]
    pub cut: Option<CutArg>,
    /// For --cut list: a text with a line `seconds name` or `minutes:seconds name` where each part begins
    #[arg(long, value_name = "FILE")]
    pub list: Option<PathBuf>,
    /// For --cut gaps: quiet for so long is a gap, in seconds
    #[arg(long, value_name = "S", default_value_t = 5.0, value_parser = positive)]
    pub gap: f64,
    /// For --cut gaps: peaks below this are quiet, in dBFS
    #[arg(long, value_name = "DB", default_value_t = -50.0, allow_negative_numbers = true)]
    pub quiet: f64,
    /// Setting-up of the microphone [default: the last one logged, or counted where parts return to a microphone]
    #[arg(long, value_name = "N")]
    pub placement: Option<u32>,
    /// Pass of playing [default: a new one]
    #[arg(long, value_name = "N")]
    pub performance: Option<u32>,
    /// Named spot, where microphones exchange places
    #[arg(long)]
    pub position: Option<String>,
    /// Gain as set on the preamp, in dB
    #[arg(long, value_name = "DB", allow_negative_numbers = true)]
    pub gain: Option<f64>,
    /// What the take is for
    #[arg(long, value_enum, default_value_t = RoleArg::Compared)]
    pub role: RoleArg,
    /// Do it; without this only what would be done is shown, where the file is cut or has several channels
    #[arg(long)]
    pub yes: bool,
}

/// Where a long recording is cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum CutArg {
    /// At gaps
    Gaps,
    /// At the cue markers of the file
    Markers,
    /// At the times of a typed list
    List,
}

/// Arguments of `check`.
#[derive(Debug, Args)]
pub(crate) struct CheckArgs {
    /// What is checked.
    #[command(flatten)]
    pub input: InputArgs,
    /// Print the checks as JSON
    #[arg(long)]
    pub json: bool,
    /// Show the fair ones too
    #[arg(long)]
    pub all: bool,
}

/// Arguments of `report`.
#[derive(Debug, Args)]
pub(crate) struct ReportArgs {
    /// What is reported on.
    #[command(flatten)]
    pub input: InputArgs,
    /// Where to write it [default: report.html in the folder]
    #[arg(long, short, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// Let an older report be replaced
    #[arg(long)]
    pub overwrite: bool,
}

/// Arguments of `watch`.
#[derive(Debug, Args)]
pub(crate) struct WatchArgs {
    /// Shootout folder; files are looked for there and in its `takes`
    pub folder: PathBuf,
    /// Key of the source, for files whose name does not say it
    #[arg(long)]
    pub source: Option<String>,
    /// Microphones: one, or one per channel, for files whose name does not say it
    #[arg(long, value_name = "MIC", value_delimiter = ',')]
    pub mics: Vec<String>,
    /// Setting-up of the microphone, for files whose name does not say it [default: the last one logged]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    pub placement: Option<u32>,
    /// Key of the microphone that the others are compared with [default: the first in the log]
    #[arg(long, value_name = "MIC")]
    pub reference: Option<String>,
    /// Answer what is there and end
    #[arg(long)]
    pub once: bool,
    /// Answer also files that are there and in the log when it starts
    #[arg(long)]
    pub all: bool,
    /// Print one JSON object per line
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `demo`.
#[derive(Debug, Args)]
pub(crate) struct DemoArgs {
    /// Folder to make; must not exist yet (about 70 MB)
    #[arg(default_value = "fairtake-demo")]
    pub folder: PathBuf,
    /// Seed of everything random in the demo
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// End when the report is written, without the work page
    #[arg(long)]
    pub no_page: bool,
    /// Make a session of calibrated measurements instead, with a loudspeaker and a calibrator (about 60 MB)
    #[arg(long)]
    pub bench: bool,
}

/// Arguments of `measure`.
#[derive(Debug, Args)]
pub(crate) struct MeasureArgs {
    /// Folder with a log that lists takes of measurements
    pub folder: PathBuf,
    /// Print the measurements as JSON
    #[arg(long)]
    pub json: bool,
    /// Write the data sheets, one HTML file that needs nothing else; refuses to overwrite
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
    /// Write the data sheets as a PDF; refuses to overwrite
    #[arg(long, value_name = "FILE")]
    pub pdf: Option<PathBuf>,
    /// Let files given with --report and --pdf be replaced
    #[arg(long)]
    pub overwrite: bool,
}

/// Arguments of `generate`.
#[derive(Debug, Args)]
pub(crate) struct GenerateArgs {
    /// Folder to write into
    pub folder: PathBuf,
}

impl AnalysisArgs {
    /// The settings asked for; a margin in the log holds where none was typed.
    pub(crate) fn settings(&self, logged_margin_db: Option<f64>) -> Settings {
        let standard = Settings::standard();
        Settings {
            margin_db: self.margin.or(logged_margin_db).unwrap_or(standard.margin_db),
            match_by: self.match_by.into(),
            bands_per_octave: self.bands,
            seed: self.seed,
            design_override: self.design.map(Design::from),
            playing: self.playing.into(),
            ..standard
        }
    }
}

pub(crate) fn not_negative(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value >= 0.0 && value.is_finite() => Ok(value),
        _ => Err("must be a number of 0 or more".to_string()),
    }
}

pub(crate) fn positive(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if v > 0.0 && v.is_finite() => Ok(v),
        _ => Err("must be a number above 0".to_string()),
    }
}

fn bands(text: &str) -> Result<u32, String> {
    match text {
        "1" | "3" | "6" | "12" | "24" => Ok(text.parse().expect("these are whole numbers")),
        _ => Err("must be 1, 3, 6, 12 or 24".to_string()),
    }
}
