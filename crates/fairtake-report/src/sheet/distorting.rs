//! What a data sheet says of distortion.

use super::lines::{Line, plain, said, two_figures, upwards, with_half};
use crate::words::hertz;
use fairtake_calibrated::distortion::{Figure, Own, OwnPoint, Reached};
use fairtake_calibrated::sheet::DistortionSheet;

/// Frequencies at which distortion is given in words, in Hz.
const DISTORTION_HZ: [f64; 3] = [250.0, 1000.0, 4000.0];

/// The least that is told of a share, in percent.
const LEAST_PERCENT: f64 = 1e-4;

fn percent(value: f64) -> String {
    if value < LEAST_PERCENT {
        return format!("under {LEAST_PERCENT} %");
    }
    let decimals = two_figures(value);
    format!("{value:.decimals$} %")
}

/// A bound, rounded up: it is not lower than it is.
fn at_most(most: f64) -> String {
    format!("at most {} %", upwards(most.max(LEAST_PERCENT)))
}

fn figure(f: &Figure) -> String {
    match f {
        Figure::Measured(q) => with_half(q, "%"),
        Figure::AtMost(most) => at_most(*most),
    }
}

fn own(points: &[OwnPoint], hz: f64) -> Option<Vec<String>> {
    let nearest = points.iter().min_by(|a, b| (a.hz / hz).ln().abs().total_cmp(&(b.hz / hz).ln().abs()))?;
    let said =
        nearest.harmonics.iter().zip(nearest.loudspeaker_percent).enumerate().map(|(i, (own, speaker))| {
            let order = ["2nd", "3rd", "4th", "5th"][i];
            let own = match own {
                Own::Measured(q) => format!("{order} {}", with_half(q, "%")),
                Own::AtMost(most) => format!("{order} {}", at_most(*most)),
                Own::CannotBeSeparated => format!("{order} cannot be separated"),
            };
            match speaker {
                Some(speaker) => format!("{own} beside the loudspeaker's {}", percent(speaker)),
                None => own,
            }
        });
    Some(said.collect())
}

pub(super) fn distortion(d: &DistortionSheet) -> (Vec<Line>, Vec<String>) {
    let mut lines = Vec::new();
    let mut remarks = Vec::new();
    let unit = if d.full_scale_spl_db.is_some() { "dB SPL" } else { "dBFS" };
    for (limit, reached) in &d.reached {
        let value = match reached {
            Some(Reached::At(q)) => with_half(q, unit),
            Some(Reached::NotUpTo(db)) => format!("not up to {} {unit}", plain(*db, 1)),
            Some(Reached::AboveFrom(db)) => format!("reached already at {} {unit}", plain(*db, 1)),
            None => "cannot be told".to_string(),
        };
        lines.push(said(&format!("level for {limit} % at 1 kHz, with the loudspeaker's"), value));
    }
    for hz in DISTORTION_HZ {
        let found = d.loudest.at(hz).and_then(|p| p.thd.as_ref());
        if let Some(thd) = found {
            lines.push(said(&format!("THD at {}, loudest, with the loudspeaker's", hertz(hz)), figure(thd)));
        }
        if let Some(own) = own(&d.own, hz) {
            lines.push(said(&format!("its own harmonics at {}, loudest", hertz(hz)), own.join("; ")));
        }
    }
    if let (Some(first), Some(last)) = (d.over_level.first(), d.over_level.last()) {
        let mm = d.distance_mm.map_or(String::new(), |mm| format!(", {mm:.0} mm from the loudspeaker"));
        let steps = format!(
            "{} steps from {} to {} {unit} at 1 kHz{mm}",
            d.over_level.len(),
            plain(first.level_db, 0),
            plain(last.level_db, 0)
        );
        let against = d.reference_name.as_ref().map_or(String::new(), |name| format!(", against {name}"));
        lines.push(said("measured", steps + &against));
    }
    if d.full_scale_spl_db.is_none() {
        remarks.push("levels are in dBFS: sensitivity or gain is not known".into());
    }
    (lines, remarks)
}

#[cfg(test)]
mod tests {
    use super::*;
    use fairtake_calibrated::{Contribution, Quantity};

    #[test]
    fn own_harmonics_are_told_of_every_order_beside_the_loudspeakers() {
        let measured = Quantity::new(0.93, vec![Contribution::expanded("noise", 0.02, 1.96)]);
        let harmonics =
            [Own::Measured(measured), Own::AtMost(0.0123), Own::AtMost(2e-6), Own::CannotBeSeparated];
        let point =
            OwnPoint { hz: 1000.0, harmonics, loudspeaker_percent: [Some(0.05), Some(3e-5), None, None] };
        let expected = [
            "2nd 0.930 ± 0.020 % beside the loudspeaker's 0.050 %",
            "3rd at most 0.013 % beside the loudspeaker's under 0.0001 %",
            "4th at most 0.0001 %",
            "5th cannot be separated",
        ];
        assert_eq!(own(&[point], 900.0).expect("the nearest"), expected);
    }
}
