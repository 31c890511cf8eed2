//! The domain of Fairtake: what was recorded, what is compared, and what may be said about it.
//!
//! Modules in reading order. This crate opens no file, socket, device or clock: audio reaches it
//! through [`Samples`], everything random takes a seed.

mod align;
mod answer;
mod assemble;
mod bleed;
mod checks;
mod compare;
mod design;
mod distance;
mod findings;
mod groups;
mod judge;
mod measure;
mod measured;
mod noise;
mod parallel;
mod plan;
mod recognise;
mod remembered;
mod replaced;
mod sentences;
mod settings;
mod shootout;
mod standing;
mod tables;
mod take;
#[cfg(test)]
mod testing;
pub mod wording;

pub use answer::*;
pub use compare::{CompareError, Comparison, Measurement, compare, compare_remembering, measure_and_check};
pub use distance::{Distance, PairDistance, all_distances, distances_remembering};
pub use findings::*;
pub use judge::{JudgedBand, Judgement, SettingUp, distance_change_db, features, judge, runs, verdict};
pub use measure::{Tabulated, measure_performance, tabulate};
pub use measured::*;
pub use parallel::each_in_parallel;
pub use plan::*;
pub use recognise::{HowShared, Recognised, SharedPair, recognise_performances};
pub use remembered::Remembered;
pub use replaced::*;
pub use settings::*;
pub use shootout::*;
pub use standing::*;
pub use tables::*;
pub use take::*;
