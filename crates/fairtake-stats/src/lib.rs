//! Intervals, bands over curves, resampling, equivalence, power and variance components; knows nothing of sound.
//!
//! Modules in reading order: a [`linear`] fit gives estimates and residuals, [`curve`] turns it into a curve
//! with pointwise and simultaneous intervals, by way of [`correlation`], [`pooling`] and [`simultaneous`].

pub mod autocorrelation;
pub mod correlation;
pub mod curve;
pub mod linear;
pub mod matrix;
pub mod pooling;
pub mod random;
pub mod simultaneous;
pub mod student;
