//! Pure functions on sample slices: levels, loudness, spectra, bands, weightings, onsets, delay, filters, defects.
