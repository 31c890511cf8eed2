//! Findings in; figures, sentences, tables and the report out.
