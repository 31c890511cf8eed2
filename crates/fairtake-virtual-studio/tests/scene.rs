//! The rendered scene through the whole method: the audio tier in small.

use fairtake_compare::{Comparison, Settings, compare};
use fairtake_virtual_studio::scene::scene;

#[test]
fn the_findings_on_the_scene_hold_the_known_answers() {
    let scene = scene(1);
    for t in &scene.takes {
        let peak = t.samples.iter().fold(0f32, |a, x| a.max(x.abs()));
        assert!(peak < 0.95 && peak > 0.1, "{} peaks at {peak}", t.file);
    }
    let asked =
        Comparison { reference: None, pair: None, source: None, recognised: None, version: "test".into() };
    let made = compare(&scene.in_memory(), &scene.shootout(), &Settings::standard(), &asked)
        .expect("the scene compares");
    let drums = made.measures.iter().filter(|m| m.take.contains("drum"));
    assert!(drums.clone().count() == 14 && drums.clone().all(|m| m.events.len() == 12), "twelve hits each");
    assert!(made.measures.iter().all(|m| m.noise.is_some()), "every take begins with quiet");
    // The scene is rendered without a defect: whatever a check calls one would be a false alarm.
    let accused: Vec<String> = (made.findings.checks.iter())
        .filter(|c| c.outcome != fairtake_compare::Outcome::Fair)
        .map(|c| format!("{:?} {}: {}", c.take, c.code, c.text))
        .collect();
    assert!(accused.is_empty(), "{accused:#?}");
    let mut n_missed = 0;
    for truth in &scene.truths {
        let c = made.findings.comparisons.iter().find(|c| c.source == truth.source).expect("was compared");
        assert_eq!(c.claim, fairtake_compare::Claim::Microphones);
        let held = |b: &fairtake_compare::Band| {
            let answer = truth.difference_db(b.from_hz, b.to_hz)?;
            Some(b.simultaneous_low_db? <= answer && answer <= b.simultaneous_high_db?)
        };
        let judged: Vec<bool> = c.bands.iter().filter_map(held).collect();
        assert!(judged.len() > 80, "{}: {} bands judged", truth.source, judged.len());
        n_missed += u32::from(judged.contains(&false));
    }
    // Each simultaneous interval holds all bands in at least 93 of 100 comparisons (METHOD): two misses among four
    // have a probability of 2.6 %.
    assert!(n_missed <= 1, "{n_missed} of 4 comparisons miss their known answer somewhere");
}

#[test]
fn one_seed_makes_one_scene() {
    let (a, b) = (scene(7), scene(7));
    assert!(a == b);
    assert!(a.takes[0].samples != scene(8).takes[0].samples);
}
