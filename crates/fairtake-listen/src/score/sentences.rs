//! What a score allows one to say, and what not, in sentences.

use super::{Counted, HitOutcome, Hits, Preference, Rating, Shown, Tally};
use crate::material::Paired;
use crate::plan::{ALPHA, Control, Kind, Plan};

/// A share in per cent: whole, or with one digit below one.
fn percent(share: f64) -> String {
    let value = 100.0 * share;
    if (0.05..0.95).contains(&value) { format!("{value:.1} %") } else { format!("{value:.0} %") }
}

/// How often chance does as well.
fn chance(p: f64) -> String {
    if p < 0.0005 {
        "in fewer than 1 of 1000 tests".into()
    } else {
        format!("in {:.1} of 100 tests", 100.0 * p)
    }
}

fn of(t: Tally) -> String {
    format!("{} of {}", t.hits, t.trials)
}

fn listed(all: &[String]) -> String {
    match all {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

type Both = (Vec<String>, Vec<String>);

pub(super) fn sentences(
    plan: &Plan,
    counted: Counted,
    shown: Option<&Shown>,
    names: &dyn Fn(&str) -> String,
) -> Both {
    let (mut says, mut does_not) = (Vec::new(), Vec::new());
    match shown {
        None => says.push("No sitting has come to its end yet, so there is nothing to say.".into()),
        Some(Shown::Hits(hits)) => of_hits(plan, hits, names, &mut says, &mut does_not),
        Some(Shown::Preference(found)) => of_preference(found, names, &mut says, &mut does_not),
        Some(Shown::Rating(found)) => of_rating(plan, found, names, &mut says, &mut does_not),
    }
    if counted.left > 0 {
        let (n, verb) = (counted.left, if counted.left == 1 { "was" } else { "were" });
        says.push(format!(
            "{n} more {verb} left before the end and {verb} not counted; what was answered is kept."
        ));
    }
    if counted.open > 0 && shown.is_some() {
        says.push(format!(
            "{} {} begun and not at the end: whoever closed the page is among them.",
            counted.open,
            if counted.open == 1 { "sitting is" } else { "sittings are" }
        ));
    }
    if counted.deleted > 0 {
        says.push(format!(
            "{} deleted by whoever keeps this test; what was answered there is not known any more.",
            if counted.deleted == 1 {
                "1 sitting was".into()
            } else {
                format!("{} sittings were", counted.deleted)
            }
        ));
    }
    if let (Some(n), true) = (plan.asked().n_sittings, shown.is_some()) {
        fixed(u64::from(n), counted, &mut says, &mut does_not);
    }
    if shown.is_some() {
        does_not.push(match counted.done {
            1 => "It is one listener in one sitting: nothing is said about others.".into(),
            n => format!("It is about these {n} sittings; who listens is not drawn from everybody."),
        });
        does_not.push("It is about these excerpts on this source, and not about others.".into());
    }
    (says, does_not)
}

fn of_hits(
    plan: &Plan,
    hits: &Hits,
    names: &dyn Fn(&str) -> String,
    says: &mut Vec<String>,
    does_not: &mut Vec<String>,
) {
    let mics: Vec<String> = plan.mics().iter().map(|m| names(m)).collect();
    let both = listed(&mics);
    if plan.material().has_equal_spectra {
        says.push(
            "Heard with equal spectra: the found difference was taken off, so this is about what is left of it, not about the \
             microphones as they are."
                .into(),
        );
    }
    says.push(match hits.n_shown {
        Some(n) => format!(
            "{} answers were right, and {n} of {} sittings ended as \"shown\"; guessing makes as many {}.",
            of(hits.looked),
            hits.each.len(),
            chance(hits.p_guessing)
        ),
        None => format!(
            "{} answers were right; guessing does as well {}.",
            of(hits.looked),
            chance(hits.p_guessing)
        ),
    });
    let [_, low, high] = hits.heard;
    match hits.outcome {
        HitOutcome::Heard => {
            says.push(match hits.control_pairs {
                None => format!("The difference between these recordings by {both} was heard."),
                Some(Control::Placements) => format!(
                    "The difference between {both} was heard, more than that between two placements of one microphone."
                ),
                Some(Control::Passes) => format!(
                    "The difference between {both}, as placed, was heard, more than that between two passes of one microphone."
                ),
            });
            says.push(heard_in("it is heard", hits, low, high));
        }
        HitOutcome::ToldApart => {
            says.push(format!(
                "Recordings by {both} can be told apart; by the microphones or by the playing is not known without control \
                 trials."
            ));
            says.push(heard_in("they are told apart", hits, low, high));
        }
        HitOutcome::NotMoreThanControl => says.push(format!(
            "Recordings by {both} can be told apart, but not shown more easily than two passes of one microphone: \
             the difference between the microphones is not shown to be heard."
        )),
        HitOutcome::NotShown => {
            says.push(format!("The difference between {both} is not shown to be heard."));
            says.push(format!("The interval allows that it is heard in up to {} of trials.", percent(high)));
        }
    }
    if let (Some(p), Some([d, low, high])) = (hits.p_control, hits.over_control) {
        says.push(format!(
            "Of the control {} were right: {:+.0} points for the microphones (95 %: {:+.0} to {:+.0}); a control heard as well \
             gives as much {}.",
            of(hits.control),
            100.0 * d,
            100.0 * low,
            100.0 * high,
            chance(p)
        ));
    }
    if !matches!(hits.outcome, HitOutcome::Heard | HitOutcome::ToldApart) {
        does_not.push("It does not show that there is nothing to hear.".into());
        does_not.push(match hits.would_have_found {
            _ if !hits.is_power_known => {
                "How small a difference such a test would have found, with its control or early end, is not reckoned.".into()
            }
            Some(share) => format!(
                "A difference heard in {} of trials is found by four of five such tests; a smaller one may well have been missed.",
                percent(share)
            ),
            None => "So few trials could not have shown even a difference that is always heard.".into(),
        });
    }
    if hits.control_pairs.is_none() {
        does_not.push(match plan.material().paired {
            Paired::SameSound => "Microphone and place are not told apart: each stood where it stood.".into(),
            Paired::PlayedAgain => {
                "Without control trials it is not told whether the microphone or the playing was heard."
                    .into()
            }
        });
    }
    if hits.each.len() > 1 && plan.asked().n_sittings.is_none() {
        does_not.push(
            "How often guessing does as well supposes that the number of sittings was fixed beforehand: whoever looks after each \
             one and goes on until it suits finds more."
                .into(),
        );
    }
    if hits.catch.trials > 0 && hits.p_catch <= ALPHA {
        does_not.push(format!(
            "{} of the trials in which all excerpts are the same were right, where nobody can know: something beside the sound \
             may have given answers away, and the result is not to be trusted.",
            of(hits.catch)
        ));
    }
}

/// Whether as many sittings came to their end as were fixed beforehand.
fn fixed(n: u64, counted: Counted, says: &mut Vec<String>, does_not: &mut Vec<String>) {
    let was = if n == 1 { "1 sitting was".to_string() } else { format!("{n} sittings were") };
    match counted.done {
        done if done == n && counted.deleted == 0 => {
            let have = if n == 1 { "it has".to_string() } else { "all have".to_string() };
            says.push(format!("{was} fixed beforehand, and {have} come to the end."));
        }
        done if done < n => does_not.push(format!(
            "{was} fixed beforehand and {done} came to the end: this is a look on the way, and whoever stops at one that suits gives \
             guessing more than one chance."
        )),
        done => {
            let deleted = match counted.deleted {
                0 => String::new(),
                1 => " and 1 was deleted".to_string(),
                n => format!(" and {n} were deleted"),
            };
            does_not.push(format!(
                "{was} fixed beforehand, {done} came to the end{deleted}: how often guessing does as well is known only for the \
                 number that was fixed."
            ));
        }
    }
}

/// In how many trials `it` is the case. The verdict is one-sided and about these answers; this is two-sided and, of several
/// sittings, about listeners like these, so that it may begin at nothing.
fn heard_in(it: &str, hits: &Hits, low: f64, high: f64) -> String {
    let whose = if hits.each.len() > 1 { "by listeners like these " } else { "" };
    if low > 0.0 {
        return format!(
            "With 95 % confidence {it} {whose}in {} to {} of trials, all others being guessed.",
            percent(low),
            percent(high)
        );
    }
    format!(
        "The interval allows that {it} {whose}in up to {} of trials; a lower end is not shown with 95 % confidence on both sides.",
        percent(high)
    )
}

fn of_preference(
    found: &Preference,
    names: &dyn Fn(&str) -> String,
    says: &mut Vec<String>,
    does_not: &mut Vec<String>,
) {
    for p in &found.pairs {
        let share = format!("95 %: {} to {}", percent(p.low), percent(p.high));
        let count = of(p.preferred);
        let (mic, other) = (names(&p.mic), names(&p.other));
        says.push(if p.is_shown {
            format!("{mic} was preferred to {other} in {count} judgements ({share}).")
        } else {
            format!(
                "No preference between {mic} and {other} is shown: {mic} in {count} judgements ({share})."
            )
        });
    }
    if let Some(best) = found.best.as_ref().filter(|_| found.pairs.len() > 1) {
        says.push(format!("{} was preferred to every other one.", names(best)));
    }
    if found.worths.is_empty() {
        does_not.push(
            "No worths are given: one was always, or never, preferred, so that they have no bound.".into(),
        );
    }
    if found.pairs.iter().any(|p| !p.is_shown) {
        does_not.push("No preference shown does not mean that all are liked equally.".into());
    }
    if found.left_of_same.trials > 0 && found.p_side() <= ALPHA {
        does_not.push(format!(
            "Of two equal excerpts the left one was chosen in {}: the side had a say. Sides were balanced, so no microphone gained by it.",
            of(found.left_of_same)
        ));
    }
}

fn of_rating(
    plan: &Plan,
    found: &Rating,
    names: &dyn Fn(&str) -> String,
    says: &mut Vec<String>,
    does_not: &mut Vec<String>,
) {
    let n_few = fairtake_stats::ratings::FEWEST_RATERS;
    for r in &found.rated {
        let Some(median) = r.median else { continue };
        let copy = if r.is_hidden_copy { " (the hidden copy)" } else { "" };
        let within = match r.interval {
            Some([low, high]) => format!(" (95 %: {low:.0} to {high:.0})"),
            None => String::new(),
        };
        let mut line = format!("{}{copy}: median {median:.0}{within}", names(&r.mic));
        if let (Some([more, fewer]), Some(p)) = (r.below_copy, r.p_copy) {
            line += &format!("; {more} of {} put it below the hidden copy", more + fewer);
            line += if p <= ALPHA { ", which is more than chance" } else { ", which chance may do" };
        }
        says.push(line + ".");
    }
    if found.n_screened > 0 {
        says.push(format!(
            "{} left out, who put the hidden copy below 90 on more than 15 % of pages (ITU-R BS.1534).",
            match found.n_screened {
                1 => "One rater was".to_string(),
                n => format!("{n} raters were"),
            }
        ));
        if plan.material().paired == Paired::PlayedAgain {
            does_not.push(
                "The hidden copy was another playing of the named microphone: to put it lower need not mean inattention.".into(),
            );
        }
    }
    if (found.n_kept as usize) < n_few {
        does_not.push(format!(
            "With {} raters no interval of a median can be given; {n_few} are needed.",
            found.n_kept
        ));
    }
    if let Some(w) = found.concordance {
        says.push(format!("Raters agree on the order with W = {w:.2} (1: all alike; 0: not at all)."));
    }
    does_not.push(match plan.kind() {
        Kind::Likeness => "Like is not good: the named microphone is no standard of quality.".into(),
        _ => "What is liked is a matter of these listeners and this use; it is no measurement.".into(),
    });
}
