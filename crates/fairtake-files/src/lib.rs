//! The only crate that opens files: audio, the shootout folder, the derived cache, blind tests.

mod assign;
mod audio;
mod bench_folder;
mod compressed;
mod cut;
mod error;
mod folder;
mod folder_in_making;
mod hash;
mod listening;
mod log;
mod log_bench;
mod log_change;
mod log_error;
mod log_fields;
mod log_measured;
mod log_write;
mod naming;
mod overheard;
mod planned;
mod receive;
mod shelf;
mod staging;
mod take_in;
mod watch;
pub mod wav;
mod write;

pub use assign::{NotKnown, Said, Suggested, assign, passes, started_together, suggest};
pub use audio::{AudioFile, ChannelSamples};
pub use bench_folder::described_in;
pub use cut::{GapSettings, ListError, Proposal, channel_names, cut_at_list, cut_at_markers};
pub use error::{AudioError, AudioProblem};
pub use folder::{FolderError, ShootoutFolder, bare_takes, cache_key, contents_of, contents_of_log};
pub use folder_in_making::{FolderInMaking, MANIFEST, listed};
pub use hash::sha256;
pub use listening::{
    ListeningStore, NewSitting, NewTest, Rendered, StoreError, StoredSitting, StoredTest, Write, answers_csv,
    answers_json, store_path,
};
pub use log::{Log, TakeEntry, parse_log};
pub use log_bench::{BenchLog, MeasuredEntry, MicFiles};
pub use log_change::{Change, ChangeError, Place};
pub use log_error::LogError;
pub use log_measured::{NewMeasured, excitations_in};
pub use log_write::{LogFile, new_log};
pub use naming::{Named, read_name};
pub use planned::{CutAt, PlanError, Planned, Wanted, by_channels, by_parts, take_in};
pub use receive::{KEPT_FREE_BYTES, Received, Receiving, free_bytes};
pub use shelf::{Loaded, Shelf};
pub use take_in::key_of;
pub use watch::{Watcher, audio_in};
pub use write::{WriteError, write_whole};
