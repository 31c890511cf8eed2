//! What a data sheet says of direction.

use super::lines::{Line, line, plain, said, signed, with_half};
use crate::words::hertz;
use fairtake_calibrated::Quantity;
use fairtake_calibrated::direction::{Apart, BandDirection, Direction, Null, NullAngle, Sides, Symmetry};
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
                caption { "Symmetry: one side less the other at the same angle, where neither lies 20 dB below the front and one at least is surely heard" }
                thead { tr { th { "octave" } th { "largest difference" } th { "root mean square" } th.n { "angles" } } }
                tbody { @for (band, s) in rows { tr {
                    th scope="row" { (hertz(nominal_hz(band.centre_hz))) }
                    td { (apart(s)) }
                    td { (plain(s.rms_db, 2)) " dB" }
                    td.n { (s.n_angles) }
                } } }
            } }
        }
    }
}

/// A level, or the upper end of its interval where walls may be in it, rounded up.
fn re_front(level_db: &Quantity, standing: Standing) -> String {
    match standing {
        Standing::Own => with_half(level_db, "dB"),
        Standing::AtMost => {
            let most = level_db.value + level_db.half.unwrap_or(0.0);
            format!("at most {} dB", plain((10.0 * most - 1e-9).ceil() / 10.0, 1))
        }
    }
}

/// Where least is heard, and the lowest level there.
fn least(null: &Null) -> String {
    let lowest = re_front(&null.lowest_db, null.standing);
    match &null.angle {
        NullAngle::At(q) => {
            let angle = with_half(q, "°").replace(" °", "°");
            format!("least at {angle}, lowest level {lowest}")
        }
        NullAngle::Between { from_deg, to_deg } => {
            format!("least between {}° and {}°, {lowest}", plain(*from_deg, 0), plain(*to_deg, 0))
        }
    }
}

/// The greatest difference of the sides and its angle; where one side is a bound, from its interval's end towards nothing, rounded so.
fn apart(s: &Symmetry) -> String {
    let at = plain(s.at_deg, 0);
    match s.apart {
        Apart::Measured => format!("{} at {at}°", signed(&s.greatest_db, "dB")),
        Apart::AtLeast => {
            let size = s.greatest_db.value.abs() - s.greatest_db.half.unwrap_or(0.0);
            let least = (10.0 * size.max(0.0) + 1e-9).floor() / 10.0;
            format!("{} dB or more at {at}°", plain(least.copysign(s.greatest_db.value), 1))
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
        held.extend(band.at_90.as_ref().map(|l| format!("at 90° {}", re_front(&l.level_db, l.standing))));
        held.extend(band.at_180.as_ref().map(|l| format!("at 180° {}", re_front(&l.level_db, l.standing))));
        let mut put = |what: &str, q: &Option<Quantity>, unit: &str| {
            held.extend(q.as_ref().map(|q| format!("{what} {}", with_half(q, unit).trim_end())));
        };
        put("directivity index", &band.directivity_index_db, "dB");
        put("distance factor", &band.distance_factor, "");
        put("front half to back half at random incidence", &band.front_to_back_random_db, "dB");
        if let Some(f) = &band.first_order {
            held.push(format!("share of the gradient {}", with_half(&f.gradient_share, "").trim_end()));
        }
        held.extend(band.null.as_ref().map(least));
        held.extend(band.symmetry.as_ref().map(|s| format!("sides apart by {}", apart(s))));
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
    use fairtake_calibrated::direction::{DirectionConditions, NullBy, Turning};

    #[test]
    fn a_bound_is_told_as_one_by_the_upper_end_of_its_interval() {
        // ±0.2 dB at 95 %: the bound of −25.08 dB is −24.88 dB, rounded up.
        let budget = vec![Contribution::expanded("reading", 0.2, 1.96)];
        let level_db = Quantity::new(-25.08, budget);
        let told = |standing| re_front(&level_db, standing);
        assert_eq!(told(Standing::AtMost), "at most −24.8 dB");
        assert_eq!(told(Standing::Own), "−25.08 ± 0.20 dB");
    }

    #[test]
    fn a_null_that_walls_hide_is_told_by_two_angles() {
        let known = |value, half| Quantity::new(value, vec![Contribution::expanded("reading", half, 1.96)]);
        let null =
            |angle, standing| Null { angle, by: NullBy::LowestLevel, lowest_db: known(-22.0, 0.2), standing };
        let hidden = null(NullAngle::Between { from_deg: 105.0, to_deg: 180.0 }, Standing::AtMost);
        assert_eq!(least(&hidden), "least between 105° and 180°, at most −21.8 dB");
        let heard = null(NullAngle::At(known(126.0, 3.0)), Standing::Own);
        assert_eq!(least(&heard), "least at 126.0 ± 3.0°, lowest level −22.00 ± 0.20 dB");
    }

    #[test]
    fn sides_are_tabled_where_both_were_recorded() {
        let greatest_db = Quantity::new(-1.2, vec![Contribution::expanded("readings", 0.3, 1.96)]);
        let apart = Apart::Measured;
        let symmetry = Symmetry { greatest_db, apart, at_deg: 60.0, rms_db: 0.71, n_angles: 4 };
        // One side at most what was read: so far apart or farther, rounded towards nothing: −1.2 + 0.3.
        assert_eq!(
            super::apart(&Symmetry { apart: Apart::AtLeast, ..symmetry.clone() }),
            "−0.9 dB or more at 60°"
        );
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
                temperature_c: 20.0,
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
