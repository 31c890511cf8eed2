//! Measurements of drawn devices, and how often their intervals hold the truth.

use fairtake_calibrated::distortion::{Distortion, Figure};
use fairtake_calibrated::excitation::Form;
use fairtake_calibrated::microphone::{Pattern, Reference, Ungated, average, average_less, substituted};
use fairtake_calibrated::response::Point;
use fairtake_calibrated::{
    Excitation, Found, Gate, ImpulseResponse, Quantity, Response, ResponseSettings, TextCurve, found,
    impulse_responses,
};
use fairtake_virtual_studio::bench::linear::{Chain, Filter};
use fairtake_virtual_studio::bench::loudspeaker::{Distortion as Bend, Loudspeaker};
use fairtake_virtual_studio::bench::recorder::Recorder;
use fairtake_virtual_studio::bench::room::{Reflection, Room};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal};

const RATE_HZ: f64 = 48_000.0;

/// How often intervals held the truth.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Held {
    /// Error over half width of each interval.
    pub ratios: Vec<f64>,
    /// Sum of half widths.
    pub halves: f64,
    /// Sum of squared errors.
    pub squares: f64,
}

impl Held {
    /// Share of intervals that hold the truth when each is this many times as wide.
    pub fn share(&self, times: f64) -> f64 {
        self.ratios.iter().filter(|ratio| **ratio <= times).count() as f64 / self.ratios.len() as f64
    }

    fn add(&mut self, quantity: &Quantity, truth: f64) {
        let Some(half) = quantity.half else { return };
        let error = (quantity.value - truth).abs();
        self.ratios.push(error / half);
        self.halves += half;
        self.squares += error * error;
    }
}

/// A cell: what is measured, with everything drawn from a seed.
pub type Cell = fn(u64, &mut Held);

/// Cells and their names.
pub const CELLS: [(&str, Cell); 9] = [
    ("one take, 60 dB above noise", one_take_loud),
    ("one take, 35 dB above noise", one_take_soft),
    ("one take behind a gate", gated),
    ("mean of 3 set-ups", three_set_ups),
    ("mean of 5 set-ups", five_set_ups),
    ("substitution, 3 set-ups each", substitution),
    ("substitution in a room, 3 set-ups each", substitution_in_a_room),
    ("drift", drift),
    ("THD", thd),
];

fn between(rng: &mut ChaCha8Rng, low: f64, high: f64) -> f64 {
    use rand_chacha::rand_core::Rng;
    low + (high - low) * (rng.next_u64() >> 11) as f64 / (1u64 << 53) as f64
}

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(rng)
}

fn octaves(rng: &mut ChaCha8Rng, low_hz: f64, high_hz: f64) -> f64 {
    between(rng, low_hz.ln(), high_hz.ln()).exp()
}

/// A device with corners, rises and dips.
fn device(rng: &mut ChaCha8Rng) -> Chain {
    let mut filters = vec![
        Filter::HighPass { hz: octaves(rng, 20.0, 60.0), q: between(rng, 0.6, 1.0) },
        Filter::LowPass { hz: octaves(rng, 15_000.0, 22_000.0), q: 0.8 },
        Filter::Delay { s: between(rng, 0.001, 0.006) },
    ];
    filters.extend((0..3).map(|_| Filter::Peak {
        hz: octaves(rng, 100.0, 12_000.0),
        q: between(rng, 0.7, 2.5),
        db: between(rng, -5.0, 5.0),
    }));
    Chain(filters)
}

/// What setting up again changes: a little gain, and a smooth ripple.
fn set_up(rng: &mut ChaCha8Rng) -> Chain {
    let mut filters = vec![Filter::Gain { db: 0.15 * normal(rng) }];
    filters.extend([80.0, 250.0, 700.0, 2000.0, 5000.0, 11_000.0].map(|hz| Filter::Peak {
        hz,
        q: 0.8,
        db: 0.25 * normal(rng),
    }));
    Chain(filters)
}

fn excitation() -> Excitation {
    Excitation::new(Form { seconds: 2.0, pause_s: 0.8, ..Form::standard(48_000) }).expect("within its ranges")
}

fn recorded(chain: &[&Loudspeaker], room: &Room, noise_dbfs: f64, rng: &mut ChaCha8Rng) -> (f64, Vec<f32>) {
    use rand_chacha::rand_core::Rng;
    let signal: Vec<f64> = excitation().render().iter().map(|x| f64::from(*x)).collect();
    let sound = chain.iter().fold(signal, |sound, next| next.play(&sound, RATE_HZ, 0.2));
    let recorder = Recorder {
        drift_ppm: between(rng, -60.0, 60.0),
        early_s: between(rng, 0.3, 0.6),
        gain_db: -6.0,
        noise_dbfs: Some(noise_dbfs),
        seed: rng.next_u64(),
        ..Recorder::faultless()
    };
    (recorder.drift_ppm, recorder.record(&room.heard(&sound, RATE_HZ), RATE_HZ))
}

fn there(recording: &[f32]) -> Found {
    found(recording, 48_000, &excitation()).expect("it is there")
}

fn impulse(chain: &[&Loudspeaker], room: &Room, noise_dbfs: f64, rng: &mut ChaCha8Rng) -> ImpulseResponse {
    let (_, recording) = recorded(chain, room, noise_dbfs, rng);
    impulse_responses(&recording, &there(&recording), &excitation()).expect("a sweep").remove(0)
}

fn curve(impulse: &ImpulseResponse, gate: Gate) -> Response {
    Response::of(impulse, &ResponseSettings { per_octave: 3, gate }).expect("within its ranges")
}

fn hold(held: &mut Held, response: &Response, truth: impl Fn(f64, f64) -> f64) {
    for p in response.points.iter().filter(|p| p.from_hz > 40.0 && p.to_hz < 18_500.0) {
        if let Some(level) = &p.level_db {
            held.add(level, truth(p.from_hz, p.to_hz));
        }
    }
}

/// Level of the sweep behind the recorder's gain, effective, in dBFS.
const SWEEP_DBFS: f64 = -12.0 - 3.0 - 6.0;

fn one_take(seed: u64, above_db: f64, held: &mut Held) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let chain = device(&mut rng);
    let impulse =
        impulse(&[&Loudspeaker::linear(chain.clone())], &Room::anechoic(), SWEEP_DBFS - above_db, &mut rng);
    hold(held, &curve(&impulse, Gate::Whole), |from, to| chain.band_db(from, to) - 6.0);
}

fn one_take_loud(seed: u64, held: &mut Held) {
    one_take(seed, 60.0, held);
}

fn one_take_soft(seed: u64, held: &mut Held) {
    one_take(seed, 35.0, held);
}

fn gated(seed: u64, held: &mut Held) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let chain = device(&mut rng);
    let first_s = between(&mut rng, 0.003, 0.015);
    let room = Room::with_walls(first_s, 0.2);
    let impulse = impulse(&[&Loudspeaker::linear(chain.clone())], &room, SWEEP_DBFS - 50.0, &mut rng);
    hold(held, &curve(&impulse, Gate::Seconds(0.98 * first_s)), |from, to| chain.band_db(from, to) - 6.0);
}

fn set_ups(chain: &Chain, n: usize, rng: &mut ChaCha8Rng) -> Response {
    let heard = set_up_in(chain, &Room::anechoic(), n, rng);
    averaged(&heard, Gate::Whole)
}

/// Impulse responses of so many set-ups in a room.
fn set_up_in(chain: &Chain, room: &Room, n: usize, rng: &mut ChaCha8Rng) -> Vec<ImpulseResponse> {
    (0..n)
        .map(|_| {
            let placed = Loudspeaker::linear(set_up(rng));
            impulse(&[&Loudspeaker::linear(chain.clone()), &placed], room, SWEEP_DBFS - 50.0, rng)
        })
        .collect()
}

fn averaged(heard: &[ImpulseResponse], gate: Gate) -> Response {
    let repeats: Vec<Response> = heard.iter().map(|impulse| curve(impulse, gate)).collect();
    average(&repeats).expect("alike")
}

/// As a data sheet has it: each set-up less its gated level at 1 kHz.
fn against_1khz(heard: &[ImpulseResponse], gate: Gate, gated: Gate) -> Response {
    let of = |gate: Gate| heard.iter().map(|impulse| curve(impulse, gate)).collect::<Vec<Response>>();
    let levels_db: Vec<f64> =
        of(gated).iter().map(|r| r.at(1000.0).expect("a sweep over it").value).collect();
    average_less(&of(gate), &levels_db).expect("alike")
}

fn three_set_ups(seed: u64, held: &mut Held) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let chain = device(&mut rng);
    hold(held, &set_ups(&chain, 3, &mut rng), |from, to| chain.band_db(from, to) - 6.0);
}

fn five_set_ups(seed: u64, held: &mut Held) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let chain = device(&mut rng);
    hold(held, &set_ups(&chain, 5, &mut rng), |from, to| chain.band_db(from, to) - 6.0);
}

fn substitution(seed: u64, held: &mut Held) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (tested, reference) = (device(&mut rng), device(&mut rng));
    let heard = [&tested, &reference].map(|chain| set_up_in(chain, &Room::anechoic(), 3, &mut rng));
    let responses = [&heard[0], &heard[1]].map(|h| against_1khz(h, Gate::Whole, Gate::Whole));
    let certificate = certificate(&responses[1], &reference, &mut rng);
    let found = substituted(&responses[0], &responses[1], &certificate, None).expect("alike");
    hold_relative(held, &found.points, &tested);
}

/// As a data sheet has it: gated up to the first reflection; below the gate's limit whole, with reflections that the microphone's
/// pattern hears less of than the reference does.
fn substitution_in_a_room(seed: u64, held: &mut Held) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (tested, reference) = (device(&mut rng), device(&mut rng));
    let first_s = between(&mut rng, 0.004, 0.01);
    let absorbed = |gains: &mut dyn FnMut() -> f64| Room {
        reflections: Room::with_walls(first_s, 0.2)
            .reflections
            .into_iter()
            .map(|r| Reflection { gain: 0.3 * gains() * r.gain, ..r })
            .collect(),
    };
    let rooms = [absorbed(&mut || between(&mut rng, 0.2, 1.0)), absorbed(&mut || 1.0)];
    let heard =
        [(&tested, &rooms[0]), (&reference, &rooms[1])].map(|(c, room)| set_up_in(c, room, 3, &mut rng));
    let gate = Gate::Seconds(0.98 * first_s);
    let [gated, gated_reference] = [&heard[0], &heard[1]].map(|h| against_1khz(h, gate, gate));
    let [whole, whole_reference] = [&heard[0], &heard[1]].map(|h| against_1khz(h, Gate::Whole, gate));
    let share = |h: &[ImpulseResponse]| h.iter().map(|i| i.reflected_share(gated.gate_s)).fold(0.0, f64::max);
    let ungated = Ungated {
        tested: &whole,
        reference: &whole_reference,
        reflected_share: share(&heard[0]).max(share(&heard[1])),
        pattern: Pattern::Different,
    };
    let certificate = certificate(&gated_reference, &reference, &mut rng);
    let found = substituted(&gated, &gated_reference, &certificate, Some(ungated)).expect("alike");
    hold_relative(held, &found.points, &tested);
}

/// The reference's certificate: what it states is off by a normal error, smooth over an octave. It is stated against 1 kHz, where it is 0 by
/// definition and nowhere else; two octaves and more away its standard deviation is half of the stated width.
fn certificate(taken: &Response, reference: &Chain, rng: &mut ChaCha8Rng) -> Reference {
    let each = 0.2 / std::f64::consts::SQRT_2;
    let errors: Vec<f64> = (0..13).map(|_| each * normal(rng)).collect();
    let smooth = |hz: f64| {
        let octaves = (hz / 20.0).log2().clamp(0.0, 11.0);
        let (below, share) = (octaves as usize, octaves.fract());
        // As wide between as at the octaves.
        ((1.0 - share) * errors[below] + share * errors[below + 1]) / (1.0 - share).hypot(share)
    };
    let error = |hz: f64| smooth(hz) - smooth(1000.0);
    let points = taken.points.iter().map(|p| (p.hz, reference.band_db(p.from_hz, p.to_hz) + error(p.hz)));
    Reference {
        correction: Some(TextCurve::new(points.collect()).expect("rising")),
        half_db: 0.4,
        coverage_factor: 2.0,
    }
}

/// Points against the truth re that at 1 kHz, where the product has 0 dB: between the two neighbouring points.
fn hold_relative(held: &mut Held, points: &[Point], tested: &Chain) {
    let truth = |p: &Point| tested.band_db(p.from_hz, p.to_hz);
    let after = points.partition_point(|p| p.hz < 1000.0);
    let (below, above) = (&points[after - 1], &points[after]);
    let share = (1000.0 / below.hz).ln() / (above.hz / below.hz).ln();
    let at_1khz = truth(below) + share * (truth(above) - truth(below));
    for p in points.iter().filter(|p| p.from_hz > 40.0 && p.to_hz < 18_500.0) {
        if let Some(level) = &p.level_db {
            held.add(level, truth(p) - at_1khz);
        }
    }
}

fn drift(seed: u64, held: &mut Held) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let chain = Loudspeaker::linear(device(&mut rng));
    let room = Room::with_walls(between(&mut rng, 0.003, 0.01), 0.3);
    let noise_dbfs = between(&mut rng, -75.0, -45.0);
    let (drift_ppm, recording) = recorded(&[&chain], &room, noise_dbfs, &mut rng);
    held.add(&there(&recording).drift_ppm, drift_ppm);
}

fn thd(seed: u64, held: &mut Held) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let terms = vec![(2, between(&mut rng, 0.02, 0.3)), (3, between(&mut rng, 0.02, 0.3))];
    let response = Chain(vec![Filter::Slope { hz: octaves(&mut rng, 3000.0, 15_000.0) }]);
    let speaker = Loudspeaker { distortion: Some(Bend::memoryless(&terms)), response };
    let impulse = impulse(&[&speaker], &Room::anechoic(), SWEEP_DBFS - 45.0, &mut rng);
    let distortion = Distortion::of(&impulse, 3, Gate::Seconds(0.03)).expect("within its ranges");
    for p in distortion.points.iter().filter(|p| p.hz > 100.0 && p.highest_order >= 3) {
        if let Some(Figure::Measured(found)) = &p.thd {
            held.add(found, band_thd_percent(&speaker, p.hz, p.highest_order));
        }
    }
}

/// THD of the formula as a band of a third octave has it: means of powers over it.
fn band_thd_percent(speaker: &Loudspeaker, hz: f64, highest_order: u32) -> f64 {
    const STEPS: usize = 16;
    let (low, high) = (hz * 10f64.powf(-0.05), hz * 10f64.powf(0.05));
    let (mut harmonics, mut fundamental) = (0.0, 0.0);
    for i in 0..STEPS {
        let at = low + (high - low) * (i as f64 + 0.5) / STEPS as f64;
        let h = speaker.harmonics(at, 10f64.powf(-12.0 / 20.0));
        fundamental += h[0] * h[0];
        harmonics += h[1..highest_order as usize].iter().map(|h| h * h).sum::<f64>();
    }
    100.0 * (harmonics / fundamental).sqrt()
}
