//! Intervals, bands over curves, resampling, equivalence, power and variance components; knows nothing of sound.
