//! Everything that is said, shown and heard of a shootout, in one folder that appears whole or not at all: report, figures,
//! a moving picture, reels with captions, words, data, a manifest.
//!
//! Takes and findings come in, files go out; what each file says is made in `fairtake-report`, what is heard in
//! `fairtake-audition`. The one thing that is run here is `ffmpeg`, where there is one. Modules in reading order.

mod blind;
mod bridged;
mod error;
mod jobs;
mod material;
mod moving;
mod names;
mod pictures;
mod recall;
mod reels;
mod texts;
mod video;
mod wanted;
mod write_up;

pub use blind::Draw;
pub use bridged::{BridgeFile, bridge_files};
pub use error::WriteUpError;
pub use jobs::Progress;
pub use material::Material;
pub use moving::{MovingPlan, moving_plans};
pub use names::distinct as distinct_names;
pub use recall::{findings_key, recall};
pub use video::{Ffmpeg, Maker};
pub use wanted::{Keep, MovingPicture, Picture, ReelsWanted, Size, Wanted};
pub use write_up::{Written, write_up};
