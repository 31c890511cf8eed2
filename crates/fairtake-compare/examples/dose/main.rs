//! How often every check that listens finds none, a mild and a gross dose of its defect in made takes, how often clean
//! takes are accused, and whether what a check says that a defect does is what it did. Prints tables for
//! `docs/ground-truth.md`.
//!
//! `cargo run --release -p fairtake-compare --example dose`, with the code of one check, or `clean`, or `consequences`,
//! behind `--` for that alone; seeds are fixed, so every run gives one table.

mod consequences;
mod scene;
mod sound;

use fairtake_compare::{CompareError, Comparison, Measurement, Outcome, Settings, Take, compare};
use scene::{DOSES, Dose, Scene, Size};
use sound::Kind;

/// Clean takes of each scene and kind, the witness not counted; at least fifty trials.
const N_CLEAN: u64 = 200;
/// Trials with a dose, and half as many where a trial holds eight takes.
const N_DOSED: u64 = 50;
const KINDS: [(Kind, &str); 3] =
    [(Kind::Percussive, "percussive"), (Kind::Sustained, "sustained"), (Kind::Voice, "voice-like")];
const SCENES: [(Scene, &str); 4] = [
    (Scene::Alone, "take in turn"),
    (Scene::Together, "pair together"),
    (Scene::Witness, "pair with a witness"),
    (Scene::Order, "four takes of each"),
];
/// A fact of every scene here: each microphone is set up once.
const KNOWN: &str = "few_placements";
/// The limit of `snr_low`, in dB.
const SNR_LOW_DB: f64 = 20.0;

/// Compares the takes of a trial.
///
/// # Errors
/// When a dose leaves nothing to compare.
pub fn run(takes: &[Take], kind: Kind) -> Result<Measurement, CompareError> {
    let asked =
        Comparison { reference: None, pair: None, source: None, recognised: None, version: "dose".into() };
    let settings = Settings { resamples: 200, ..Settings::standard() };
    compare(takes, &scene::shootout(kind), &settings, &asked)
}

/// Codes raised, by trial: for takes alone each is a trial, with what is said of the pair. Where nothing is left to
/// compare, the reason that is given for a take.
fn raised(scene: Scene, kind: Kind, seed: u64, dosed: Option<(Dose, Size)>) -> Vec<Vec<String>> {
    let takes = scene::takes(scene, kind, seed, dosed);
    let made = match run(&takes, kind) {
        Ok(made) => made,
        Err(error) => {
            let text = error.to_string();
            return takes.iter().map(|t| reason(&text, &t.id).into_iter().collect()).collect();
        }
    };
    let codes = |of: &dyn Fn(Option<&str>) -> bool| -> Vec<String> {
        let checks = made.findings.checks.iter().filter(|c| c.outcome != Outcome::Fair && c.code != KNOWN);
        checks.filter(|c| of(c.take.as_deref())).map(|c| c.code.clone()).collect()
    };
    match scene {
        Scene::Alone => takes.iter().map(|t| codes(&|id| id.is_none_or(|id| id == t.id))).collect(),
        _ => vec![codes(&|_| true)],
    }
}

/// Why a take is left out, as the error says it.
fn reason(error: &str, take: &str) -> Option<String> {
    let after = error.split_once(&format!("{take} is left out: "))?.1;
    Some(after.split(';').next().unwrap_or(after).to_string())
}

/// Told of the defect by other words than its own check's: noise so loud that it passes for what is played is unknown, and a
/// take without a whole event is left out with a reason, which must name the defect.
fn told_otherwise(code: &str, said: &str) -> bool {
    match code {
        "clipped" => said.contains("event is clipped"),
        "hum" => said == "snr_unknown",
        "snr_low" => said == "snr_unknown" || said.contains("out of the noise"),
        "snr_unknown" => said.contains("out of the noise"),
        _ => false,
    }
}

fn trials(scene: Scene, kind: Kind, n: u64, dosed: (Dose, Size)) -> Vec<Vec<String>> {
    seeds(scene, n, DOSED_FROM).flat_map(|seed| raised(scene, kind, seed, Some(dosed))).collect()
}

/// Other seeds with a dose than without: what was tuned to be silent is not what is tried.
const CLEAN_FROM: u64 = 5001;
const DOSED_FROM: u64 = 6001;

/// One seed a run; two takes alone are two trials.
fn seeds(scene: Scene, n: u64, first: u64) -> std::ops::Range<u64> {
    first..first + n / if scene == Scene::Alone { 2 } else { 1 }
}

fn clean() {
    println!("| clean | source | trials | rightly dull | accused | by |\n|---|---|---|---|---|---|");
    for (scene, scene_name) in SCENES {
        for (kind, kind_name) in KINDS {
            let per_trial = match scene {
                Scene::Alone => 1,
                Scene::Together | Scene::Witness => 2,
                Scene::Order => 4,
            };
            let mut n_dull = 0;
            let mut all = Vec::new();
            for seed in seeds(scene, N_CLEAN / per_trial, CLEAN_FROM) {
                let mut found = raised(scene, kind, seed, None);
                // What lies as near to the noise as the check says is no false alarm: what was made is asked.
                if found.iter().flatten().any(|c| c == "snr_low")
                    && scene::true_snr_db(scene, kind, seed) < SNR_LOW_DB
                {
                    n_dull += found.len();
                    found.iter_mut().for_each(|codes| codes.retain(|c| c != "snr_low"));
                }
                all.extend(found);
            }
            let n = all.len();
            let any = all.iter().filter(|codes| !codes.is_empty()).count();
            let mut by: Vec<(String, usize)> = Vec::new();
            for code in all.into_iter().flatten() {
                match by.iter_mut().find(|(c, _)| *c == code) {
                    Some((_, n)) => *n += 1,
                    None => by.push((code, 1)),
                }
            }
            let by: Vec<String> = by.into_iter().map(|(c, n)| format!("{c} {n}")).collect();
            let by = if by.is_empty() { "–".to_string() } else { by.join(", ") };
            println!("| {scene_name} | {kind_name} | {n} | {n_dull} | {any} | {by} |");
        }
    }
}

fn doses(only: Option<&str>) {
    println!("| check | form | source | mild | gross |\n|---|---|---|---|---|");
    for dose in DOSES.into_iter().filter(|d| only.is_none_or(|o| o == d.code)) {
        for (kind, kind_name) in KINDS {
            let n = if dose.scene == Scene::Order { N_DOSED / 2 } else { N_DOSED };
            let found = |size| {
                let all = trials(dose.scene, kind, n, (dose, size));
                let percent = |told: &dyn Fn(&String) -> bool| {
                    100.0 * all.iter().filter(|codes| codes.iter().any(told)).count() as f64
                        / all.len() as f64
                };
                let found = percent(&|c| c == dose.code);
                let told = percent(&|c| c == dose.code || told_otherwise(dose.code, c));
                let otherwise = if told > found { format!(" (told {told:.0} %)") } else { String::new() };
                format!("{found:.0} %{otherwise}")
            };
            let mild = if dose.has_mild { found(Size::Mild) } else { "–".to_string() };
            println!("| {} | {} | {kind_name} | {mild} | {} |", dose.code, dose.form, found(Size::Gross));
        }
    }
}

fn main() {
    let only = std::env::args().nth(1);
    match only.as_deref() {
        Some("clean") => clean(),
        Some("consequences") => consequences::table(),
        Some(code) => doses(Some(code)),
        None => {
            clean();
            println!();
            doses(None);
            println!();
            consequences::table();
        }
    }
}
