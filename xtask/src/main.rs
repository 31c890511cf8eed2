//! House tasks.
fn main() {}
