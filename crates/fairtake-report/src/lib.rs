//! Findings in; tables and the summary for a terminal out. No samples, no files.

pub mod events;
pub mod summary;
