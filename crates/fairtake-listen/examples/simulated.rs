//! Made listeners of known ability go through whole tests: how often each verdict is given, and how often intervals cover.
//! Prints the table of docs/methods/listening.md.
//!
//! usage: simulated [N [SEED]]      N tests a row, 2000 by default

use fairtake_listen::score::{HitOutcome, Shown};
use fairtake_listen::simulated::{Listener, normal, uniform};
use fairtake_listen::{Asked, Excerpt, Key, Kind, Material, Paired, Plan, Score, Sitting, score};
use fairtake_stats::binomial::clopper_pearson;
use fairtake_stats::detection::Task;
use rand_chacha::ChaCha20Rng;
use rand_chacha::rand_core::SeedableRng;

/// Hits of three microphones at two placements, all played again.
fn material(paired: Paired) -> Material {
    let mut excerpts = Vec::new();
    for mic in ["moorhen", "heron", "plover"] {
        for placement in 1..=2 {
            for hit in 0..6 {
                let sound = match paired {
                    Paired::SameSound => placement * 10 + hit,
                    Paired::PlayedAgain => excerpts.len() as u32,
                };
                let words = format!("hit {hit}");
                excerpts.push(Excerpt { mic: mic.into(), placement, performance: placement, sound, words });
            }
        }
    }
    Material { source: "drum".into(), paired, excerpts, has_equal_spectra: false }
}

struct Row {
    what: String,
    kind: Kind,
    n_listeners: usize,
    n_trials: u32,
    n_control: u32,
    looks: Vec<u32>,
    paired: Paired,
}

impl Row {
    fn plan(&self, n_mics: usize) -> Plan {
        let mics = ["moorhen", "heron", "plover"][..n_mics].iter().map(ToString::to_string).collect();
        let asked = Asked {
            kind: self.kind,
            mics,
            n_trials: self.n_trials,
            n_control: self.n_control,
            n_catch: 0,
            look_after: self.looks.clone(),
            n_sittings: None,
        };
        Plan::new(asked, material(self.paired)).expect("a test")
    }
}

fn test(plan: &Plan, listeners: &[Listener], rng: &mut ChaCha20Rng) -> Score {
    let sittings: Vec<Sitting> = listeners.iter().map(|l| l.sits(plan, Key::draw(plan, rng), rng)).collect();
    score(plan, &sittings, &|mic| mic.to_string(), 1)
}

/// A share of tests with the interval that their number leaves.
fn share(n: u64, of: u64) -> String {
    let i = clopper_pearson(n, of, 0.95).expect("tests");
    let at = |x: f64| format!("{:.3}", x);
    format!("{} ({}–{})", at(n as f64 / of as f64), at(i.low), at(i.high))
}

fn main() {
    let mut args = std::env::args().skip(1);
    let n: u64 = args.next().and_then(|a| a.parse().ok()).unwrap_or(2000);
    let seed: u64 = args.next().and_then(|a| a.parse().ok()).unwrap_or(1);
    let mut rng = ChaCha20Rng::seed_from_u64(seed);
    println!("Seed {seed}; {n} tests a row; in brackets what their number leaves open (95 %).\n");
    hits(n, &mut rng);
    preferences(n, &mut rng);
    ratings(n, &mut rng);
}

fn hits(n: u64, rng: &mut ChaCha20Rng) {
    println!("| test | listeners | they hear | called heard | interval covers |");
    println!("|---|---|---|---|---|");
    let row = |what: &str, kind, n_listeners, n_trials, n_control, looks: &[u32], paired| Row {
        what: what.into(),
        kind,
        n_listeners,
        n_trials,
        n_control,
        looks: looks.to_vec(),
        paired,
    };
    let (together, again) = (Paired::SameSound, Paired::PlayedAgain);
    let rows = [
        row("which of two, 16 trials", Kind::Which, 1, 16, 0, &[], together),
        row("which of two, 16 trials", Kind::Which, 12, 16, 0, &[], together),
        row("which of three, 18 trials", Kind::OddOne, 1, 18, 0, &[], together),
        row(
            "which of two, up to 24, looks after 8, 12, 16, 20",
            Kind::Which,
            1,
            24,
            0,
            &[8, 12, 16, 20],
            together,
        ),
        row("the same", Kind::Which, 12, 24, 0, &[8, 12, 16, 20], together),
        row("the same", Kind::Which, 100, 24, 0, &[8, 12, 16, 20], together),
        row("which of two, 20 trials, 20 of control", Kind::Which, 1, 20, 20, &[], again),
        row("the same", Kind::Which, 12, 20, 20, &[], again),
    ];
    for r in &rows {
        let plan = r.plan(2);
        let guess = r.kind.guess().expect("right answers");
        // Mean share of trials that are heard; several listeners differ by a beta-like spread around it.
        for (hears, hears_control) in [(0.0, 0.0), (0.5, 0.5), (0.5, 0.0), (0.9, 0.0)] {
            if hears_control > 0.0 && r.n_control == 0 {
                continue;
            }
            let (mut n_heard, mut n_covered) = (0, 0);
            for _ in 0..n {
                let listeners: Vec<Listener> = (0..r.n_listeners)
                    .map(|_| {
                        // Abilities from nearly none to nearly all, with this mean.
                        let spread = if r.n_listeners > 1 { hears * (1.0 - hears) * 1.2 } else { 0.0 };
                        let own = hears + spread * (2.0 * uniform(rng) - 1.0);
                        let own_control = if hears_control > 0.0 { own } else { 0.0 };
                        Listener { hears: own, hears_control: own_control, ..Listener::guessing(2) }
                    })
                    .collect();
                let Some(Shown::Hits(found)) = test(&plan, &listeners, rng).shown else { continue };
                n_heard += u64::from(found.outcome == HitOutcome::Heard);
                let truth = guess + (1.0 - guess) * hears;
                n_covered += u64::from(found.share_low <= truth && truth <= found.share_high);
            }
            let of_control = if r.n_control > 0 {
                format!(", control {:.0} %", 100.0 * hears_control)
            } else {
                String::new()
            };
            println!(
                "| {} | {} | {:.0} %{of_control} | {} | {} |",
                r.what,
                r.n_listeners,
                100.0 * hears,
                share(n_heard, n),
                share(n_covered, n)
            );
        }
    }
    // Sensitivity: one listener whose d′ is known.
    println!("\n| test | d′ | interval of d′ covers |\n|---|---|---|");
    for (kind, task, n_trials) in
        [(Kind::Which, Task::MatchDifferencing, 40), (Kind::OddOne, Task::Triangle, 45)]
    {
        let plan = row("", kind, 1, n_trials, 0, &[], together).plan(2);
        for d in [1.0, 2.5] {
            let n_covered = (0..n)
                .filter(|_| {
                    let listener = Listener::of_sensitivity(task, d, 2);
                    let Some(Shown::Hits(found)) = test(&plan, &[listener], rng).shown else { return false };
                    let [_, low, high] = found.sensitivity;
                    low.is_some_and(|low| low <= d) && high.is_none_or(|high| d <= high)
                })
                .count() as u64;
            println!("| {kind:?}, {n_trials} trials | {d} | {} |", share(n_covered, n));
        }
    }
}

fn preferences(n: u64, rng: &mut ChaCha20Rng) {
    println!(
        "\n| preference | listeners | mean taste (log worth), spread | best named | wrong best | every pair's interval covers |"
    );
    println!("|---|---|---|---|---|---|");
    for (n_mics, n_listeners, taste, sd) in [
        (2, 1, [0.0, 0.0, 0.0], 0.0),
        (2, 12, [0.0, 0.0, 0.0], 1.0),
        (3, 12, [0.0, 0.0, 0.0], 1.0),
        (3, 12, [0.8, 0.0, -0.8], 0.7),
        (3, 30, [0.8, 0.0, -0.8], 0.7),
    ] {
        let r = Row {
            what: String::new(),
            kind: Kind::Prefer,
            n_listeners,
            n_trials: if n_mics == 2 { 16 } else { 24 },
            n_control: 0,
            looks: Vec::new(),
            paired: Paired::SameSound,
        };
        let plan = r.plan(n_mics);
        // What the average listener does, by many of them.
        let truth = |i: usize, j: usize, rng: &mut ChaCha20Rng| {
            let chance = |_: u32| {
                let ahead = taste[i] - taste[j] + sd * (normal(rng) - normal(rng));
                1.0 / (1.0 + (-ahead).exp())
            };
            (0..200_000).map(chance).sum::<f64>() / 200_000.0
        };
        let pairs: Vec<(usize, usize)> = (0..n_mics).flat_map(|i| (0..i).map(move |j| (j, i))).collect();
        let truths: Vec<f64> = pairs.iter().map(|(i, j)| truth(*i, *j, rng)).collect();
        let (mut n_best, mut n_wrong, mut n_covered) = (0, 0, 0);
        for _ in 0..n {
            let listeners: Vec<Listener> = (0..n_listeners)
                .map(|_| {
                    let own = taste[..n_mics].iter().map(|t| t + sd * normal(rng)).collect();
                    Listener { taste: own, ..Listener::guessing(n_mics) }
                })
                .collect();
            let Some(Shown::Preference(found)) = test(&plan, &listeners, rng).shown else { continue };
            let is_right = |best: &String| taste[0] > 0.0 && best == "moorhen";
            n_best += u64::from(found.best.is_some());
            n_wrong += u64::from(found.best.as_ref().is_some_and(|b| !is_right(b)));
            let covers = pairs.iter().zip(&truths).all(|((i, j), truth)| {
                let key = |k: usize| &plan.mics()[k];
                found.pairs.iter().any(|p| {
                    (p.mic == *key(*i) && p.other == *key(*j) && p.low <= *truth && *truth <= p.high)
                        || (p.mic == *key(*j)
                            && p.other == *key(*i)
                            && p.low <= 1.0 - truth
                            && 1.0 - truth <= p.high)
                })
            });
            n_covered += u64::from(covers);
        }
        println!(
            "| {n_mics} microphones, {} judgements | {n_listeners} | {:?}, {sd} | {} | {} | {} |",
            r.n_trials,
            &taste[..n_mics],
            share(n_best, n),
            share(n_wrong, n),
            share(n_covered, n)
        );
    }
}

fn ratings(n: u64, rng: &mut ChaCha20Rng) {
    // Two thousand draws of the bootstrap for each microphone of each test.
    let n = n / 4;
    println!("\n| liking, 3 pages | raters | interval of a median covers |\n|---|---|---|");
    for n_listeners in [6, 8, 12, 20, 40] {
        let r = Row {
            what: String::new(),
            kind: Kind::Liking,
            n_listeners,
            n_trials: 3,
            n_control: 0,
            looks: Vec::new(),
            paired: Paired::SameSound,
        };
        let plan = r.plan(2);
        let mut n_covered = 0;
        for _ in 0..n {
            let listeners: Vec<Listener> = (0..n_listeners)
                .map(|_| Listener {
                    taste: vec![1.0 + 1.2 * normal(rng), 0.0],
                    rating_sd: 8.0,
                    ..Listener::guessing(2)
                })
                .collect();
            let Some(Shown::Rating(found)) = test(&plan, &listeners, rng).shown else { continue };
            // The median rater likes it at 60.
            n_covered +=
                u64::from(found.rated[0].interval.is_some_and(|[low, high]| low <= 60.0 && 60.0 <= high));
        }
        println!("| 2 microphones | {n_listeners} | {} |", share(n_covered, n));
    }
}
