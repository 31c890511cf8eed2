//! What a data sheet says of direction.

use super::lines::{Line, line, plain, said, with_half};
use crate::words::hertz;
use fairtake_calibrated::Quantity;
use fairtake_calibrated::direction::{Direction, LevelThere, Sides};
use fairtake_calibrated::level::Standing;

/// Octaves whose direction is given in words, in Hz.
const DIRECTION_HZ: [f64; 6] = [250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0];

/// A level, or the upper end of its interval where walls may be in it, rounded up.
fn re_front(l: &LevelThere) -> String {
    match l.standing {
        Standing::Own => with_half(&l.level_db, "dB"),
        Standing::AtMost => {
            let most = l.level_db.value + l.level_db.half.unwrap_or(0.0);
            format!("at most {} dB", plain((10.0 * most - 1e-9).ceil() / 10.0, 1))
        }
    }
}

pub(super) fn direction(d: &Direction) -> (Vec<Line>, Vec<String>) {
    let mut lines = Vec::new();
    for band in &d.octaves {
        // By its nominal middle, as it is spoken of.
        let nominal = DIRECTION_HZ.iter().find(|hz| (band.centre_hz / **hz - 1.0).abs() < 0.1);
        let Some(nominal_hz) = nominal else { continue };
        let mut held = Vec::new();
        held.extend(band.at_90.as_ref().map(|l| format!("at 90° {}", re_front(l))));
        held.extend(band.at_180.as_ref().map(|l| format!("at 180° {}", re_front(l))));
        let mut put = |what: &str, q: &Option<Quantity>| {
            held.extend(q.as_ref().map(|q| format!("{what} {}", with_half(q, "dB"))));
        };
        put("directivity index", &band.directivity_index_db);
        put("front half to back half at random incidence", &band.front_to_back_random_db);
        if let Some(f) = &band.first_order {
            held.push(format!("share of the gradient {}", with_half(&f.gradient_share, "").trim_end()));
        }
        if let Some(n) = &band.null {
            held.push(format!("least at {}", with_half(&n.angle_deg, "°").replace(" °", "°")));
        }
        if !held.is_empty() {
            lines.push(said(&format!("octave at {}", hertz(*nominal_hz)), held.join(", ")));
        }
    }
    if let Some(f) = &d.front_to_random {
        let what = format!("front-to-random index, {} to {}", hertz(f.from_hz), hertz(f.to_hz));
        lines.push(line(&what, &f.index_db, "dB"));
    }
    let c = &d.conditions;
    let sides = if c.sides == Sides::Both { "both sides" } else { "one side" };
    lines.push(said(
        "measured",
        format!(
            "{} angles on {sides}, {:.0}° apart at most, {:.0} mm from the loudspeaker",
            c.angles_deg.len(),
            c.widest_step_deg,
            c.turning.distance_mm
        ),
    ));
    (lines, d.cautions.iter().map(|c| c.words()).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use fairtake_calibrated::Contribution;

    #[test]
    fn a_bound_is_told_as_one_by_the_upper_end_of_its_interval() {
        // ±0.2 dB at 95 %: the bound of −25.08 dB is −24.88 dB, rounded up.
        let budget = vec![Contribution::expanded("reading", 0.2, 1.96)];
        let level_db = Quantity::new(-25.08, budget);
        let told = |standing| re_front(&LevelThere { level_db: level_db.clone(), standing });
        assert_eq!(told(Standing::AtMost), "at most −24.8 dB");
        assert_eq!(told(Standing::Own), "−25.08 ± 0.20 dB");
    }
}
