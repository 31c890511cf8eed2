//! The program: one file per command, `main` only dispatches.
fn main() {}
