//! A program that is given everything that a browser receives, the sound itself apart, does no better than a coin.

use super::{Room, names};
use crate::desk::Answer;
use serde_json::json;
use std::collections::BTreeMap;
use std::time::Instant;

const N_SITTINGS: usize = 20;
const N_TRIALS: usize = 100;
/// In every so many trials the program has just been started.
const COLD_EVERY: usize = 5;

/// Everything received in one trial, the samples apart.
struct Received {
    /// Places are left, right, unknown.
    names: [String; 3],
    heads: [String; 3],
    sizes: [usize; 3],
    file_heads: [Vec<u8>; 3],
    micros: [u128; 3],
    page: String,
    seal: String,
    trial: usize,
    /// What the page said to the answer before.
    before: String,
}

/// A way to guess: `Some(0)` left, `Some(1)` right, `None` where it says nothing.
type Guess = (&'static str, fn(&Received) -> Option<usize>);

fn nearer<T: PartialOrd + Copy>(left: T, right: T, unknown: T, away: fn(T, T) -> T) -> Option<usize> {
    let (l, r) = (away(left, unknown), away(right, unknown));
    if l < r { Some(0) } else { (r < l).then_some(1) }
}

fn number(name: &str) -> u128 {
    u128::from_str_radix(name, 16).unwrap_or(0)
}

fn same(left: bool, right: bool) -> Option<usize> {
    match (left, right) {
        (true, false) => Some(0),
        (false, true) => Some(1),
        _ => None,
    }
}

const GUESSES: [Guess; 12] = [
    ("always left", |_| Some(0)),
    ("alternating", |r| Some(r.trial % 2)),
    ("size of the files", |r| same(r.sizes[0] == r.sizes[2], r.sizes[1] == r.sizes[2])),
    ("headers of the answers", |r| same(r.heads[0] == r.heads[2], r.heads[1] == r.heads[2])),
    ("heads of the files", |r| same(r.file_heads[0] == r.file_heads[2], r.file_heads[1] == r.file_heads[2])),
    ("nearest name", |r| {
        let [l, u, x] = [&r.names[0], &r.names[1], &r.names[2]].map(|n| number(n));
        nearer(l, u, x, u128::abs_diff)
    }),
    ("order of names", |r| Some(usize::from((r.names[0] < r.names[1]) != (r.names[2] < r.names[1])))),
    ("last bit of the names", |r| {
        let bit = |i: usize| number(&r.names[i]) & 1;
        same(bit(0) == bit(2), bit(1) == bit(2))
    }),
    ("nearest time", |r| nearer(r.micros[0], r.micros[1], r.micros[2], u128::abs_diff)),
    ("a bit of the seal", |r| {
        let digit = u8::from_str_radix(&r.seal[r.trial % 64..r.trial % 64 + 1], 16).unwrap_or(0);
        Some(usize::from(digit & 1))
    }),
    ("length of the page", |r| Some(r.page.len() % 2)),
    ("what was said to the answer before", |r| Some(r.before.len() % 2)),
];

/// Learns from the first half which side goes with each value of a feature, and guesses by that in the second.
fn learned(received: &[(Received, usize)]) -> Vec<(String, u64, u64)> {
    type Feature = (&'static str, fn(&Received) -> u64);
    let features: [Feature; 7] = [
        ("first digit of the unknown's name", |r| u64::from_str_radix(&r.names[2][..1], 16).unwrap_or(0)),
        ("first digits of all names", |r| {
            r.names.iter().fold(0, |h, n| h * 4 + u64::from_str_radix(&n[..1], 16).unwrap_or(0) / 4)
        }),
        ("place of the trial", |r| r.trial as u64),
        ("slowest of three in the first trial after a start", |r| {
            let most = r.micros.iter().max().copied().unwrap_or(0);
            let cold = r.trial % COLD_EVERY == 0;
            if cold { r.micros.iter().position(|m| *m == most).unwrap_or(0) as u64 } else { 3 }
        }),
        ("slowest of three", |r| {
            let most = r.micros.iter().max().copied().unwrap_or(0);
            r.micros.iter().position(|m| *m == most).unwrap_or(0) as u64
        }),
        ("sizes and headers", |r| (r.sizes[0] + r.sizes[1] * 3 + r.sizes[2] * 7 + r.heads[2].len()) as u64),
        ("first digit of the seal", |r| u64::from_str_radix(&r.seal[..1], 16).unwrap_or(0)),
    ];
    let (train, try_on) = received.split_at(received.len() / 2);
    features
        .iter()
        .map(|(what, feature)| {
            let mut known: BTreeMap<u64, [u64; 2]> = BTreeMap::new();
            train.iter().for_each(|(r, right)| known.entry(feature(r)).or_default()[*right] += 1);
            let guess =
                |r: &Received| known.get(&feature(r)).map_or(0, |[left, right]| usize::from(right > left));
            let hits = try_on.iter().filter(|(r, right)| guess(r) == *right).count() as u64;
            (format!("learned: {what}"), hits, try_on.len() as u64)
        })
        .collect()
}

#[test]
fn whoever_gets_everything_but_the_sound_guesses() {
    let mut room = Room::new("which", N_TRIALS as u32);
    let mut received: Vec<(Received, usize)> = Vec::new();
    for _ in 0..N_SITTINGS {
        let at = room.begin();
        let right: Vec<usize> =
            room.stored(&at).key.trials.iter().map(|t| t.right.expect("is right")).collect();
        let first = room.get(&at).text();
        let seal = first.split("class=\"seal\">").nth(1).and_then(|s| s.split('<').next()).expect("a seal");
        let mut before = String::new();
        for (trial, right) in right.iter().enumerate() {
            if trial % COLD_EVERY == 0 {
                // Nothing is at hand: what was not played before has to be read from the disk.
                room.hall_again();
            }
            let page = room.get(&at).text();
            // Asked for in the order of the page, as a browser does: left, unknown, right.
            let mut names = names(&page);
            let mut asked: Vec<(Answer, u128)> = names
                .iter()
                .map(|name| {
                    let begun = Instant::now();
                    let sound = room.get(&format!("{at}/sound/{name}.wav"));
                    (sound, begun.elapsed().as_micros())
                })
                .collect();
            // Kept as left, right, unknown.
            names.swap(1, 2);
            asked.swap(1, 2);
            let names: [String; 3] = names.try_into().expect("three");
            received.push((
                Received {
                    heads: std::array::from_fn(|i| format!("{:?}", asked[i].0.headers)),
                    sizes: std::array::from_fn(|i| asked[i].0.body.len()),
                    file_heads: std::array::from_fn(|i| asked[i].0.body[..44].to_vec()),
                    micros: std::array::from_fn(|i| asked[i].1),
                    names,
                    page,
                    seal: seal.to_string(),
                    trial,
                    before: before.clone(),
                },
                *right,
            ));
            // The answers are no better: they follow a coin of their own.
            before = room.answer(&at, trial, json!({ "choice": trial * 7 % 2 })).text();
        }
    }
    assert_eq!(received.len(), 2000);
    let mut scores: Vec<(String, u64, u64)> = GUESSES
        .iter()
        .map(|(what, guess)| {
            // Where it says nothing, a coin is tossed: half a hit in the long run, so those trials are left out.
            let told: Vec<bool> =
                received.iter().filter_map(|(r, right)| guess(r).map(|g| g == *right)).collect();
            (what.to_string(), told.iter().filter(|h| **h).count() as u64, told.len() as u64)
        })
        .collect();
    scores.extend(learned(&received));
    for (what, hits, n) in &scores {
        // Two-sided: 0.001 shared among all guesses. A guess that never says anything scores nothing.
        let more = (*hits).max(n - hits);
        let p = 2.0 * fairtake_stats::binomial::tail_at_least(more, *n, 0.5);
        println!("{what}: {hits} of {n}");
        assert!(p > 0.001 / scores.len() as f64, "{what}: {hits} of {n}");
    }
    // It would notice a leak in every fourth trial, 11 standard errors of a coin: there the unknown takes as long as the one that it is.
    for (r, right) in received.iter_mut().step_by(4) {
        r.micros[2] = r.micros[*right];
        r.micros[1 - *right] = r.micros[2] + 10_000;
    }
    let (_, nearest_time) = GUESSES.iter().find(|(what, _)| *what == "nearest time").expect("is tried");
    let told: Vec<bool> =
        received.iter().filter_map(|(r, right)| nearest_time(r).map(|g| g == *right)).collect();
    let (hits, n) = (told.iter().filter(|h| **h).count() as u64, told.len() as u64);
    assert!(
        2.0 * fairtake_stats::binomial::tail_at_least(hits, n, 0.5) < 0.001 / scores.len() as f64,
        "{hits} of {n}"
    );
}
