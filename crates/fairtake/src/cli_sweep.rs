//! What can be typed for `sweep`.

use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// Arguments of `sweep`.
#[derive(Debug, Args)]
pub(crate) struct SweepArgs {
    /// WAV file to make (24 bits, mono); must not exist yet
    pub file: PathBuf,
    /// What is played
    #[arg(long, value_enum, default_value_t = KindArg::Sweep)]
    pub kind: KindArg,
    /// Sampling rate in Hz: that at which you record
    #[arg(long, value_name = "HZ", default_value_t = 48_000)]
    pub rate: u32,
    /// Lowest frequency in Hz
    #[arg(long, value_name = "HZ", default_value_t = 15.0)]
    pub from: f64,
    /// Highest frequency in Hz [default: 22000, or what the sampling rate allows]
    #[arg(long, value_name = "HZ")]
    pub to: Option<f64>,
    /// Frequency of a tone in Hz
    #[arg(long, value_name = "HZ", default_value_t = 1000.0)]
    pub tone: f64,
    /// Length of one pass in seconds
    #[arg(long, value_name = "S", default_value_t = 10.0)]
    pub seconds: f64,
    /// Peak level in dBFS; several, rising, make level steps
    #[arg(
        long,
        value_name = "DBFS",
        value_delimiter = ',',
        allow_hyphen_values = true,
        default_value = "-12"
    )]
    pub level: Vec<f64>,
    /// How often each level is played
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub repeats: u32,
    /// Silence after each pass in seconds: longer than the room rings
    #[arg(long, value_name = "S", default_value_t = 1.0)]
    pub pause: f64,
    /// Seed of noise
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Measured response of the loudspeaker, which the sweep makes level: text of frequency in Hz and dB
    #[arg(long, value_name = "FILE")]
    pub loudspeaker: Option<PathBuf>,
    /// Print the description as JSON
    #[arg(long)]
    pub json: bool,
}

/// What is played.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum KindArg {
    /// Exponential sine sweep: response and distortion
    Sweep,
    /// Equal power per octave
    Pink,
    /// Equal power per hertz
    White,
    /// A sine
    Tone,
}
