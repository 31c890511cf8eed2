//! Every limit that a check holds a figure against: code, unit, value, reason.

/// One limit. The code has a page in `docs/cautions`.
pub(crate) struct Limit {
    /// Name of the check.
    pub code: &'static str,
    /// Unit of figure and limit.
    pub unit: &'static str,
    /// The limit.
    pub value: f64,
}

/// Share of clipped events from which the take is unfair: half. Below, the other events still serve.
pub(crate) const CLIPPED: Limit = Limit { code: "clipped", unit: "share of events", value: 0.5 };
/// Peaks below this waste more than half of 24 bits. Common practice, no source.
pub(crate) const LEVEL_LOW: Limit = Limit { code: "level_low", unit: "dBFS", value: -50.0 };
/// A mean value above this share of full scale shows a defect. Common practice, no source.
pub(crate) const DC: Limit = Limit { code: "dc", unit: "of full scale", value: 0.005 };
/// Seconds of noise needed: any.
pub(crate) const SNR_UNKNOWN: Limit = Limit { code: "snr_unknown", unit: "s", value: 0.0 };
/// A lossy coding is one too many.
pub(crate) const LOSSY: Limit = Limit { code: "lossy", unit: "codings", value: 0.0 };
/// Below this the spread of events is hardly known: four are the least that give an interval, eight a useful one.
pub(crate) const TOO_FEW_EVENTS: Limit = Limit { code: "too_few_events", unit: "events", value: 8.0 };
/// Rates must be equal.
pub(crate) const RATES_DIFFER: Limit = Limit { code: "rates_differ", unit: "Hz", value: 0.0 };
/// Word lengths must be equal.
pub(crate) const WORD_LENGTH_DIFFERS: Limit = Limit { code: "word_length_differs", unit: "bits", value: 0.0 };
/// The same bytes for two microphones are a mistake.
pub(crate) const SAME_FILE_TWICE: Limit = Limit { code: "same_file_twice", unit: "files", value: 0.0 };
/// Below two placements microphone and placement cannot be told apart.
pub(crate) const FEW_PLACEMENTS: Limit = Limit { code: "few_placements", unit: "placements", value: 2.0 };
/// Upside down is one too many; the figure is 1 for inverted, 0 for the same.
pub(crate) const POLARITY: Limit = Limit { code: "polarity", unit: "inverted", value: 0.0 };
/// Pad, filter, preamp, converter and cable are to be alike where they are logged.
pub(crate) const CHAIN_DIFFERS: Limit = Limit { code: "chain_differs", unit: "settings", value: 0.0 };
/// One hole in the sound is a defect of the recording.
pub(crate) const DROPOUT: Limit = Limit { code: "dropout", unit: "dropouts", value: 0.0 };
/// One buffer that comes twice is a defect of the recording.
pub(crate) const REPEATED_BUFFER: Limit = Limit { code: "repeated_buffer", unit: "buffers", value: 0.0 };
/// One jump at an edit is a defect. What counts as a jump is so chosen that made hits hold none: see ground truth.
pub(crate) const CLICK: Limit = Limit { code: "click", unit: "clicks", value: 0.0 };
/// Noise alone reaches this in less than one take of a hundred, as the ground truth counts.
pub(crate) const HUM: Limit = Limit { code: "hum", unit: "dB", value: 7.5 };
/// With half of the bands below 20 dB many lie near the 10 dB at which a band is held back. At 20 dB itself noise lifts a
/// level by 0.04 dB (10 lg 1.01).
pub(crate) const SNR_LOW: Limit = Limit { code: "snr_low", unit: "dB", value: 20.0 };
/// The same samples under two names are a mistake.
pub(crate) const DUAL_MONO: Limit = Limit { code: "dual_mono", unit: "pairs of takes", value: 0.0 };
/// Three decibels of strength change how bright a struck or blown thing sounds. Common practice, no source.
pub(crate) const STRENGTH_DIFFERS: Limit = Limit { code: "strength_differs", unit: "dB", value: 3.0 };
/// As far apart as two microphones may be that are both set to within the allowance of 3 mm; twice the allowance's distance
/// where that is set otherwise.
pub(crate) const DISTANCE: Limit = Limit { code: "distance", unit: "mm", value: 6.0 };
/// A gain that changes by the margin between soft and strong events. Common practice, no source.
pub(crate) const LIMITING: Limit = Limit { code: "limiting", unit: "dB", value: 1.0 };
/// A level difference that is wrong by the margin. Common practice, no source.
pub(crate) const ORDER_DRIFT: Limit = Limit { code: "order_drift", unit: "dB", value: 1.0 };
/// Microphones of one source, each with its gain set by hand, lie within 20 dB; of equal gain, a sensitive one and an
/// insensitive one within 30 dB. Common practice, no source.
pub(crate) const WRONG_CHANNEL: Limit = Limit { code: "wrong_channel", unit: "dB", value: 40.0 };
/// Noise that is shared reaches this coherence in an octave; strangers' lies near 0. See docs/methods/designs.md.
pub(crate) const DESIGN_UNCERTAIN: Limit = Limit { code: "design_uncertain", unit: "coherence", value: 0.15 };
