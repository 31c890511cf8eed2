//! What a check says that a defect does, held against what it did: the same trial with and without the dose.

use crate::scene::{self, DOSES, Dose, Scene, Size};
use crate::sound::Kind;
use fairtake_compare::{LeftOut, Measurement, TakeMeasure};

/// Trials of each dose.
const N_TRIALS: u64 = 20;
/// Checks that say a number.
const SAYING: [&str; 6] = ["clipped", "dc", "hum", "limiting", "distance", "order_drift"];
/// Bands of the lowest octave at twelve to the octave.
const OCTAVE: usize = 12;

/// Prints the table.
pub fn table() {
    println!("| check | source | dose | said | middle said | middle true | middle error | largest error |");
    println!("|---|---|---|---|---|---|---|---|");
    for dose in DOSES.into_iter().filter(|d| SAYING.contains(&d.code) && d.form != "witness") {
        for (kind, kind_name) in [(Kind::Percussive, "percussive"), (Kind::Sustained, "sustained")] {
            for (size, size_name) in [(Size::Mild, "mild"), (Size::Gross, "gross")] {
                let n = if dose.scene == Scene::Order { N_TRIALS / 2 } else { N_TRIALS };
                let pairs: Vec<(f64, f64)> =
                    (0..n).filter_map(|i| said_and_true(dose, size, kind, 7001 + i)).collect();
                let middle = |of: &dyn Fn(&(f64, f64)) -> f64| {
                    let mut all: Vec<f64> = pairs.iter().map(of).collect();
                    all.sort_by(f64::total_cmp);
                    all.get(all.len() / 2).map_or("–".to_string(), |v| format!("{v:.2}"))
                };
                let worst = pairs.iter().map(|(s, t)| (s - t).abs()).max_by(f64::total_cmp);
                let worst = worst.map_or("–".to_string(), |v| format!("{v:.2}"));
                println!(
                    "| {} | {kind_name} | {size_name} | {} of {n} | {} | {} | {} | {worst} |",
                    dose.code,
                    pairs.len(),
                    middle(&|p| p.0),
                    middle(&|p| p.1),
                    middle(&|p| (p.0 - p.1).abs()),
                );
            }
        }
    }
}

/// `None` where the check says no number.
fn said_and_true(dose: Dose, size: Size, kind: Kind, seed: u64) -> Option<(f64, f64)> {
    let run = |dosed| crate::run(&scene::takes(dose.scene, kind, seed, dosed), kind).ok();
    let spoilt = run(Some((dose, size)))?;
    let check = spoilt.findings.checks.iter().find(|c| c.code == dose.code)?;
    let said = |phrase: &str| number_after(&check.text, phrase);
    match dose.code {
        "order_drift" => Some((check.measured?, 4.0 * f64::from(scene::drift_db(size)))),
        "distance" => {
            let moved = said(if check.text.starts_with('b') { "b " } else { "a " })?;
            Some((moved, f64::from(scene::nearer_mm(size))))
        }
        "clipped" => Some((said("lower by ")?, left_out_lowers(&run(None)?, &spoilt)?)),
        "dc" => Some((said("octave by ")?, ratio_db(&run(None)?, &spoilt, lowest_octave)?)),
        "hum" => {
            let band = band_at(said("a band at ")?);
            Some((
                said("Hz has ")?,
                ratio_db(&run(None)?, &spoilt, |m| Some(m.noise.as_ref()?.band_power[band]))?,
            ))
        }
        "limiting" => Some((said("strong events ")?, gain_of_strong(&run(None)?, &spoilt)?)),
        _ => None,
    }
}

fn number_after(text: &str, phrase: &str) -> Option<f64> {
    let rest = &text[text.find(phrase)? + phrase.len()..];
    rest.split_whitespace().next()?.replace('−', "-").parse().ok()
}

/// Of the first take: mean loudness of all clean events less that of those that did not clip.
fn left_out_lowers(clean: &Measurement, spoilt: &Measurement) -> Option<f64> {
    let (clean, spoilt) = (&clean.measures[0].events, &spoilt.measures[0].events);
    (clean.len() == spoilt.len()).then_some(())?;
    let mean = |keep: &dyn Fn(usize) -> bool| {
        let kept: Vec<f64> = (0..clean.len()).filter(|i| keep(*i)).map(|i| clean[i].loudness_db).collect();
        kept.iter().sum::<f64>() / kept.len() as f64
    };
    let lowered =
        mean(&|i| clean[i].left_out.is_none()) - mean(&|i| spoilt[i].left_out != Some(LeftOut::Clipped));
    lowered.is_finite().then_some(lowered)
}

fn lowest_octave(m: &TakeMeasure) -> Option<f64> {
    let rows = m.band_energy.chunks(m.n_bands);
    Some(rows.map(|row| row[..OCTAVE].iter().sum::<f64>()).sum::<f64>() / m.events.len() as f64)
}

fn ratio_db(
    clean: &Measurement,
    spoilt: &Measurement,
    of: impl Fn(&TakeMeasure) -> Option<f64>,
) -> Option<f64> {
    Some(10.0 * (of(&spoilt.measures[0])? / of(&clean.measures[0])?).log10())
}

/// Band of the standard set, twelve to the octave, that holds a frequency: band edges lie at 1000 Hz · G^(k/12).
fn band_at(hz: f64) -> usize {
    let edge = |hz: f64| (40.0 * (hz / 1000.0).log10()).floor();
    // 20.5 Hz is the middle of the lowest band.
    (edge(hz) - edge(20.5)) as usize
}

/// Of the second microphone: what the limiter did to loudness, as a line over the strength that the first one heard, from
/// the softest tenth to the strongest.
fn gain_of_strong(clean: &Measurement, spoilt: &Measurement) -> Option<f64> {
    let loudness = |m: &Measurement, i: usize| -> Vec<f64> {
        m.measures[i].events.iter().map(|e| e.loudness_db).collect()
    };
    let (strength, free, held) = (loudness(clean, 0), loudness(clean, 1), loudness(spoilt, 1));
    (strength.len() == held.len() && free.len() == held.len()).then_some(())?;
    let n = strength.len() as f64;
    let gain: Vec<f64> = held.iter().zip(&free).map(|(h, f)| h - f).collect();
    let (mean_s, mean_g) = (strength.iter().sum::<f64>() / n, gain.iter().sum::<f64>() / n);
    let (mut sxy, mut sxx) = (0.0, 0.0);
    for (s, g) in strength.iter().zip(&gain) {
        sxy += (s - mean_s) * (g - mean_g);
        sxx += (s - mean_s).powi(2);
    }
    let mut sorted = strength;
    sorted.sort_by(f64::total_cmp);
    let at = |share: f64| sorted[((sorted.len() - 1) as f64 * share).round() as usize];
    Some(sxy / sxx * (at(0.9) - at(0.1)))
}
