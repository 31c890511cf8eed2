//! What a data sheet says of direction.

use super::lines::{Line, line, plain, said, signed, with_half};
use crate::content::{Cell, Column, Kind, Table};
use crate::words::hertz;
use fairtake_calibrated::Quantity;
use fairtake_calibrated::direction::{Apart, BandDirection, Direction, Null, NullAngle, Sides, Symmetry};
use fairtake_calibrated::level::Standing;

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

/// What is said above the table of octaves.
const CAPTION: &str = "Octave by octave; levels are re the front. Sides: levels at positive angles less those at negative ones, where neither lies \
                       20 dB below the front and one at least is surely heard";

/// A row of the table of octaves: what it holds, and how an octave says it.
type Row = (&'static str, fn(&BandDirection) -> Option<String>);

/// A number without a unit, with its half width.
fn bare(q: &Quantity) -> String {
    with_half(q, "").trim_end().to_string()
}

/// Rows of the table of octaves.
const ROWS: [Row; 10] = [
    ("at 90°", |b| b.at_90.as_ref().map(|l| re_front(&l.level_db, l.standing))),
    ("at 180°", |b| b.at_180.as_ref().map(|l| re_front(&l.level_db, l.standing))),
    ("directivity index", |b| b.directivity_index_db.as_ref().map(|q| with_half(q, "dB"))),
    ("distance factor", |b| b.distance_factor.as_ref().map(bare)),
    ("front half to back half at random incidence", |b| {
        b.front_to_back_random_db.as_ref().map(|q| with_half(q, "dB"))
    }),
    ("share of the gradient", |b| b.first_order.as_ref().map(|f| bare(&f.gradient_share))),
    ("least heard", |b| b.null.as_ref().map(least)),
    ("lowest level", |b| b.null.as_ref().map(|n| re_front(&n.lowest_db, n.standing))),
    ("largest difference of the sides", |b| b.symmetry.as_ref().map(apart)),
    ("root mean square of their differences", |b| {
        let of = |s: &Symmetry| Some(format!("{} dB of {}", plain(s.rms_db?, 2), angles(s.n_angles)));
        b.symmetry.as_ref().and_then(of)
    }),
];

/// What was found octave by octave; rows of which no octave knows anything are left out.
pub(super) fn by_octave(d: &Direction) -> Option<Table> {
    // By its nominal middle, as it is spoken of.
    let spoken = |band: &&BandDirection| DIRECTION_HZ.contains(&nominal_hz(band.centre_hz));
    let known = |band: &&BandDirection| ROWS.iter().any(|(_, of)| of(band).is_some());
    let octaves: Vec<&BandDirection> = d.octaves.iter().filter(spoken).filter(known).collect();
    let row = |(what, of): &Row| -> Option<Vec<Cell>> {
        let cells: Vec<Option<String>> = octaves.iter().map(|band| of(band)).collect();
        let is_known = cells.iter().any(Option::is_some);
        let cells = cells.into_iter().map(|cell| Cell::Text(cell.unwrap_or_else(|| "–".to_string())));
        is_known.then(|| std::iter::once((*what).into()).chain(cells).collect())
    };
    let heads =
        octaves.iter().map(|band| Column { name: hertz(nominal_hz(band.centre_hz)), kind: Kind::Keep });
    let first = Column { name: "octave at".to_string(), kind: Kind::Head };
    (!octaves.is_empty()).then(|| Table {
        caption: Some(CAPTION.to_string()),
        columns: std::iter::once(first).chain(heads).collect(),
        rows: ROWS.iter().filter_map(row).collect(),
    })
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

fn angles(n: usize) -> String {
    if n == 1 { "1 angle".to_string() } else { format!("{n} angles") }
}

/// Where least is heard.
fn least(null: &Null) -> String {
    match &null.angle {
        NullAngle::At(q) => format!("at {}", with_half(q, "°").replace(" °", "°")),
        NullAngle::Between { from_deg, to_deg } => {
            format!("between {}° and {}°", plain(*from_deg, 0), plain(*to_deg, 0))
        }
    }
}

/// The greatest difference of the sides and its angle; where a side is a bound anywhere, from its interval's end towards nothing, rounded so.
fn apart(s: &Symmetry) -> String {
    let at = plain(s.at_deg, 0);
    match s.apart {
        Apart::Measured => format!("{} at {at}°", signed(&s.greatest_db, "dB")),
        Apart::AtLeast => {
            let size = s.greatest_db.value.abs() - s.greatest_db.half.unwrap_or(0.0);
            let least = (10.0 * size.max(0.0) + 1e-9).floor() / 10.0;
            format!("{} dB or farther apart at {at}°", plain(least.copysign(s.greatest_db.value), 1))
        }
    }
}

pub(super) fn direction(d: &Direction) -> (Vec<Line>, Vec<String>) {
    let mut lines = Vec::new();
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
        assert_eq!(least(&hidden), "between 105° and 180°");
        assert_eq!(re_front(&hidden.lowest_db, hidden.standing), "at most −21.8 dB");
        let heard = null(NullAngle::At(known(126.0, 3.0)), Standing::Own);
        assert_eq!(least(&heard), "at 126.0 ± 3.0°");
    }

    fn text(cell: &Cell) -> &str {
        match cell {
            Cell::Text(text) => text,
            _ => panic!("no text: {cell:?}"),
        }
    }

    #[test]
    fn sides_are_tabled_where_both_were_recorded() {
        let greatest_db = Quantity::new(-1.2, vec![Contribution::expanded("readings", 0.3, 1.96)]);
        let apart = Apart::Measured;
        let symmetry = Symmetry { greatest_db, apart, at_deg: 60.0, rms_db: Some(0.71), n_angles: 4 };
        // A side at most what was read: so far apart or farther, rounded towards nothing: −1.2 + 0.3.
        assert_eq!(
            super::apart(&Symmetry { apart: Apart::AtLeast, ..symmetry.clone() }),
            "−0.9 dB or farther apart at 60°"
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
        let table = by_octave(&found).expect("one octave is known");
        assert_eq!(table.columns.len(), 2, "the octave of which nothing is known has no column: {table:?}");
        let told: Vec<[&str; 2]> = table.rows.iter().map(|row| [text(&row[0]), text(&row[1])]).collect();
        assert_eq!(
            told,
            [
                ["largest difference of the sides", "−1.20 ± 0.30 dB at 60°"],
                ["root mean square of their differences", "0.71 dB of 4 angles"]
            ]
        );
        found.octaves.remove(0);
        assert_eq!(by_octave(&found), None);
    }
}
