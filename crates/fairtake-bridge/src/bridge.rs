//! `bridge`: from tables to correction, equaliser and what remains.

use crate::equaliser::Equaliser;
use crate::fit::{at_bands, bought, fit};
use crate::held_out::{HeldOut, held_out};
use crate::remaining::{Remaining, by_band, greatest, rms_db, rms_upper_db};
use crate::seen::{HIGHEST_SHARE, seen};
use crate::smooth::smoothest;
use fairtake_compare::{
    Claim, ComparisonFindings, Findings, PairTables, Role, Settings, Take, Verdict, each_in_parallel, judge,
};
use fairtake_signal::gain_curve::GainCurve;
use serde::{Deserialize, Serialize};

/// What is wanted of an equaliser.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Wanted {
    /// No boost above this, in dB.
    pub most_boost_db: f64,
    /// No more bands than this.
    pub most_bands: usize,
    /// Sampling rate at which the equaliser works, in Hz.
    pub rate_hz: f64,
}

/// A correction and what remains after it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Bridge {
    /// Microphone that is corrected.
    pub from: String,
    /// Microphone that it becomes like.
    pub to: String,
    /// Source on which both were recorded.
    pub source: String,
    /// What was wanted.
    pub wanted: Wanted,
    /// Margin of the comparison, in dB.
    pub margin_db: f64,
    /// What the intervals speak about.
    pub claim: Claim,
    /// Bands that can be corrected, low to high.
    pub bands: Vec<BridgedBand>,
    /// Root mean square over octaves of the level-matched difference, in dB.
    pub difference_rms_db: f64,
    /// The bands of the equaliser.
    pub equaliser: Equaliser,
    /// What every band bought, beginning with none.
    pub steps: Vec<Step>,
    /// After the smoothest correction.
    pub after_correction: Carried,
    /// After the equaliser.
    pub after_equaliser: Carried,
    /// On takes that were not used to fit; `None` where there are too few to hold some out.
    pub held_out: Option<HeldOut>,
}

/// One band of the picture: wanted, reached, remaining.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BridgedBand {
    /// Lower edge in Hz.
    pub from_hz: f64,
    /// Upper edge in Hz.
    pub to_hz: f64,
    /// The difference that was found, after the level match, in dB.
    pub wanted_db: f64,
    /// The smoothest correction, in dB.
    pub correction_db: f64,
    /// The equaliser, in dB.
    pub equaliser_db: f64,
    /// After the smoothest correction.
    pub remaining: Remaining,
    /// Verdict on what remains after the equaliser.
    pub after_equaliser: Verdict,
}

/// So much remains with a number of bands.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// Number of bands.
    pub bands: usize,
    /// Root mean square over octaves of what remains, in dB.
    pub remaining_rms_db: f64,
}

/// How much a correction carries.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Carried {
    /// Root mean square over octaves of what remains, in dB, as estimated from the takes that it was fitted to.
    pub remaining_rms_db: f64,
    /// What the true one does not exceed, with 95 % confidence.
    pub remaining_upper_db: f64,
    /// Share of the level-matched difference that it carries on takes that were not used to fit, 0 to 1, by mean squares
    /// less what playing and placing do by themselves; `None` where that cannot be told.
    pub explained: Option<f64>,
    /// Where most is shown to remain; `None` where nothing of the margin or more is shown.
    pub greatest: Option<Remaining>,
}

/// No boost above this where nothing else is asked for, in dB, and no more bands.
pub const USUAL_LIMITS: (f64, usize) = (12.0, 6);

/// Of more comparisons than these none is bridged unasked: one alone can be asked for.
pub const MOST_BRIDGED: usize = 12;

/// Why there is no bridge. Each says what to record.
#[derive(Debug, Clone, PartialEq)]
pub enum BridgeError {
    /// The difference has no interval.
    TooLittle,
    /// No band lies far enough above the noise in both microphones.
    NoBand,
    /// What is wanted is no equaliser.
    Wanted(&'static str),
}

impl std::fmt::Display for BridgeError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            BridgeError::TooLittle => "there is too little to fit on: the difference has no interval",
            BridgeError::NoBand => {
                "no band that the sampling rate can equalise lies far enough above the noise in both microphones"
            }
            BridgeError::Wanted(what) => what,
        })
    }
}

impl std::error::Error for BridgeError {}

impl BridgeError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            BridgeError::TooLittle => {
                "record at least eight hits, or 30 s, and better two placements, with each microphone"
            }
            BridgeError::NoBand => "record louder, or in a quieter room, with some seconds of silence",
            BridgeError::Wanted(_) => {
                "a boost of 0 to 40 dB, 0 to 12 bands and a rate of 8 to 384 kHz can be had"
            }
        }
    }
}

/// Fits a correction and an equaliser to one pair on one source, for the reference to become like *against*.
///
/// # Errors
/// When what is wanted cannot be had, or there is too little to fit on.
pub fn bridge(
    pair: &PairTables,
    named: [&str; 3],
    settings: &Settings,
    wanted: &Wanted,
) -> Result<Bridge, BridgeError> {
    if !(0.0..=40.0).contains(&wanted.most_boost_db) {
        return Err(BridgeError::Wanted("the highest boost is no number of dB from 0 to 40"));
    }
    if wanted.most_bands > 12 {
        return Err(BridgeError::Wanted("more than twelve bands are no handful"));
    }
    if !(8e3..=384e3).contains(&wanted.rate_hz) {
        return Err(BridgeError::Wanted("the sampling rate lies outside 8 to 384 kHz"));
    }
    let judgement = judge(pair, settings, None);
    let known = seen(pair, &judgement, wanted.rate_hz);
    if known.is_empty() {
        let within = |b: usize| pair.bands[b].to_hz <= HIGHEST_SHARE * wanted.rate_hz;
        let any = (0..pair.bands.len()).any(|b| pair.supported[b] && within(b));
        return Err(if any { BridgeError::TooLittle } else { BridgeError::NoBand });
    }
    let correction = smoothest(&known, wanted.most_boost_db);
    let steps = fit(&known, wanted, settings.margin_db);
    let equaliser = steps[steps.len() - 1].clone();
    let reached = at_bands(&known, &equaliser, wanted.rate_hz);
    let held_out = held_out(pair, settings, wanted);
    let nothing = vec![0.0; known.len()];
    let remaining = by_band(&known, &correction, settings.margin_db);
    let after_equaliser = by_band(&known, &reached, settings.margin_db);
    let carried = |curve: &[f64], held: Option<f64>| Carried {
        remaining_rms_db: rms_db(&known, curve),
        remaining_upper_db: rms_upper_db(&known, curve),
        explained: held_out.as_ref().zip(held).and_then(|(h, with)| explained(h, with)),
        greatest: greatest(&by_band(&known, curve, settings.margin_db)),
    };
    let bands = known
        .iter()
        .zip(&remaining)
        .enumerate()
        .map(|(i, (s, r))| BridgedBand {
            from_hz: s.band.from_hz,
            to_hz: s.band.to_hz,
            wanted_db: s.difference_db,
            correction_db: correction[i],
            equaliser_db: reached[i],
            remaining: *r,
            after_equaliser: after_equaliser[i].verdict,
        })
        .collect();
    let [source, from, to] = named.map(str::to_string);
    let bought = bought(&known, &steps, wanted.rate_hz);
    Ok(Bridge {
        after_correction: carried(&correction, held_out.map(|h| h.correction_db)),
        after_equaliser: carried(&reached, held_out.map(|h| h.equaliser_db)),
        from,
        to,
        source,
        wanted: *wanted,
        margin_db: settings.margin_db,
        claim: judgement.claim,
        bands,
        difference_rms_db: rms_db(&known, &nothing),
        steps: bought
            .into_iter()
            .enumerate()
            .map(|(bands, remaining_rms_db)| Step { bands, remaining_rms_db })
            .collect(),
        equaliser,
        held_out,
    })
}

/// Share of the difference that is carried, by mean squares on held-out takes. What one held-out part is off the truth by
/// itself is taken off both. All three are means over the same bands: those that the pair's tables support, in every part.
fn explained(held: &HeldOut, with_db: f64) -> Option<f64> {
    let by_chance = held.by_chance_db.powi(2);
    let whole = held.without_db.powi(2) - by_chance;
    let left = (with_db.powi(2) - by_chance).max(0.0);
    // Where the whole is little more than chance, a share of it says nothing.
    (whole > by_chance).then(|| (1.0 - left / whole).clamp(0.0, 1.0))
}

impl Bridge {
    /// It is of this comparison.
    pub fn is_of(&self, c: &ComparisonFindings) -> bool {
        self.source == c.source && self.from == c.reference && self.to == c.against
    }

    /// The smoothest correction over frequency, 0 dB where nothing is known.
    pub fn correction(&self) -> Option<GainCurve> {
        // Bands that are not here are not known: a gap between two neighbours ends a run.
        let mut bands: Vec<(f64, f64, Option<f64>)> = Vec::new();
        for b in &self.bands {
            if let Some((_, to, _)) = bands.last().copied().filter(|(_, to, _)| b.from_hz > to * 1.001) {
                bands.push((to, b.from_hz, None));
            }
            bands.push((b.from_hz, b.to_hz, Some(b.correction_db)));
        }
        GainCurve::new(bands)
    }
}

/// Every comparison of a run, bridged side by side; those of which too little is known are left away, and of more than
/// [`MOST_BRIDGED`] all. `rate_hz` gives the sampling rate of a microphone's takes of a source: reference first, source second.
pub fn bridge_all(
    findings: &Findings,
    tables: &[PairTables],
    (most_boost_db, most_bands): (f64, usize),
    rate_hz: impl Fn(&str, &str) -> f64 + Sync,
) -> Vec<Bridge> {
    if findings.comparisons.len() > MOST_BRIDGED {
        return Vec::new();
    }
    let one = |c: &ComparisonFindings, tables: &PairTables| {
        let wanted = Wanted { most_boost_db, most_bands, rate_hz: rate_hz(&c.reference, &c.source) };
        bridge(tables, [&c.source, &c.reference, &c.against], &findings.settings, &wanted).ok()
    };
    let pairs: Vec<(&ComparisonFindings, &PairTables)> = findings.comparisons.iter().zip(tables).collect();
    each_in_parallel(&pairs, |(c, tables)| one(c, tables)).into_iter().flatten().collect()
}

/// The sampling rate at which a microphone on a source is corrected: that of the first take of it that is compared, in Hz.
/// `None` where there is none.
pub fn rate_of(takes: &[Take], source: &str, mic: &str) -> Option<u32> {
    let is_its = |t: &&Take| t.source == source && t.mic == mic && t.role == Role::Compared;
    takes.iter().find(is_its).map(|t| t.samples.rate_hz())
}
