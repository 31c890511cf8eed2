//! What a data sheet says of direction.

use super::lines::{Line, line, plain, said, with_half};
use crate::words::hertz;
use fairtake_calibrated::Quantity;
use fairtake_calibrated::direction::{BandDirection, Direction, LevelThere, Sides, Symmetry};
use fairtake_calibrated::level::Standing;
use maud::{Markup, html};

/// Octaves whose direction is given in words, in Hz.
const DIRECTION_HZ: [f64; 6] = [250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0];

/// Nominal middles of octaves from 31.5 Hz to 16 kHz.
///
/// # Source
/// IEC 61260-1, Annex (from memory).
const NOMINAL_HZ: [f64; 10] = [31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16_000.0];

/// An octave as it is spoken of.
fn nominal_hz(centre_hz: f64) -> f64 {
    NOMINAL_HZ.into_iter().find(|hz| (centre_hz / hz - 1.0).abs() < 0.1).unwrap_or(centre_hz)
}

/// Octaves in which the sides were held against each other: largest difference, its angle, root mean square, angles.
fn symmetries(d: &Direction) -> Vec<(&BandDirection, &Symmetry)> {
    d.octaves.iter().filter_map(|band| Some((band, band.symmetry.as_ref()?))).collect()
}

/// The sides against each other, band by band; nothing where one was recorded.
pub(super) fn symmetry_table(d: &Direction) -> Markup {
    let rows = symmetries(d);
    html! {
        @if !rows.is_empty() {
            div.scroll { table {
                caption { "Symmetry: one side less the other at the same angle, where neither lies 20 dB below the front" }
                thead { tr { th { "octave" } th { "largest difference" } th { "root mean square" } th.n { "angles" } } }
                tbody { @for (band, s) in rows { tr {
                    th scope="row" { (hertz(nominal_hz(band.centre_hz))) }
                    td { (with_half(&s.greatest_db, "dB")) " at " (plain(s.at_deg, 0)) "°" }
                    td { (plain(s.rms_db, 2)) " dB" }
                    td.n { (s.n_angles) }
                } } }
            } }
        }
    }
}

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
        let nominal = nominal_hz(band.centre_hz);
        if !DIRECTION_HZ.contains(&nominal) {
            continue;
        }
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
        if let Some(s) = &band.symmetry {
            held.push(format!(
                "sides apart by {} at {}°",
                with_half(&s.greatest_db, "dB"),
                plain(s.at_deg, 0)
            ));
        }
        if !held.is_empty() {
            lines.push(said(&format!("octave at {}", hertz(nominal)), held.join(", ")));
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
    use fairtake_calibrated::direction::{DirectionConditions, Turning};

    #[test]
    fn a_bound_is_told_as_one_by_the_upper_end_of_its_interval() {
        // ±0.2 dB at 95 %: the bound of −25.08 dB is −24.88 dB, rounded up.
        let budget = vec![Contribution::expanded("reading", 0.2, 1.96)];
        let level_db = Quantity::new(-25.08, budget);
        let told = |standing| re_front(&LevelThere { level_db: level_db.clone(), standing });
        assert_eq!(told(Standing::AtMost), "at most −24.8 dB");
        assert_eq!(told(Standing::Own), "−25.08 ± 0.20 dB");
    }

    #[test]
    fn sides_are_tabled_where_both_were_recorded() {
        let greatest_db = Quantity::new(-1.2, vec![Contribution::expanded("readings", 0.3, 1.96)]);
        let symmetry = Symmetry { greatest_db, at_deg: 60.0, rms_db: 0.71, n_angles: 4 };
        let band = |symmetry| BandDirection {
            centre_hz: 1000.0,
            polar: Vec::new(),
            at_90: None,
            at_180: None,
            directivity_index_db: None,
            distance_factor: None,
            front_to_back_random_db: None,
            first_order: None,
            null: None,
            symmetry,
        };
        let conditions = DirectionConditions {
            angles_deg: vec![-60.0, 0.0, 60.0],
            sides: Sides::Both,
            widest_step_deg: 60.0,
            turning: Turning {
                angle_deg: 1.0,
                zero_deg: 1.0,
                distance_mm: 1000.0,
                centre_mm: 10.0,
                reflected_db: None,
            },
        };
        let octaves = vec![band(Some(symmetry)), band(None)];
        let mut found = Direction {
            thirds: Vec::new(),
            octaves,
            front_to_random: None,
            conditions,
            cautions: Vec::new(),
        };
        let table = symmetry_table(&found).into_string();
        assert_eq!(table.matches("<tr>").count(), 2, "a head and one row: {table}");
        assert!(table.contains("−1.20 ± 0.30 dB at 60°") && table.contains("0.71 dB"), "{table}");
        assert!(direction(&found).0[0].value.contains("sides apart by −1.20 ± 0.30 dB at 60°"));
        found.octaves.remove(0);
        assert!(symmetry_table(&found).into_string().is_empty());
    }
}
