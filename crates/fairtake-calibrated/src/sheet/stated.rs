//! What a maker states beside what was measured.

use super::DataSheet;
use crate::Quantity;
use crate::bench::StatedFigures;
use crate::distortion::{Reached, level_for_thd};
use crate::microphone::Edge;
use serde::{Deserialize, Serialize};

/// Whether a stated figure agrees with what was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Agreement {
    /// It lies within the 95 % interval.
    Agrees,
    /// It lies outside.
    Differs,
    /// The interval is not known.
    Unknown,
}

/// One figure beside the measured one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BesideStated {
    /// What it is, with its unit.
    pub what: String,
    /// As stated.
    pub stated: f64,
    /// As measured; `None`: was not.
    pub measured: Option<Quantity>,
    /// Why it was not, or in what way it was; `None`: nothing is to be said.
    pub note: Option<String>,
    /// Whether they agree. Makers state a model, and this is one of it: a tolerance of 2 dB or more is usual (common practice,
    /// no source).
    pub agreement: Agreement,
}

/// Every stated figure.
pub(super) fn beside(stated: &StatedFigures, sheet: &DataSheet) -> Vec<BesideStated> {
    let noise = sheet.noise.found.as_ref();
    let range = sheet.response.found.as_ref().and_then(|r| r.ranges.iter().find(|r| r.limit_db == -10.0));
    let at = |edge: &Edge| match edge {
        Edge::At(hz) => Some(hz.clone()),
        Edge::Beyond(_) => None,
    };
    let beyond = |edge: Option<&Edge>| match edge {
        Some(Edge::Beyond(hz)) => {
            Some(format!("it has not fallen so far at {hz:.0} Hz, where the measurement ends"))
        }
        _ => None,
    };
    let (most, most_note) = highest(stated, sheet);
    let notes = [most_note, None, None, None, beyond(range.map(|r| &r.low)), beyond(range.map(|r| &r.high))];
    let rows: [(&str, Option<f64>, Option<Quantity>); 6] = [
        ("highest level at the stated distortion, dB SPL", stated.max_spl_db, most),
        (
            "sensitivity, mV/Pa",
            stated.sensitivity_mv_per_pa,
            sheet.sensitivity.found.as_ref().and_then(|s| s.mv_per_pa.clone()),
        ),
        ("equivalent noise level, dB(A)", stated.noise_dba, noise.map(|n| n.a_weighted.spl_db.clone())),
        ("equivalent noise level, BS.468, dB", stated.noise_bs468_db, noise.map(|n| n.bs468.spl_db.clone())),
        ("lowest frequency, −10 dB, Hz", stated.from_hz, range.and_then(|r| at(&r.low))),
        ("highest frequency, −10 dB, Hz", stated.to_hz, range.and_then(|r| at(&r.high))),
    ];
    rows.into_iter()
        .zip(notes)
        .filter_map(|((what, stated, measured), note)| {
            let stated = stated?;
            let agreement = match measured.as_ref().and_then(|m| Some((m.value, m.half?))) {
                None => Agreement::Unknown,
                Some((value, half)) if (stated - value).abs() <= half => Agreement::Agrees,
                Some(_) => Agreement::Differs,
            };
            Some(BesideStated { what: what.to_string(), stated, measured, note, agreement })
        })
        .collect()
}

/// Level at which distortion, the loudspeaker's included, reaches the stated limit.
fn highest(stated: &StatedFigures, sheet: &DataSheet) -> (Option<Quantity>, Option<String>) {
    let Some(found) = sheet.distortion.found.as_ref() else { return (None, None) };
    let (Some(percent), Some(spl)) = (stated.max_spl_thd_percent, found.full_scale_spl_db.as_ref()) else {
        return (None, Some("its distortion or the level of full scale is not known".into()));
    };
    match level_for_thd(&found.over_level, percent, Some(spl)) {
        Some(Reached::At(level)) => (Some(level), None),
        Some(Reached::NotUpTo(db)) => {
            (None, Some(format!("{percent} % is not reached up to {db:.0} dB SPL")))
        }
        Some(Reached::AboveFrom(db)) => {
            (None, Some(format!("{percent} % is reached already at {db:.0} dB SPL")))
        }
        None => (None, None),
    }
}
