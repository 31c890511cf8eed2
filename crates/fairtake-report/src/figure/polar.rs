//! Polar diagrams: level over the angle at which sound comes, front at the top.

use super::canvas::escaped;
use super::plot::N_HUES;
use fairtake_calibrated::direction::{BandDirection, Direction, DirectionCaution};
use std::fmt::Write;

/// Octaves that are drawn, in Hz.
const DRAWN_HZ: [f64; 4] = [500.0, 1000.0, 4000.0, 8000.0];
/// Level in the middle of the picture, in dB re the front.
const LOWEST_DB: f64 = -30.0;
/// Rings, in dB re the front.
const RINGS_DB: [f64; 3] = [0.0, -10.0, -20.0];
/// Points further apart than this are not joined, in degrees.
const JOINED_DEG: f64 = 30.0;
/// Size of the picture, its middle, the radius of 0 dB and the height of letters, in px.
const SIZE: (f64, f64) = (480.0, 390.0);
const MIDDLE: (f64, f64) = (205.0, 195.0);
const RADIUS: f64 = 150.0;
const LETTER: f64 = 12.0;

/// The SVG of a microphone's polar diagram. `None` where no octave of those drawn was measured.
pub fn draw_polar(name: &str, direction: &Direction) -> Option<String> {
    // By their nominal middles, as they are spoken of.
    let drawn: Vec<(f64, &BandDirection)> = DRAWN_HZ
        .iter()
        .filter_map(|hz| {
            Some((*hz, direction.octaves.iter().find(|b| (b.centre_hz / hz - 1.0).abs() < 0.1)?))
        })
        .collect();
    if drawn.is_empty() {
        return None;
    }
    let mut out = String::new();
    let (x0, y0) = MIDDLE;
    for db in RINGS_DB {
        let r = radius(db);
        let _ = write!(out, "<circle cx=\"{x0}\" cy=\"{y0}\" r=\"{r:.1}\" fill=\"none\" class=\"grid\"/>");
        let said = format!("{db:.0}").replace('-', "−");
        let _ = write!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" class=\"quiet\">{said}</text>",
            x0 + 3.0,
            y0 - r - 2.0
        );
    }
    if let Some(limit_db) = may_be_reflected(direction) {
        let r = radius(limit_db.min(0.0));
        let _ = write!(
            out,
            "<circle cx=\"{x0}\" cy=\"{y0}\" r=\"{r:.1}\" fill=\"none\" class=\"grid\" stroke-dasharray=\"4 3\"/>"
        );
    }
    for angle_deg in [0.0, 45.0, 90.0, 135.0, 180.0, -135.0, -90.0, -45.0] {
        let (x, y) = place(angle_deg, 0.0);
        let _ = write!(out, "<line x1=\"{x0}\" y1=\"{y0}\" x2=\"{x:.1}\" y2=\"{y:.1}\" class=\"grid\"/>");
        let (x, y) = place(angle_deg, 4.5);
        let said = format!("{angle_deg:.0}°").replace('-', "−");
        let _ = write!(
            out,
            "<text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\" class=\"quiet\">{said}</text>",
            y + 4.0
        );
    }
    for (i, (hz, band)) in drawn.iter().enumerate() {
        let class = format!("curve hue{}", i % N_HUES);
        let _ = write!(out, "<path d=\"{}\" class=\"{class}\" fill=\"none\"/>", path(band));
        let y = 24.0 + 1.6 * LETTER * i as f64;
        let x = SIZE.0 - 96.0;
        let _ = write!(
            out,
            "<line x1=\"{x}\" y1=\"{y:.1}\" x2=\"{:.1}\" y2=\"{y:.1}\" class=\"{class}\"/>",
            x + 22.0
        );
        let said = crate::words::hertz(*hz);
        let _ = write!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" class=\"quiet\">{}</text>",
            x + 27.0,
            y + 4.0,
            escaped(&said)
        );
    }
    Some(format!(
        "<svg class=\"corridor polar\" xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"{}\" \
         font-size=\"{LETTER}\">{out}</svg>",
        SIZE.0,
        SIZE.1,
        escaped(&format!("Polar diagram of {name} in dB re the front"))
    ))
}

/// Levels below this, in dB re the front, may be what walls reflect.
pub fn may_be_reflected(direction: &Direction) -> Option<f64> {
    direction.cautions.iter().find_map(|c| match c {
        DirectionCaution::MayBeReflected { limit, .. } => Some(*limit),
        _ => None,
    })
}

fn radius(db: f64) -> f64 {
    RADIUS * (1.0 - db.max(LOWEST_DB) / LOWEST_DB)
}

/// Where a level at an angle lies: the front is up, positive angles go clockwise.
fn place(angle_deg: f64, db: f64) -> (f64, f64) {
    let (sin, cos) = angle_deg.to_radians().sin_cos();
    (MIDDLE.0 + radius(db) * sin, MIDDLE.1 - radius(db) * cos)
}

/// Measured points in order of their angle, joined where they lie near enough.
fn path(band: &BandDirection) -> String {
    let mut points: Vec<(f64, f64)> = band.polar.iter().map(|p| (p.angle_deg, p.level_db.value)).collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut out = String::new();
    let mut before: Option<f64> = None;
    for (angle_deg, db) in &points {
        let (x, y) = place(*angle_deg, *db);
        let joined = before.is_some_and(|b| angle_deg - b <= JOINED_DEG);
        let _ = write!(out, "{}{x:.1} {y:.1}", if joined { "L" } else { "M" });
        before = Some(*angle_deg);
    }
    // Both sides meet behind.
    if let (Some(first), Some(last)) = (points.first(), points.last())
        && points.len() > 2
        && first.0 + 360.0 - last.0 <= JOINED_DEG
        && last.0 < 180.0
    {
        out.push('Z');
    }
    out
}
