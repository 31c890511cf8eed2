//! Made results of blind tests: numbers drawn by seed, in the form in which a score has them.

use super::parts::Draw;
use fairtake_compare::Findings;
use fairtake_listen::score::{Counted, HitOutcome, Hits, Pair, Preference, Rated, Rating, Shown, Tally};
use fairtake_listen::{Control, Kind, Score};
use fairtake_report::Heard;

/// Tests of some of the pairs of a run, among them some that nobody has taken to the end, and one of more microphones.
pub fn heard(findings: &Findings, seed: u64) -> Vec<Heard> {
    let mut draw = Draw::new(seed ^ 0x5eed);
    let mut out = Vec::new();
    for c in &findings.comparisons {
        for _ in 0..draw.of(&[0, 0, 1, 1, 2]) {
            let mut mics = vec![c.reference.clone(), c.against.clone()];
            if draw.one_in(2) {
                mics.reverse();
            }
            out.push(test(&mut draw, &c.source, mics));
        }
        if draw.one_in(6) {
            let mics = findings.mics.iter().map(|m| m.id.clone()).collect::<Vec<_>>();
            if mics.len() > 2 {
                out.push(test(&mut draw, &c.source, mics));
            }
        }
    }
    out
}

fn test(draw: &mut Draw, source: &str, mics: Vec<String>) -> Heard {
    let kind = draw.of(&[Kind::Which, Kind::Which, Kind::OddOne, Kind::Prefer, Kind::Likeness, Kind::Liking]);
    let done = if draw.one_in(8) { 0 } else { 1 + draw.below(12) as u64 };
    let shown = (done > 0).then(|| match kind {
        Kind::Which | Kind::OddOne => Shown::Hits(hits(draw, done)),
        Kind::Prefer => Shown::Preference(preference(draw, &mics)),
        Kind::Likeness | Kind::Liking => Shown::Rating(rating(draw, &mics, kind)),
    });
    let score = Score {
        kind,
        has_equal_spectra: matches!(kind, Kind::Which | Kind::OddOne) && draw.one_in(5),
        mics,
        sittings: Counted { done, left: draw.of(&[0, 0, 0, 1, 3]), open: 0, deleted: 0 },
        shown,
        says: Vec::new(),
        does_not_say: Vec::new(),
    };
    Heard { title: "made".into(), source: source.into(), equalisers: Vec::new(), score }
}

/// A share with an interval around it.
fn share(draw: &mut Draw) -> [f64; 3] {
    let at = draw.between(0.0, 1.0);
    let low = if draw.one_in(3) { 0.0 } else { at * draw.between(0.2, 1.0) };
    let high = if draw.one_in(6) { 1.0 } else { at + (1.0 - at) * draw.between(0.0, 0.9) };
    [at, low, high]
}

fn tally(draw: &mut Draw, least: usize) -> Tally {
    let trials = (least + draw.below(60)) as u64;
    Tally { hits: draw.below(trials as usize + 1) as u64, trials }
}

fn hits(draw: &mut Draw, done: u64) -> Hits {
    let outcome = draw.of(&[
        HitOutcome::Heard,
        HitOutcome::ToldApart,
        HitOutcome::NotMoreThanControl,
        HitOutcome::NotShown,
    ]);
    let control_pairs = match outcome {
        HitOutcome::ToldApart => None,
        HitOutcome::NotMoreThanControl => Some(draw.of(&[Control::Placements, Control::Passes])),
        _ => draw.of(&[None, Some(Control::Placements), Some(Control::Passes)]),
    };
    let is_power_known = control_pairs.is_none() && draw.one_in(2);
    let found = draw.between(0.05, 1.0);
    Hits {
        outcome,
        looked: tally(draw, 6),
        control: Tally { hits: 0, trials: 0 },
        control_pairs,
        catch: Tally { hits: 0, trials: 0 },
        left: Tally { hits: 0, trials: 0 },
        p_guessing: 0.5,
        share_low: 0.0,
        share_high: 1.0,
        heard: share(draw),
        sensitivity: [None; 3],
        p_control: None,
        over_control: None,
        would_have_found: (is_power_known && draw.one_in(2)).then_some(found),
        is_power_known,
        n_shown: (done > 1 && draw.one_in(3)).then(|| draw.below(done as usize + 1) as u64),
        p_catch: 1.0,
        each: Vec::new(),
    }
}

fn preference(draw: &mut Draw, mics: &[String]) -> Preference {
    let [_, low, high] = share(draw);
    let pair = Pair {
        mic: mics[0].clone(),
        other: mics[1].clone(),
        preferred: tally(draw, 4),
        low,
        high,
        is_shown: low > 0.5,
    };
    Preference {
        pairs: vec![pair],
        worths: Vec::new(),
        best: None,
        each: Vec::new(),
        repeated: Tally { hits: 0, trials: 0 },
        left_of_same: Tally { hits: 0, trials: 0 },
        left: Tally { hits: 0, trials: 0 },
    }
}

fn rating(draw: &mut Draw, mics: &[String], kind: Kind) -> Rating {
    let n_kept = draw.below(8) as u64;
    let mut rated = Vec::new();
    for (i, mic) in mics.iter().enumerate() {
        let [at, low, high] = share(draw).map(|s| 100.0 * s);
        rated.push(Rated {
            mic: mic.clone(),
            is_hidden_copy: kind == Kind::Likeness && i == 0,
            median: (n_kept > 0).then_some(at),
            interval: (n_kept > 4).then_some([low, high]),
            below_copy: None,
            p_copy: None,
        });
    }
    Rating { rated, n_kept, n_screened: 0, concordance: None }
}
