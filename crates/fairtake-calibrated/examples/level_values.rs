//! Levels, directions and distances as JSON, for `outside/levels.py`, which computes every value a second time with other
//! people's code. Inputs stand beside the values.

use fairtake_calibrated::direction::{AngleTake, Turning, direction};
use fairtake_calibrated::level::{
    Chain, Conditions, NoiseTake, QuasiPeak, Sensitivity, SoundField, Stated, bs468_filter, bs468_weighted,
    self_noise, tone,
};
use fairtake_calibrated::proximity::{DistanceTake, Placing, RiseAsked, proximity};
use fairtake_calibrated::{BandLevel, Contribution, Quantity};
use fairtake_virtual_studio::bench::calibrator::ToneTake;
use fairtake_virtual_studio::bench::distance::DistanceRun;
use fairtake_virtual_studio::bench::self_noise::SelfNoise;
use fairtake_virtual_studio::bench::turntable::{Pattern, TurntableRun};
use serde_json::{Value, json};

fn main() {
    let mut rows = tones();
    rows.push(noise());
    rows.push(bursts());
    rows.extend(directions());
    rows.extend(distances());
    println!("{}", Value::from(rows));
}

fn tones() -> Vec<Value> {
    let made = |level, rate_hz, frequency_hz, overtones| ToneTake {
        rate_hz,
        frequency_hz,
        overtones,
        seconds: 4.0,
        ..ToneTake::good(level)
    };
    [made(-20.0, 8000, 1003.3, [0.02, 0.01]), made(-6.0, 16_000, 991.7, [0.0, 0.004])]
        .iter()
        .map(|take| {
            let samples = take.samples(5);
            let found = tone(&samples, take.rate_hz, 1000.0).expect("a good tone");
            json!({
                "kind": "tone", "rate_hz": take.rate_hz, "samples": samples, "level_dbfs": found.level_dbfs,
                "frequency_hz": found.frequency_hz, "distortion_percent": found.distortion_percent,
            })
        })
        .collect()
}

fn noise() -> Value {
    let made = SelfNoise { hum: Some((50.0, 3e-5)), ..SelfNoise::clean(32_000) };
    let samples = made.samples(6.0, 3);
    let dbfs_per_pa = Quantity::new(
        -30.0,
        vec![Contribution { from: "known".into(), standard: 0.1, degrees_of_freedom: None }],
    );
    let sensitivity = Sensitivity {
        full_scale_spl_db: Quantity { value: 123.9794, ..dbfs_per_pa.clone() },
        dbfs_per_pa,
        mv_per_pa: None,
        db_re_1v_per_pa: None,
        conditions: Conditions {
            frequency_hz: 1000.0,
            field: SoundField::FreeField,
            spl_db: None,
            static_pressure_kpa: None,
            distance_mm: None,
            n_takes: 1,
            chain: Chain::UNKNOWN,
        },
        cautions: Vec::new(),
    };
    let take = NoiseTake { samples: &samples, rate_hz: 32_000, chain_alone: None, beside: None };
    let found = self_noise(&take, &sensitivity).expect("good silence");
    let thirds: Vec<Value> = found
        .thirds
        .iter()
        .filter_map(|band| Some(json!([band.from_hz, band.to_hz, band.level.as_ref()?.spl_db.value])))
        .collect();
    let hum: Vec<Value> = found.hum.iter().map(|line| json!([line.at_hz, line.spl_db.value])).collect();
    json!({
        "kind": "noise", "rate_hz": 32_000, "samples": samples, "dbfs_per_pa": -30.0,
        "a_weighted": found.a_weighted.spl_db.value, "bs468": found.bs468.spl_db.value, "thirds": thirds, "hum": hum,
    })
}

/// What the meter reads of bursts through the network, re a steady tone, in per cent: length in ms, how many per second (0:
/// one).
fn bursts() -> Value {
    let rate_hz = 48_000;
    let filter = bs468_filter(rate_hz);
    let highest = |sounds: &dyn Fn(f64) -> bool, seconds: f64, from_s: f64| {
        let rate = f64::from(rate_hz);
        let x: Vec<f32> = (0..(seconds * rate) as usize)
            .map(|i| i as f64 / rate)
            .map(|t| if sounds(t) { (std::f64::consts::TAU * 5000.0 * t).sin() as f32 } else { 0.0 })
            .collect();
        let mut meter = QuasiPeak::new(rate_hz);
        let readings: Vec<f64> = bs468_weighted(&x, &filter).iter().map(|x| meter.push(*x)).collect();
        readings[(from_s * rate) as usize..].iter().copied().fold(0.0, f64::max)
    };
    let steady = highest(&|_| true, 4.0, 3.0);
    let cases = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0].map(|ms| (ms, 0.0));
    let trains = [2.0, 10.0, 100.0].map(|per_s| (5.0, per_s));
    let rows: Vec<Value> = cases
        .into_iter()
        .chain(trains)
        .map(|(ms, per_s): (f64, f64)| {
            let length_s = ms / 1000.0 - 1e-9;
            let found = if per_s > 0.0 {
                highest(&|t| (t * per_s + 1e-9).fract() / per_s < length_s, 4.0, 3.0)
            } else {
                highest(&|t| (0.1..0.1 + length_s).contains(&t), 1.5, 0.0)
            };
            json!([ms, per_s, 100.0 * found / steady])
        })
        .collect();
    json!({ "kind": "bursts", "rate_hz": rate_hz, "readings": rows })
}

fn level(centre_hz: f64, level_db: f64, standard_db: f64) -> BandLevel {
    BandLevel { centre_hz, level_db, standard_db: Some(standard_db), degrees_of_freedom: None }
}

fn directions() -> Vec<Value> {
    let turning = Turning {
        angle_deg: 1.0,
        zero_deg: 0.0,
        distance_mm: 1000.0,
        centre_mm: 0.0,
        reflected_db: None,
        temperature_c: 20.0,
    };
    let patterns = [
        (Pattern::FirstOrder(0.62), 0.62, 0.0, 15.0),
        (Pattern::FirstOrder(0.3), 0.3, 0.0, 20.0),
        (Pattern::Lobed { share: 0.55, wave: 2.0 }, 0.55, 2.0, 10.0),
        (Pattern::Lobed { share: 0.4, wave: 5.0 }, 0.4, 5.0, 5.0),
    ];
    patterns
        .into_iter()
        .map(|(pattern, share, wave, step)| {
            let run = TurntableRun {
                pattern,
                angles_deg: TurntableRun::one_side(step),
                level_db: 0.0,
                floor: 0.0,
                angle_deg: 0.0,
                zero_deg: 0.0,
                centre_share: 0.0,
            };
            let levels = run.levels(1);
            let takes: Vec<AngleTake> = levels
                .iter()
                .map(|l| AngleTake { angle_deg: l.angle_deg, thirds: vec![level(1000.0, l.level_db, 0.1)] })
                .collect();
            let found = direction(&takes, &turning).expect("a good row of angles");
            let band = &found.thirds[0];
            let value = |q: &Option<Quantity>| q.as_ref().map(|q| q.value);
            let fitted = band.first_order.as_ref().expect("fitted");
            json!({
                "kind": "direction", "share": share, "wave": wave,
                "points": levels.iter().map(|l| json!([l.angle_deg, l.level_db])).collect::<Vec<_>>(),
                "index_db": value(&band.directivity_index_db), "front_to_back_db": value(&band.front_to_back_random_db),
                "at_90_db": value(&band.at_90.as_ref().map(|l| l.level_db.clone())), "fitted_share": fitted.gradient_share.value,
                "angle_tolerance_deg": turning.angle_deg, "standard_db": 0.1, "centre_hz": 1000.0,
                "distance_mm": turning.distance_mm,
            })
        })
        .collect()
}

fn distances() -> Vec<Value> {
    let mm: Vec<f64> = [50.0, 75.0, 110.0, 160.0, 240.0, 350.0].to_vec();
    [(0.5, 0.0, 0.0), (0.8, 1.0, 0.0), (0.5, 1.0, 30.0)]
        .into_iter()
        .map(|(share, tolerance_mm, radius_mm)| {
            let run = DistanceRun {
                share,
                distance_mm: tolerance_mm,
                radius_mm,
                ..DistanceRun::cardioid(mm.clone())
            };
            let measured = run.measured(7);
            let takes: Vec<DistanceTake> = measured
                .iter()
                .map(|at| DistanceTake {
                    distance_mm: at.distance_mm,
                    thirds: run
                        .bands_hz
                        .iter()
                        .zip(&at.levels_db)
                        .map(|(hz, db)| level(*hz, *db, 0.05))
                        .collect(),
                })
                .collect();
            let placing = Placing {
                distance_mm: tolerance_mm,
                zero_mm: 0.0,
                temperature_c: Stated::exact(20.0),
                source_radius_mm: (radius_mm > 0.0).then_some(radius_mm),
                asked: vec![RiseAsked { frequency_hz: 80.0, rise_db: 3.0 }],
            };
            let found = proximity(&takes, &placing).expect("a good series");
            let standard = |q: &Quantity| q.budget.iter().map(|p| p.standard.powi(2)).sum::<f64>().sqrt();
            let (centre, b) = (&found.model.acoustic_centre_mm, &found.model.gradient_share);
            let rise = found.rises[0].distance_mm.as_ref().expect("it rises");
            json!({
                "kind": "distance", "radius_mm": radius_mm, "tolerance_mm": tolerance_mm, "standard_db": 0.05,
                "distances_mm": mm, "bands_hz": run.bands_hz,
                "levels_db": measured.iter().map(|at| at.levels_db.clone()).collect::<Vec<_>>(),
                "centre_mm": centre.value, "centre_standard_mm": standard(centre),
                "gradient_share": b.value, "gradient_share_standard": standard(b),
                "rise_mm": rise.value, "rise_standard_mm": standard(rise),
            })
        })
        .collect()
}
