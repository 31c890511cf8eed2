//! The only crate that opens files: audio, the shootout folder, the derived cache.

mod assign;
mod audio;
mod compressed;
mod cut;
mod error;
mod folder;
mod hash;
mod log;
mod log_error;
mod log_write;
mod naming;
mod overheard;
mod staging;
mod take_in;
mod watch;
pub mod wav;
mod write;

pub use assign::{NotKnown, Said, assign, started_together};
pub use audio::{AudioFile, ChannelSamples};
pub use cut::{GapSettings, ListError, Proposal, channel_names, cut_at_gaps, cut_at_list, cut_at_markers};
pub use error::{AudioError, AudioProblem};
pub use folder::{FolderError, ShootoutFolder, bare_takes, cache_key};
pub use hash::sha256;
pub use log::{Log, TakeEntry, parse_log};
pub use log_error::LogError;
pub use log_write::{LogFile, new_log};
pub use naming::{Named, read_name};
pub use take_in::{Intake, Placed, key_of};
pub use watch::Watcher;
pub use write::{WriteError, write_whole};
