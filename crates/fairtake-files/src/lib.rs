//! The only crate that opens files: audio, the shootout folder, the derived cache.

mod assign;
mod audio;
mod compressed;
mod cut;
mod error;
mod folder;
mod hash;
mod log;
mod log_change;
mod log_error;
mod log_fields;
mod log_write;
mod naming;
mod receive;
mod shelf;
mod staging;
mod take_in;
mod watch;
pub mod wav;
mod write;

pub use assign::{NotKnown, Said, Suggested, assign, started_together, suggest};
pub use audio::{AudioFile, ChannelSamples};
pub use cut::{GapSettings, ListError, Proposal, channel_names, cut_at_gaps, cut_at_list, cut_at_markers};
pub use error::{AudioError, AudioProblem};
pub use folder::{FolderError, ShootoutFolder, bare_takes, cache_key, contents_of};
pub use hash::sha256;
pub use log::{Log, TakeEntry, parse_log};
pub use log_change::{Change, ChangeError, Place};
pub use log_error::LogError;
pub use log_write::{LogFile, new_log};
pub use naming::{Named, read_name};
pub use receive::{KEPT_FREE_BYTES, Received, Receiving};
pub use shelf::{Loaded, Shelf};
pub use take_in::{Intake, Placed, key_of};
pub use watch::{Watcher, audio_in};
pub use write::{WriteError, write_whole};
