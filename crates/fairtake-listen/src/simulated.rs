//! Made listeners of known ability: what shows that error rates and intervals are what they say.

use crate::key::{Key, Role};
use crate::plan::{Kind, Plan};
use crate::sitting::{Answer, Given, Sitting};
use fairtake_stats::detection::Task;
use rand_chacha::rand_core::CryptoRng;

/// A listener.
#[derive(Debug, Clone, PartialEq)]
pub struct Listener {
    /// Share of trials that count in which the difference is heard; all others are guessed.
    pub hears: f64,
    /// The same of control trials.
    pub hears_control: f64,
    /// Log worth of each microphone to this listener, in the order of the plan.
    pub taste: Vec<f64>,
    /// Ratings stand around 50 + 10·taste (liking), or fall by 10·|difference of taste| (likeness), with this standard
    /// deviation.
    pub rating_sd: f64,
}

impl Listener {
    /// One who hears and likes nothing.
    pub fn guessing(n_mics: usize) -> Listener {
        Listener { hears: 0.0, hears_control: 0.0, taste: vec![0.0; n_mics], rating_sd: 10.0 }
    }

    /// One of a sensitivity d′ in a task.
    pub fn of_sensitivity(task: Task, d: f64, n_mics: usize) -> Listener {
        let hears = fairtake_stats::trials::heard_share(task.share_right(d), task.guess());
        Listener { hears, ..Listener::guessing(n_mics) }
    }

    /// A whole sitting by this listener.
    ///
    /// # Panics
    /// If the key is none of the plan.
    pub fn sits(&self, plan: &Plan, key: Key, rng: &mut impl CryptoRng) -> Sitting {
        let mut sitting = Sitting::begin(key);
        while let Some(trial) = sitting.awaited() {
            let answer =
                Answer { given: self.answers(plan, sitting.key(), trial, rng), comment: String::new() };
            sitting.check(plan, trial, &answer).expect("a made listener answers what is asked");
            sitting.take(plan, answer);
        }
        sitting
    }

    fn answers(&self, plan: &Plan, key: &Key, trial: usize, rng: &mut impl CryptoRng) -> Given {
        let trial = &key.trials[trial];
        let mic_of = |slot: usize| {
            let mic = &plan.material().excerpts[trial.slots[slot].excerpt].mic;
            plan.mics().iter().position(|m| m == mic).unwrap_or(0)
        };
        match plan.kind() {
            Kind::Which | Kind::OddOne => {
                let hears = match trial.role {
                    Role::Looked => self.hears,
                    Role::Control => self.hears_control,
                    Role::Catch => 0.0,
                };
                let n = if plan.kind() == Kind::Which { 2 } else { 3 };
                let guess = crate::draw::one_of(n, rng);
                Given::Choice(if uniform(rng) < hears { trial.right.unwrap_or(guess) } else { guess })
            }
            Kind::Prefer => {
                let ahead = self.taste[mic_of(0)] - self.taste[mic_of(1)];
                Given::Choice(usize::from(uniform(rng) >= 1.0 / (1.0 + (-ahead).exp())))
            }
            Kind::Likeness | Kind::Liking => {
                let named = (plan.kind() == Kind::Likeness).then(|| self.taste[mic_of(0)]);
                let first = usize::from(named.is_some());
                let rate = |slot: usize, rng: &mut _| {
                    let taste = self.taste[mic_of(slot)];
                    let middle = match named {
                        Some(named) => 100.0 - 10.0 * (taste - named).abs(),
                        None => 50.0 + 10.0 * taste,
                    };
                    (middle + self.rating_sd * normal(rng)).clamp(0.0, 100.0).round() as u8
                };
                Given::Ratings((first..trial.slots.len()).map(|slot| rate(slot, rng)).collect())
            }
        }
    }
}

/// Between 0 and 1.
pub fn uniform(rng: &mut impl CryptoRng) -> f64 {
    (rng.next_u64() >> 11) as f64 / (1u64 << 53) as f64
}

/// A standard normal draw (Box and Muller).
pub fn normal(rng: &mut impl CryptoRng) -> f64 {
    let radius = (-2.0 * (1.0 - uniform(rng)).ln()).sqrt();
    radius * (std::f64::consts::TAU * uniform(rng)).cos()
}
