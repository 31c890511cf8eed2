//! From readings to levels over distance, the fit, and what follows from it.

use super::fit::{Fit, Problem};
use super::model::{PISTON_UP_TO_KA, Source, speed_of_sound_m_s};
use super::results::{
    DistanceBand, DistanceLevels, FittedModel, Proximity, ProximityConditions, Reach, RiseDistance,
};
use super::takes::{Reading, ordered};
use super::{DistanceTake, Placing, ProximityCaution, ProximityError, RiseAsked};
use crate::bench::TEMPERATURES_C;
use crate::{Contribution, Quantity};
use fairtake_signal::units::db_to_power;

/// Bands up to here are fitted, in Hz: above, a microphone is no small receiver, and sound goes to and fro between it and the
/// loudspeaker.
const HIGHEST_HZ: f64 = 2000.0;
/// Fewest bands for a fit.
const FEWEST_BANDS: usize = 3;
/// The rise is counted from the bands in here, in Hz.
const MIDDLE_HZ: (f64, f64) = (750.0, 1350.0);
/// A piston is a point from so many times its radius on: its error is (1/2n)², 0.14 dB.
const POINT_FROM: f64 = 4.0;
/// Assumed of a reading that comes without uncertainty, in dB, until the fit shows what it leaves.
const FIRST_GUESS_DB: f64 = 0.1;
/// Smallest standard uncertainty of a level that the fit works with, in dB.
const LEAST_DB: f64 = 1e-4;

/// Proximity effect of a microphone from levels at logged distances.
///
/// # Errors
/// With too few distances, too narrow a range, contradicting doubles, levels that rise with distance, too few bands, or
/// figures that cannot be.
pub fn proximity(takes: &[DistanceTake], placing: &Placing) -> Result<Proximity, ProximityError> {
    checked(placing)?;
    let (readings, mut cautions) = ordered(takes)?;
    let source = Source {
        radius_m: placing.source_radius_mm.unwrap_or(0.0) / 1000.0,
        speed_m_s: speed_of_sound_m_s(placing.temperature_c.value),
    };
    let beams_hz = if source.radius_m > 0.0 {
        PISTON_UP_TO_KA / source.radius_m * source.speed_m_s / std::f64::consts::TAU
    } else {
        f64::INFINITY
    };
    let up_to_hz = HIGHEST_HZ.min(beams_hz);
    let bands: Vec<usize> = (0..readings[0].levels.len())
        .filter(|b| readings[0].levels[*b].centre_hz <= up_to_hz * 1.03)
        .collect();
    if bands.len() < FEWEST_BANDS {
        return Err(ProximityError::NoUsableBand { up_to_hz });
    }
    let nearest_mm = readings[0].distance_mm;
    match placing.source_radius_mm {
        None => cautions.push(ProximityCaution::SourceTakenAsPoint { figure: nearest_mm, limit: POINT_FROM }),
        Some(radius) if nearest_mm < 2.0 * radius => {
            cautions.push(ProximityCaution::NearerThanSource { figure: nearest_mm, limit: 2.0 * radius });
        }
        Some(_) => {}
    }
    let (fit, shown) = fitted(&readings, &bands, placing, source)?;
    let spread_from_fit = shown.map(|(_, df)| df);
    let readings = with_spread(readings, &bands, shown);
    cautions.extend(does_not_fit(&fit, &readings, &bands, spread_from_fit));
    let square = square_quantity(&fit, placing, spread_from_fit);
    let n_left: usize = fit.left_db.iter().map(Vec::len).sum();
    let squares_left: f64 = fit.left_db.iter().flatten().map(|l| l * l).sum();
    let model = FittedModel {
        gradient_share: root(&square),
        acoustic_centre_mm: centre(&fit, placing, spread_from_fit),
        residual_db: (squares_left / n_left as f64).sqrt(),
        used_hz: (
            readings[0].levels[bands[0]].centre_hz,
            readings[0].levels[bands[bands.len() - 1]].centre_hz,
        ),
    };
    let farthest_mm = readings[readings.len() - 1].distance_mm;
    let rises = placing
        .asked
        .iter()
        .map(|asked| rise(asked, &fit, &square, placing, spread_from_fit, &source, (nearest_mm, farthest_mm)))
        .collect();
    Ok(Proximity {
        distances: over_distance(&readings, &fit, placing, &source),
        model,
        rises,
        conditions: ProximityConditions {
            distances_mm: readings.iter().map(|r| r.distance_mm).collect(),
            speed_of_sound_m_s: source.speed_m_s,
            placing: placing.clone(),
        },
        cautions,
    })
}

fn checked(placing: &Placing) -> Result<(), ProximityError> {
    let asked = placing.asked.iter().flat_map(|a| {
        [
            ("a frequency asked for in Hz", a.frequency_hz, 10.0, 20_000.0),
            ("a rise asked for in dB", a.rise_db, 0.1, 60.0),
        ]
    });
    let figures = [
        ("tolerance of the distances in mm", placing.distance_mm, 0.0, 100.0),
        ("tolerance of their zero in mm", placing.zero_mm, 0.0, 100.0),
        ("temperature in °C", placing.temperature_c.value, TEMPERATURES_C.0, TEMPERATURES_C.1),
        ("radius of the loudspeaker in mm", placing.source_radius_mm.unwrap_or(1.0), 0.5, 500.0),
    ];
    for (what, value, from, to) in figures.into_iter().chain(asked) {
        if !(from..=to).contains(&value) {
            return Err(ProximityError::OutOfRange { what, value, from, to });
        }
    }
    Ok(())
}

/// The fit; and, where readings came without uncertainty, their standard uncertainty in dB as the fit itself shows it, and its
/// degrees of freedom.
fn fitted(
    readings: &[Reading],
    bands: &[usize],
    placing: &Placing,
    source: Source,
) -> Result<(Fit, Option<(f64, f64)>), ProximityError> {
    let distances_m: Vec<f64> = readings.iter().map(|r| r.distance_mm / 1000.0).collect();
    let bands_hz: Vec<f64> = bands.iter().map(|b| readings[0].levels[*b].centre_hz).collect();
    let all_known = readings.iter().all(|r| bands.iter().all(|b| r.levels[*b].standard_db.is_some()));
    let solve = |guess_db: f64| {
        let levels: Vec<Vec<(f64, f64)>> = readings
            .iter()
            .map(|r| {
                let of = |b: &usize| {
                    let level = &r.levels[*b];
                    let standard = level.standard_db.filter(|_| all_known).unwrap_or(guess_db);
                    (level.level_db, standard.max(LEAST_DB))
                };
                bands.iter().map(of).collect()
            })
            .collect();
        let problem = Problem {
            distances_m: &distances_m,
            bands_hz: &bands_hz,
            levels: &levels,
            distance_standard_m: Contribution::within("", placing.distance_mm / 1000.0).standard,
            source,
        };
        problem.solve().ok_or(ProximityError::NoFit)
    };
    let first = solve(FIRST_GUESS_DB)?;
    if all_known {
        return Ok((first, None));
    }
    let squares: f64 = first.left_db.iter().flatten().map(|l| l * l).sum();
    let standard_db = (squares / first.df).sqrt().max(LEAST_DB);
    let fit = solve(standard_db)?;
    let df = fit.df;
    Ok((fit, Some((standard_db, df))))
}

/// Readings with the spread that the fit shows, in the bands that it used.
fn with_spread(mut readings: Vec<Reading>, bands: &[usize], shown: Option<(f64, f64)>) -> Vec<Reading> {
    let Some((standard_db, df)) = shown else { return readings };
    for reading in &mut readings {
        for b in bands {
            let level = &mut reading.levels[*b];
            (level.standard_db, level.degrees_of_freedom) = (Some(standard_db), Some(df));
        }
    }
    readings
}

/// Beyond the upper 1 % of what readings and distances explain (normal approximation of chi-square).
fn explained(df: f64) -> f64 {
    1.0 + 2.33 * (2.0 / df).sqrt()
}

fn does_not_fit(
    fit: &Fit,
    readings: &[Reading],
    bands: &[usize],
    spread_from_fit: Option<f64>,
) -> Option<ProximityCaution> {
    if spread_from_fit.is_some() || fit.excess <= explained(fit.df) {
        return None;
    }
    let rms = |left: &[f64]| (left.iter().map(|l| l * l).sum::<f64>() / left.len() as f64).sqrt();
    let worst = (0..readings.len()).max_by(|a, b| rms(&fit.left_db[*a]).total_cmp(&rms(&fit.left_db[*b])))?;
    let all: Vec<f64> = fit.left_db.iter().flatten().copied().collect();
    let standards: Vec<f64> =
        readings.iter().flat_map(|r| bands.iter().filter_map(|b| r.levels[*b].standard_db)).collect();
    let limit = rms(&standards) * explained(fit.df).sqrt();
    Some(ProximityCaution::DoesNotFit { figure: rms(&all), limit, at_mm: readings[worst].distance_mm })
}

/// Budget of something that goes with centre (in its unit per m) and square.
fn budget(fit: &Fit, by_centre: f64, by_square: f64, spread_from_fit: Option<f64>) -> Vec<Contribution> {
    let standard = |[cc, ss, cs]: [f64; 3]| {
        (by_centre * by_centre * cc + by_square * by_square * ss + 2.0 * by_centre * by_square * cs)
            .max(0.0)
            .sqrt()
    };
    let mut parts = vec![Contribution {
        from: "readings".into(),
        standard: standard(fit.by_readings),
        degrees_of_freedom: spread_from_fit,
    }];
    if !fit.errors_m.is_empty() {
        parts.push(Contribution {
            from: "distances".into(),
            standard: standard(fit.by_distances),
            degrees_of_freedom: None,
        });
    }
    if spread_from_fit.is_none() && fit.excess > explained(fit.df) {
        let both = standard(fit.by_readings).hypot(standard(fit.by_distances));
        parts.push(Contribution {
            from: "model does not fit".into(),
            standard: both * (fit.excess - 1.0).sqrt(),
            degrees_of_freedom: Some(fit.df),
        });
    }
    parts
}

fn centre(fit: &Fit, placing: &Placing, spread_from_fit: Option<f64>) -> Quantity {
    let mut parts = budget(fit, 1000.0, 0.0, spread_from_fit);
    parts.push(Contribution::within("zero of the distances", placing.zero_mm));
    Quantity::new(1000.0 * fit.centre_m, parts)
}

/// The square of the gradient share goes with the square of the wave number, which the temperature tells.
fn square_quantity(fit: &Fit, placing: &Placing, spread_from_fit: Option<f64>) -> Quantity {
    let mut parts = budget(fit, 0.0, 1.0, spread_from_fit);
    parts.push(by_temperature(fit.square, placing));
    Quantity::new(fit.square, parts)
}

/// Wave numbers go with one over the root of the absolute temperature.
fn by_temperature(square: f64, placing: &Placing) -> Contribution {
    let part = placing.temperature_c.contribution("temperature");
    Contribution { standard: square.abs() * part.standard / (placing.temperature_c.value + 273.15), ..part }
}

/// Root of a quantity, 0 for what is negative; the interval's farther end decides.
fn root(square: &Quantity) -> Quantity {
    let of = |v: f64| v.max(0.0).sqrt();
    let value = of(square.value);
    match square.half {
        Some(half) if half > 0.0 => {
            let reach = (of(square.value + half) - value).max(value - of(square.value - half));
            let scale = reach / half;
            let parts = square.budget.iter();
            Quantity::new(
                value,
                parts.map(|p| Contribution { standard: scale * p.standard, ..p.clone() }).collect(),
            )
        }
        _ => Quantity { value, half: square.half, budget: square.budget.clone() },
    }
}

/// Near a point: 10 lg(1 + B²/(kr)²) = rise, so that r = B/(k·√(10^(rise/10) − 1)).
fn rise(
    asked: &RiseAsked,
    fit: &Fit,
    square: &Quantity,
    placing: &Placing,
    spread_from_fit: Option<f64>,
    source: &Source,
    (nearest_mm, farthest_mm): (f64, f64),
) -> RiseDistance {
    let none = RiseDistance { asked: *asked, distance_mm: None, reach: None };
    if square.half.is_none_or(|half| square.value <= half) {
        return none;
    }
    let k = source.wave_number(asked.frequency_hz);
    let r_m = square.value.sqrt() / (k * (db_to_power(asked.rise_db) - 1.0).sqrt());
    let logged_mm = 1000.0 * (r_m - fit.centre_m);
    if logged_mm <= 0.0 {
        return none;
    }
    let by_square = 1000.0 * r_m / (2.0 * square.value);
    let mut parts = budget(fit, -1000.0, by_square, spread_from_fit);
    let temperature = by_temperature(square.value, placing);
    parts.push(Contribution { standard: by_square * temperature.standard, ..temperature });
    parts.push(Contribution::within("zero of the distances", placing.zero_mm));
    let inside = (nearest_mm..=farthest_mm).contains(&logged_mm);
    RiseDistance {
        asked: *asked,
        distance_mm: Some(Quantity::new(logged_mm, parts)),
        reach: Some(if inside { Reach::Measured } else { Reach::Extrapolated }),
    }
}

/// Levels re the farthest distance, and how much more than around 1 kHz each band has risen.
fn over_distance(readings: &[Reading], fit: &Fit, placing: &Placing, source: &Source) -> Vec<DistanceLevels> {
    let far = &readings[readings.len() - 1];
    let standard_m = Contribution::within("", placing.distance_mm / 1000.0).standard;
    let bands_hz: Vec<f64> = far.levels.iter().map(|l| l.centre_hz).collect();
    let middle: Vec<usize> =
        (0..bands_hz.len()).filter(|b| (MIDDLE_HZ.0..MIDDLE_HZ.1).contains(&bands_hz[*b])).collect();
    // dB per m at a distance, by the fitted model.
    let slope = |r: &Reading, hz: f64| {
        let d = (r.distance_mm / 1000.0 + fit.centre_m).max(2e-3);
        (source.level_db(d + 1e-5, hz, fit.square) - source.level_db(d - 1e-5, hz, fit.square)) / 2e-5
    };
    // A weighted sum of bands of one distance less the same of the farthest.
    let quantity = |r: &Reading, weights: &[(usize, f64)]| {
        let value = weights.iter().map(|(b, w)| w * (r.levels[*b].level_db - far.levels[*b].level_db)).sum();
        let mut parts = Vec::new();
        for (reading, from) in [(r, "reading"), (far, "reading of the farthest")] {
            let squares: Option<f64> =
                weights.iter().map(|(b, w)| Some((w * reading.levels[*b].standard_db?).powi(2))).sum();
            let Some(squares) = squares else { return Quantity::of_unknown_uncertainty(value) };
            let along: f64 = weights.iter().map(|(b, w)| w * slope(reading, bands_hz[*b])).sum();
            let known = weights.iter().filter_map(|(b, _)| reading.levels[*b].degrees_of_freedom);
            let degrees_of_freedom = known.reduce(f64::min);
            parts.push(Contribution { from: from.to_string(), standard: squares.sqrt(), degrees_of_freedom });
            let from = format!("distance of the {from}");
            parts.push(Contribution { from, standard: along.abs() * standard_m, degrees_of_freedom: None });
        }
        Quantity::new(value, parts)
    };
    let of_band = |r: &Reading, b: usize| {
        let share = 1.0 / middle.len().max(1) as f64;
        let mut weights: Vec<(usize, f64)> = middle.iter().map(|m| (*m, -share)).collect();
        match weights.iter_mut().find(|(m, _)| *m == b) {
            Some((_, weight)) => *weight += 1.0,
            None => weights.push((b, 1.0)),
        }
        DistanceBand {
            centre_hz: bands_hz[b],
            level_db: quantity(r, &[(b, 1.0)]),
            rise_db: (!middle.is_empty()).then(|| quantity(r, &weights)),
        }
    };
    readings
        .iter()
        .map(|r| DistanceLevels {
            distance_mm: r.distance_mm,
            bands: (0..bands_hz.len()).map(|b| of_band(r, b)).collect(),
        })
        .collect()
}

#[cfg(test)]
#[path = "measure_tests.rs"]
mod tests;
