//! Pure functions on sample slices: levels, loudness, spectra, bands, weightings, onsets, defects.
//!
//! Modules in reading order. Nothing here opens a file, reads a clock or draws a random number.

pub mod bands;
pub mod defects;
pub mod filters;
pub mod fir;
pub mod gain_curve;
pub mod levels;
pub mod loudness;
pub mod minimum_phase;
pub mod onsets;
mod powers;
pub mod shared;
pub mod spectrum;
pub mod transfer;
pub mod true_peak;
pub mod units;
pub mod weighting;
