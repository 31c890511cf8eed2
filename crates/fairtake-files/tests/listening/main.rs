//! Promises of the store of blind tests: what is acknowledged is kept, whatever happens to the program.

mod keeps;
mod killed;

use fairtake_files::{NewSitting, NewTest, Rendered};
use fairtake_listen::{Answer, Asked, Excerpt, Given, Key, Kind, Material, Paired, Plan};
use rand_chacha::ChaCha20Rng;
use rand_chacha::rand_core::SeedableRng;

/// A plan of `n_trials` trials of two microphones that heard the same hits.
fn plan(kind: Kind, n_trials: u32) -> Plan {
    let excerpt = |mic: &str, sound: u32| Excerpt {
        mic: mic.into(),
        placement: 1,
        performance: 1,
        sound,
        words: format!("hit {sound}"),
    };
    let excerpts = ["moorhen", "heron"].iter().flat_map(|m| (0..3).map(move |s| excerpt(m, s))).collect();
    let material =
        Material { source: "drum".into(), paired: Paired::SameSound, excerpts, has_equal_spectra: false };
    let mics = vec!["moorhen".into(), "heron".into()];
    let asked =
        Asked { kind, mics, n_trials, n_control: 0, n_catch: 0, look_after: Vec::new(), n_sittings: None };
    Plan::new(asked, material).expect("a test")
}

fn a_test(id: &str, kind: Kind, n_trials: u32, codes: &[&str]) -> NewTest {
    let plan = plan(kind, n_trials);
    let excerpts = (0..plan.material().excerpts.len())
        .map(|i| Rendered { rate_hz: 48_000, samples: vec![i as f32 / 100.0, -0.5, f32::MIN_POSITIVE] })
        .collect();
    NewTest {
        id: id.into(),
        made_s: 1_700_000_000,
        title: "Frame drum, boathouse".into(),
        plan,
        about: "{}".into(),
        corrected: Vec::new(),
        excerpts,
        codes: codes.iter().map(ToString::to_string).collect(),
    }
}

fn a_sitting(id: &str, test: &NewTest, code: Option<&str>) -> NewSitting {
    let seed = id.bytes().fold(7u64, |h, b| h.wrapping_mul(31).wrapping_add(u64::from(b)));
    let key = Key::draw(&test.plan, &mut ChaCha20Rng::seed_from_u64(seed));
    let seal = key.seal(&test.plan);
    NewSitting {
        id: id.into(),
        test: test.id.clone(),
        listener: "Wren".into(),
        begun_s: 1_700_000_100,
        key,
        seal,
        code: code.map(String::from),
    }
}

fn chose(n: usize, comment: &str) -> Answer {
    Answer { given: Given::Choice(n), comment: comment.into() }
}
