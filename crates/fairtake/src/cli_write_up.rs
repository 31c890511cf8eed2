//! What can be typed after `write-up`.

use crate::choices::{ColoursArg, DecadeArg, KeepArg};
use crate::cli::{AnalysisArgs, not_negative, positive};
use clap::Args;
use fairtake_audition::{EXCERPT_S, Excerpt};
use fairtake_write_up::Size;
use std::path::PathBuf;

/// Arguments of `write-up`.
#[derive(Debug, Args)]
pub(crate) struct WriteUpArgs {
    /// Shootout folder
    pub folder: PathBuf,
    /// Folder to make; must not exist yet [default: write-up in the shootout folder]
    #[arg(long, value_name = "DIR")]
    pub into: Option<PathBuf>,
    /// Let an older write-up be replaced, where nothing in it was changed since it was made
    #[arg(long)]
    pub overwrite: bool,
    /// Sizes of the pictures: screen, square, upright, or px as 1200x628; `:large` behind it for large letters
    #[arg(long, value_name = "SIZE", value_delimiter = ',', default_value = "screen,upright:large",
          value_parser = Size::parse)]
    pub sizes: Vec<Size>,
    /// Colours of the pictures
    #[arg(long, value_enum, default_value_t = ColoursArg::Light)]
    pub colours: ColoursArg,
    /// Pictures without a ground behind them
    #[arg(long)]
    pub transparent: bool,
    /// How many dB are as long as a decade of frequency (IEC 60263)
    #[arg(long, value_enum, default_value_t = DecadeArg::Fits)]
    pub decade: DecadeArg,
    /// What one piece of a reel holds: passage, event, or a number of seconds
    #[arg(long, value_name = "WHAT", default_value = "passage", value_parser = excerpt)]
    pub pieces: Excerpt,
    /// Silence between two pieces of a reel, in seconds; 0 for none
    #[arg(long, value_name = "S", default_value_t = 0.5, value_parser = not_negative)]
    pub gap: f64,
    /// A reel holds no more moments than this, each played by every microphone
    #[arg(long, value_name = "N", default_value_t = 4)]
    pub moments: usize,
    /// A reel begins no moment beyond this length, in seconds
    #[arg(long, value_name = "S", default_value_t = 120.0, value_parser = positive)]
    pub seconds: f64,
    /// Also reels with numbers in place of names; which is which lies in a folder of its own
    #[arg(long)]
    pub blind: bool,
    /// Seed of what is drawn for blind reels [default: drawn by the system, and kept in the key]
    #[arg(long, value_name = "N", requires = "blind")]
    pub draw: Option<u64>,
    /// Also the picture in motion, for each pair; a video needs ffmpeg on this machine
    #[arg(long, value_enum, value_name = "KEEP")]
    pub moving: Option<KeepArg>,
    /// Size of the moving picture
    #[arg(long, value_name = "SIZE", default_value = "screen", value_parser = Size::parse)]
    pub moving_size: Size,
    /// Frames per second of the moving picture
    #[arg(long, value_name = "N", default_value_t = 25.0, value_parser = positive)]
    pub frame_rate: f64,
    /// Say how long and large the moving pictures would be, and write nothing
    #[arg(long, requires = "moving")]
    pub only_say: bool,
    /// Licence under which you give sound and data away, in one line; written beside them
    #[arg(long, value_name = "TEXT")]
    pub licence: Option<String>,
    /// Settings.
    #[command(flatten)]
    pub analysis: AnalysisArgs,
}

fn excerpt(text: &str) -> Result<Excerpt, String> {
    let (least, most) = EXCERPT_S;
    match (text, text.parse::<f64>()) {
        ("passage", _) => Ok(Excerpt::Passage),
        ("event", _) => Ok(Excerpt::Event),
        (_, Ok(s)) if (least..=most).contains(&s) => Ok(Excerpt::Seconds(s)),
        _ => Err(format!("must be passage, event, or {least} to {most} seconds")),
    }
}
