//! Findings in; tables, the summary for a terminal, figures and the report out. No samples, no files.

mod content;
pub mod events;
pub mod figure;
pub mod page;
pub mod pdf;
pub mod summary;
pub mod words;
