//! Repeats: the same microphone, set up and measured again.

use crate::quantity::{Contribution, Quantity};
use crate::response::{Point, Response, ResponseError};

/// The mean of repeats in dB. Its uncertainty is their spread, in which the noise of each is contained; with one alone the curve
/// stays as it is.
///
/// # Errors
/// Where there is none, or they were not made alike.
///
/// # Source
/// JCGM 100:2008 (GUM), 4.2.
pub fn average(repeats: &[Response]) -> Result<Response, ResponseError> {
    let (first, others) = repeats.split_first().ok_or(ResponseError::None)?;
    for other in others {
        let unlike = |what| Err(ResponseError::Unlike { what });
        if other.rate_hz != first.rate_hz {
            return unlike("sampling rates");
        }
        if other.settings.per_octave != first.settings.per_octave {
            return unlike("bands");
        }
        if other.level_dbfs != first.level_dbfs {
            return unlike("levels of the sweep");
        }
    }
    if others.is_empty() {
        return Ok(first.clone());
    }
    let points = first.points.iter().enumerate().map(|(i, point)| {
        let levels: Option<Vec<&Quantity>> =
            repeats.iter().map(|r| r.points.get(i).and_then(|p| p.level_db.as_ref())).collect();
        Point { level_db: levels.map(|levels| mean(&levels)), ..point.clone() }
    });
    let greatest = |of: fn(&Response) -> f64| repeats.iter().map(of).fold(f64::NEG_INFINITY, f64::max);
    Ok(Response {
        points: points.collect(),
        lowest_hz: greatest(|r| r.lowest_hz),
        delay_s: repeats.iter().map(|r| r.delay_s).sum::<f64>() / repeats.len() as f64,
        defects: repeats.iter().flat_map(|r| r.defects.iter().copied()).collect(),
        ..first.clone()
    })
}

/// The mean of repeats, each less a level of its own in dB: what one repeat reads more of everywhere falls out, and the uncertainty is the spread
/// of shapes. Against 1 kHz it is to be the level there, so that the spread at 1 kHz is not counted a second time.
///
/// # Errors
/// As [`average`].
pub fn average_less(repeats: &[Response], levels_db: &[f64]) -> Result<Response, ResponseError> {
    let less = |(response, by_db): (&Response, &f64)| {
        let mut response = response.clone();
        response.points.iter_mut().filter_map(|p| p.level_db.as_mut()).for_each(|q| q.value -= by_db);
        response
    };
    average(&repeats.iter().zip(levels_db).map(less).collect::<Vec<_>>())
}

fn mean(levels: &[&Quantity]) -> Quantity {
    let values: Vec<f64> = levels.iter().map(|q| q.value).collect();
    let value = values.iter().sum::<f64>() / values.len() as f64;
    let mut budget: Vec<Contribution> = Contribution::of_repeats(&values).into_iter().collect();
    // What is not noise is the same in every repeat, and no number of them makes it smaller.
    budget.extend(levels[0].budget.iter().filter(|part| part.from != "noise").cloned());
    Quantity::new(value, budget)
}
