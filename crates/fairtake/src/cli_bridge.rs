//! What can be typed for `bridge`.

use crate::cli::{InputArgs, not_negative};
use clap::Args;
use std::path::PathBuf;

/// Arguments of `bridge`.
#[derive(Debug, Args)]
pub(crate) struct BridgeArgs {
    /// What is compared.
    #[command(flatten)]
    pub input: InputArgs,
    /// Key (or file stem) of the microphone that is corrected [default: the first]
    #[arg(long, value_name = "MIC")]
    pub from: Option<String>,
    /// Key (or file stem) of the microphone that it becomes like [default: the second]
    #[arg(long, value_name = "MIC")]
    pub to: Option<String>,
    /// Only this source
    #[arg(long, value_name = "SOURCE")]
    pub source: Option<String>,
    /// No boost above this, in dB
    #[arg(long, value_name = "DB", default_value_t = 12.0, value_parser = not_negative)]
    pub boost: f64,
    /// No more bands than this
    #[arg(long, value_name = "N", default_value_t = 6, value_parser = clap::value_parser!(u8).range(0..=12))]
    pub most_bands: u8,
    /// Sampling rate of filters and equaliser in Hz [default: that of the compared takes
    /// of the microphone that is corrected]
    #[arg(long, value_name = "HZ", value_parser = clap::value_parser!(u32).range(8_000..=384_000))]
    pub rate: Option<u32>,
    /// Length of the impulse responses in seconds
    #[arg(long, value_name = "S", default_value_t = 0.5, value_parser = filter_length)]
    pub length: f64,
    /// Folder to make, with filters, settings and picture; must not exist yet
    #[arg(long, value_name = "DIR")]
    pub into: Option<PathBuf>,
    /// Print the bridges as JSON
    #[arg(long)]
    pub json: bool,
}

fn filter_length(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if (0.005..=2.0).contains(&v) => Ok(v),
        _ => Err("must be a number from 0.005 to 2".to_string()),
    }
}
