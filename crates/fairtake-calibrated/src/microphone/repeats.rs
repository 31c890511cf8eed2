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
    joined(repeats, mean)
}

/// Several sweeps of one setting-up as one: their mean in dB, with the noise of a mean. What another setting-up would change is in none of
/// them, so their spread says nothing of it.
///
/// # Errors
/// As [`average`].
pub fn one_setting_up(sweeps: &[Response]) -> Result<Response, ResponseError> {
    joined(sweeps, mean_of_one_setting_up)
}

fn joined(repeats: &[Response], mean: fn(&[&Quantity]) -> Quantity) -> Result<Response, ResponseError> {
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
/// As [`average`], and where there is not one level for each.
pub fn average_less(repeats: &[Response], levels_db: &[f64]) -> Result<Response, ResponseError> {
    if repeats.len() != levels_db.len() {
        return Err(ResponseError::Unlike { what: "numbers of curves and of levels" });
    }
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

fn mean_of_one_setting_up(levels: &[&Quantity]) -> Quantity {
    let n = levels.len() as f64;
    let value = levels.iter().map(|q| q.value).sum::<f64>() / n;
    let (noise, mut budget): (Vec<Contribution>, Vec<Contribution>) =
        levels[0].budget.iter().cloned().partition(|part| part.from == "noise");
    let all = || levels.iter().flat_map(|q| &q.budget).filter(|part| part.from == "noise");
    budget.extend(noise.into_iter().map(|first| Contribution {
        standard: all().map(|part| part.standard.powi(2)).sum::<f64>().sqrt() / n,
        // Those of the sum are no fewer than those of the worst.
        degrees_of_freedom: all().filter_map(|part| part.degrees_of_freedom).reduce(f64::min),
        ..first
    }));
    Quantity::new(value, budget)
}
