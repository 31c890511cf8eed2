//! Findings in; tables, the summary for a terminal, figures and the report out. No samples, no files.

pub mod bridge;
pub mod captions;
mod content;
pub mod data;
pub mod events;
pub mod figure;
mod heard;
pub mod own_words;
pub mod page;
pub mod pdf;
pub mod sheet;
pub mod spoken;
pub mod summary;
pub mod words;

pub use heard::Heard;
