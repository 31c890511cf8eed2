//! Takes in memory, for tests.
