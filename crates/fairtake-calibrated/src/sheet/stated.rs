//! What a maker states beside what was measured.

use super::DataSheet;
use crate::Quantity;
use crate::bench::StatedFigures;
use crate::distortion::{Reached, level_for_thd};
use crate::level::{NoiseLevel, Standing};
use crate::microphone::{Edge, effective_range};
use serde::{Deserialize, Serialize};

/// Whether a stated figure agrees with what was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Agreement {
    /// It lies within the 95 % interval.
    Agrees,
    /// It lies outside.
    Differs,
    /// The interval is not known, or what was measured is a bound on whose open side it lies.
    Unknown,
}

/// What a measured figure says of the microphone's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Bound {
    /// It is that.
    Own,
    /// The microphone's own is at most that.
    AtMost,
    /// The microphone's own is at least that.
    AtLeast,
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
    /// What the measured figure says of the microphone's own.
    pub bound: Bound,
    /// Why it was not measured, or is a bound only; `None`: nothing is to be said.
    pub note: Option<String>,
    /// Whether they agree. Makers state a model, and this is one of it: a tolerance of 2 dB or more is usual (common practice,
    /// no source).
    pub agreement: Agreement,
}

/// What was measured of a figure.
struct Known {
    measured: Option<Quantity>,
    bound: Bound,
    note: Option<String>,
}

impl Known {
    fn own(measured: Option<Quantity>) -> Known {
        Known { measured, bound: Bound::Own, note: None }
    }

    fn bounded(bound: Bound, measured: Quantity, note: &str) -> Known {
        Known { measured: Some(measured), bound, note: Some(note.into()) }
    }

    fn not(why: &str) -> Known {
        Known { measured: None, bound: Bound::Own, note: Some(why.into()) }
    }

    fn agreement(&self, stated: f64) -> Agreement {
        let Some(q) = &self.measured else { return Agreement::Unknown };
        let half = q.half.unwrap_or(0.0);
        match self.bound {
            Bound::Own if q.half.is_none() => Agreement::Unknown,
            Bound::Own if (stated - q.value).abs() <= half => Agreement::Agrees,
            Bound::AtMost if stated <= q.value + half => Agreement::Unknown,
            Bound::AtLeast if stated >= q.value - half => Agreement::Unknown,
            _ => Agreement::Differs,
        }
    }
}

/// Every stated figure.
pub(super) fn beside(stated: &StatedFigures, sheet: &DataSheet) -> Vec<BesideStated> {
    let noise = sheet.noise.found.as_ref();
    let sensitivity = sheet.sensitivity.found.as_ref().and_then(|s| s.mv_per_pa.clone());
    let edges = |low: bool| edge(stated, sheet, low);
    let rows: [(&str, Option<f64>, Known); 6] = [
        ("sensitivity, mV/Pa", stated.sensitivity_mv_per_pa, Known::own(sensitivity)),
        ("equivalent noise level, dB(A)", stated.noise_dba, noise_level(noise.map(|n| &n.a_weighted))),
        ("equivalent noise level, BS.468, dB", stated.noise_bs468_db, noise_level(noise.map(|n| &n.bs468))),
        ("highest level at the stated distortion, dB SPL", stated.max_spl_db, highest(stated, sheet)),
        ("lowest frequency, Hz", stated.from_hz, edges(true)),
        ("highest frequency, Hz", stated.to_hz, edges(false)),
    ];
    rows.into_iter()
        .filter_map(|(what, stated, known)| {
            let stated = stated?;
            let agreement = known.agreement(stated);
            let Known { measured, bound, note } = known;
            Some(BesideStated { what: what.to_string(), stated, measured, bound, note, agreement })
        })
        .collect()
}

fn noise_level(level: Option<&NoiseLevel>) -> Known {
    match level {
        Some(NoiseLevel { spl_db, standing: Standing::AtMost, .. }) => {
            Known::bounded(Bound::AtMost, spl_db.clone(), "other noise may be in it")
        }
        level => Known::own(level.map(|n| n.spl_db.clone())),
    }
}

/// Where the response falls below the maker's limit for good.
fn edge(stated: &StatedFigures, sheet: &DataSheet, low: bool) -> Known {
    let Some(own) = sheet.response.found.as_ref().and_then(|r| r.own.as_ref()) else {
        return Known::own(None);
    };
    let Some(limit_db) = stated.range_db else {
        return Known::not("how far the response may have fallen there is not logged (range_db)");
    };
    let range = effective_range(&own.points, -limit_db);
    match range.map(|r| if low { r.low } else { r.high }) {
        Some(Edge::At(hz)) => Known::own(Some(hz)),
        Some(Edge::Beyond(hz)) => {
            let bound = if low { Bound::AtMost } else { Bound::AtLeast };
            Known::bounded(bound, Quantity::of_unknown_uncertainty(hz), "the measurement ends there")
        }
        None => Known::own(None),
    }
}

/// Level at which distortion reaches the stated limit. The loudspeaker's is in it, which adds to the microphone's or takes from it as
/// their phases are: neither is a bound of the other.
fn highest(stated: &StatedFigures, sheet: &DataSheet) -> Known {
    let Some(found) = sheet.distortion.found.as_ref() else { return Known::own(None) };
    let (Some(percent), Some(spl)) = (stated.max_spl_thd_percent, found.full_scale_spl_db.as_ref()) else {
        return Known::not("its distortion or the level of full scale is not known");
    };
    match level_for_thd(&found.over_level, percent, Some(spl)) {
        Some(Reached::At(level)) => {
            let half = level.half.map_or(String::new(), |half| format!(" ± {half:.1}"));
            Known::not(&format!(
                "{percent} % at {:.1}{half} dB SPL, the loudspeaker's distortion included",
                level.value
            ))
        }
        Some(Reached::NotUpTo(db)) => Known::not(&format!(
            "under {percent} % up to {db:.1} dB SPL, the loudspeaker's distortion included"
        )),
        Some(Reached::AboveFrom(db)) => Known::not(&format!(
            "{percent} % is reached already at {db:.1} dB SPL, the loudspeaker's distortion included"
        )),
        None => Known::own(None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Contribution;

    #[test]
    fn a_bound_speaks_only_against_what_lies_beyond_it() {
        let q = || Quantity::new(10.0, vec![Contribution::within("a ruler", 1.0)]);
        let half = q().half.expect("known");
        let (near, under, over) = (10.0 + 0.9 * half, 10.0 - 1.1 * half, 10.0 + 1.1 * half);
        let of = |bound, stated| Known { bound, ..Known::own(Some(q())) }.agreement(stated);
        assert_eq!(
            [near, under, over].map(|s| of(Bound::Own, s)),
            [Agreement::Agrees, Agreement::Differs, Agreement::Differs]
        );
        assert_eq!(
            [near, under, over].map(|s| of(Bound::AtMost, s)),
            [Agreement::Unknown, Agreement::Unknown, Agreement::Differs]
        );
        assert_eq!(
            [near, under, over].map(|s| of(Bound::AtLeast, s)),
            [Agreement::Unknown, Agreement::Differs, Agreement::Unknown]
        );
        assert_eq!(Known::own(None).agreement(10.0), Agreement::Unknown);
        assert_eq!(
            Known::own(Some(Quantity::of_unknown_uncertainty(10.0))).agreement(10.0),
            Agreement::Unknown
        );
    }
}
