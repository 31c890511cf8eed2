//! Intervals, bands over curves, resampling, equivalence, power and variance components; knows nothing of sound.
//!
//! Modules in reading order: a [`linear`] fit gives estimates and residuals, [`curve`] turns it into a curve
//! with pointwise and simultaneous intervals, by way of [`correlation`], [`pooling`] and [`simultaneous`].
//! Beside it stand single numbers: [`describe`], [`student`], [`chi_square`], [`binomial`], [`equivalence`], [`power`], [`components`].
//! What listening needs: [`trials`], [`detection`], [`stopping`], [`contrast`], [`paired`], [`consistency`], [`ratings`].

pub mod autocorrelation;
pub mod binomial;
pub mod chi_square;
pub mod components;
pub mod consistency;
pub mod contrast;
pub mod correlation;
pub mod curve;
pub mod describe;
pub mod detection;
pub mod equivalence;
pub mod linear;
pub mod matrix;
pub mod paired;
pub mod pooling;
pub mod power;
pub mod random;
pub mod ratings;
pub mod simultaneous;
pub mod stopping;
pub mod student;
pub mod trials;
