//! What blind tests of a pair showed, in a sentence or two each.

use super::fit::{Need, Pieces};
use super::names::{Pair, mic};
use super::phrase::Form;
use crate::heard::{Heard, of_pair};
use crate::words::number_of;
use fairtake_compare::{ComparisonFindings, Findings};
use fairtake_listen::score::{HitOutcome, Hits, Preference, Rating, Shown};
use fairtake_listen::{CONFIDENCE, Control, Kind, Score};

/// Says every test of the pair that has come to an end.
pub(super) fn blind(
    out: &mut Pieces,
    form: Form,
    findings: &Findings,
    pair: &Pair,
    c: &ComparisonFindings,
    heard: &[Heard],
) {
    let called = |key: &str| match key {
        _ if key == c.reference => pair.reference.clone(),
        _ if key == c.against => pair.against.clone(),
        _ => mic(findings, key),
    };
    for test in of_pair(c, heard) {
        let n = number_of(test.score.sittings.done as usize, "sitting");
        match &test.score.shown {
            Some(Shown::Hits(hits)) => of_hits(out, form, &test.score, hits, &n),
            Some(Shown::Preference(found)) => of_preference(out, form, found, &n, &called),
            Some(Shown::Rating(found)) => of_rating(out, &test.score, found, &n, &called),
            None => continue,
        }
        match test.score.sittings.left {
            0 => {}
            1 => out.must("1 more sitting was left before the end and is not counted."),
            n => out.must(format!("{n} more sittings were left before the end and are not counted.")),
        }
    }
}

/// A share in whole per cent, with the unit.
fn percent(form: Form, value: f64) -> String {
    format!("{value:.0} {}", if form == Form::Spoken { "percent" } else { "%" })
}

/// Ends of an interval of shares in whole per cent, rounded outwards.
fn outwards(low: f64, high: f64) -> (f64, f64) {
    const ROUNDING: f64 = 1e-9;
    ((100.0 * low + ROUNDING).floor().max(0.0), (100.0 * high - ROUNDING).ceil().min(100.0))
}

fn of_hits(out: &mut Pieces, form: Form, score: &Score, hits: &Hits, n: &str) {
    let verdict = match (hits.outcome, hits.control_pairs) {
        (HitOutcome::Heard, None) => "the difference was heard",
        (HitOutcome::Heard, Some(Control::Placements)) => {
            "the difference was heard, more than that between two placements of one microphone"
        }
        (HitOutcome::Heard, Some(Control::Passes)) => {
            "the difference was heard, more than that between two passes of one microphone"
        }
        (HitOutcome::ToldApart, _) => "the takes were told apart, by the microphones or by the playing",
        (HitOutcome::NotMoreThanControl, Some(Control::Placements)) => {
            "the difference is not shown to be heard more than that between two placements of one microphone"
        }
        (HitOutcome::NotMoreThanControl, _) => {
            "the difference is not shown to be heard more than that between two passes of one microphone"
        }
        (HitOutcome::NotShown, _) => "the difference is not shown to be heard",
    };
    let equal = if score.has_equal_spectra { ", with spectra made equal" } else { "" };
    let ended = hits.n_shown.map_or(String::new(), |k| format!(", {k} of them ending as shown"));
    let tally = hits.looked;
    out.must(format!(
        "Blind, in {n}{ended}{equal}, {} of {} answers were right: {verdict}.",
        tally.hits, tally.trials
    ));
    let (low, high) = outwards(hits.heard[1], hits.heard[2]);
    let is_told = matches!(hits.outcome, HitOutcome::Heard | HitOutcome::ToldApart);
    let it = if hits.outcome == HitOutcome::ToldApart { "they are told apart" } else { "it is heard" };
    out.must(if is_told && low > 0.0 {
        let sure = percent(form, 100.0 * CONFIDENCE);
        format!("With {sure} confidence {it} in {low:.0} to {} of trials.", percent(form, high))
    } else {
        format!("The interval allows that {it} in up to {} of trials.", percent(form, high))
    });
    if let Some(share) = hits.would_have_found.filter(|_| !is_told) {
        let share = (100.0 * share - 1e-9).ceil();
        out.say(
            Need::May(6),
            format!(
                "A difference heard in {} of trials is found by four of five such tests.",
                percent(form, share)
            ),
        );
    }
}

fn of_preference(out: &mut Pieces, form: Form, found: &Preference, n: &str, called: &dyn Fn(&str) -> String) {
    for p in &found.pairs {
        let (low, high) = outwards(p.low, p.high);
        out.must(format!(
            "Blind, in {n}, {} was preferred to {} in {} of {} judgements: {} preference is shown.",
            called(&p.mic),
            called(&p.other),
            p.preferred.hits,
            p.preferred.trials,
            if p.is_shown { "a" } else { "no" }
        ));
        out.must(format!("The share lies between {low:.0} and {}.", percent(form, high)));
    }
}

fn of_rating(out: &mut Pieces, score: &Score, found: &Rating, n: &str, called: &dyn Fn(&str) -> String) {
    for r in &found.rated {
        let Some(median) = r.median else { continue };
        let name = called(&r.mic);
        let who = if r.is_hidden_copy { format!("a hidden copy of {name}") } else { name };
        let what = match score.kind {
            Kind::Likeness => format!("for likeness to {}", called(&score.mics[0])),
            _ => "for liking".to_string(),
        };
        let within = match r.interval {
            Some([low, high]) => format!("between {:.0} and {:.0}", low.floor(), high.ceil()),
            None => "its interval unknown".to_string(),
        };
        out.must(format!("Blind, in {n}, {who} was rated {median:.0} of 100 {what}, {within}."));
    }
    if found.rated.iter().all(|r| r.median.is_none()) {
        out.must(format!("Blind, in {n}, nobody's ratings count."));
    }
}
