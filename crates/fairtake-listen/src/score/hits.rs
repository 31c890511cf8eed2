//! Right answers: was the difference heard, and more than the control?

use crate::key::Role;
use crate::material::Paired;
use crate::plan::{ALPHA, CONFIDENCE, Control, Kind, Plan};
use crate::sitting::Sitting;
use fairtake_stats::binomial::{Cluster, ProportionInterval, clopper_pearson, clustered, tail_at_least};
use fairtake_stats::contrast::{Beside, difference, exceeds_control, joined};
use fairtake_stats::detection::Task;
use fairtake_stats::trials::heard_share;
use serde::Serialize;

/// Hits among trials.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Tally {
    /// Right answers.
    pub hits: u64,
    /// Trials.
    pub trials: u64,
}

/// What the right answers allow one to say.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum HitOutcome {
    /// More right answers than guessing gives, and, where there is a control, than the control.
    Heard,
    /// More right answers than guessing gives, of takes played one after the other without a control: by the microphone or by
    /// the playing.
    ToldApart,
    /// More than guessing gives, but not more than two passes of one microphone.
    NotMoreThanControl,
    /// Not more than guessing may give.
    NotShown,
}

/// Right answers of all sittings that came to their end.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hits {
    /// What may be said.
    pub outcome: HitOutcome,
    /// Trials that count.
    pub looked: Tally,
    /// Control trials.
    pub control: Tally,
    /// What the control pairs; `None` without one.
    pub control_pairs: Option<Control>,
    /// Catch trials. Nobody can be right there but by luck: many hits mean that something gave the key away.
    pub catch: Tally,
    /// The same of sittings that were left before the end; they do not count.
    pub left: Tally,
    /// How often guessing gives as many right answers or more.
    pub p_guessing: f64,
    /// 95 % interval of the share of right answers.
    pub share_low: f64,
    /// Its upper end.
    pub share_high: f64,
    /// Share of trials in which the difference was heard, if all others were guessed: estimate, low, high.
    pub heard: [f64; 3],
    /// d′ that gives the share of right answers and the ends of its interval; `None`: no finite one.
    pub sensitivity: [Option<f64>; 3],
    /// How often there would be as many more hits than in the control, if the control were heard as well; `None` without one.
    pub p_control: Option<f64>,
    /// Share of right answers less that of the control: estimate, low, high.
    pub over_control: Option<[f64; 3]>,
    /// A difference heard in this share of trials would have been found in four of five such tests; smaller ones may well
    /// have been missed. `None`: not even one that is always heard, or not reckoned (see [`Hits::is_power_known`]).
    pub would_have_found: Option<f64>,
    /// False with a control, and with several sittings that may end early: what those would find is not reckoned.
    pub is_power_known: bool,
    /// How many sittings ended as "shown", of several that might end early: what is counted there.
    pub n_shown: Option<u64>,
    /// How often guessing is right as often in the catch trials.
    pub p_catch: f64,
    /// Hits of each sitting.
    pub each: Vec<Tally>,
}

fn sum(sittings: &[&Sitting], role: Role) -> Tally {
    sittings.iter().map(|s| s.tally(role)).fold(Tally { hits: 0, trials: 0 }, |all, (hits, trials)| Tally {
        hits: all.hits + hits,
        trials: all.trials + trials,
    })
}

/// Of one sitting that of its trials; of several that between listeners.
pub(crate) fn interval(each: &[Tally], confidence: f64) -> ProportionInterval {
    let clusters: Vec<Cluster> =
        each.iter().map(|t| Cluster { n_hits: t.hits, n_trials: t.trials }).collect();
    let all = each.iter().fold((0, 0), |a, t| (a.0 + t.hits, a.1 + t.trials));
    let plain = clopper_pearson(all.0, all.1, confidence);
    let whole = ProportionInterval { low: 0.0, high: 1.0 };
    clustered(&clusters, confidence).or(plain).unwrap_or(whole)
}

impl Hits {
    pub(crate) fn of(plan: &Plan, done: &[&Sitting], left: &[&Sitting]) -> Hits {
        let guess = plan.kind().guess().unwrap_or(0.5);
        let each: Vec<Tally> = done.iter().map(|s| sum(&[*s], Role::Looked)).collect();
        let looked = sum(done, Role::Looked);
        let (control, catch) = (sum(done, Role::Control), sum(done, Role::Catch));
        let Evidence { p: p_guessing, interval: of_share, n_shown } =
            evidence(plan, done, &each, looked, guess);
        let share = looked.hits as f64 / looked.trials.max(1) as f64;
        let beside: Vec<Beside> = done
            .iter()
            .map(|s| {
                let ((n_hits, n_trials), (control_hits, control_trials)) =
                    (s.tally(Role::Looked), s.tally(Role::Control));
                Beside { n_hits, n_trials, control_hits, control_trials }
            })
            .collect();
        let has_control = plan.control().is_some() && control.trials > 0;
        let p_control = has_control.then(|| exceeds_control(&beside));
        let over_control = has_control
            .then(|| {
                if done.len() == 1 {
                    return beside.first().and_then(|b| difference(*b, CONFIDENCE));
                }
                let own: Vec<Tally> = done.iter().map(|s| sum(&[*s], Role::Control)).collect();
                let of_control = interval(&own, CONFIDENCE);
                let control_share = control.hits as f64 / control.trials as f64;
                Some(joined(share, of_share, control_share, of_control))
            })
            .flatten();
        let outcome = match (p_guessing <= ALPHA, p_control) {
            (false, _) => HitOutcome::NotShown,
            (true, Some(p)) if p > ALPHA => HitOutcome::NotMoreThanControl,
            (true, None) if plan.material().paired == Paired::PlayedAgain => HitOutcome::ToldApart,
            (true, _) => HitOutcome::Heard,
        };
        let is_power_known = plan.finds_are_reckoned(done.len() as u64);
        let task = if plan.kind() == Kind::Which { Task::MatchDifferencing } else { Task::Triangle };
        let three = [share, of_share.low, of_share.high];
        Hits {
            outcome,
            looked,
            control,
            control_pairs: plan.control().filter(|_| has_control),
            catch,
            left: sum(left, Role::Looked),
            p_guessing,
            share_low: of_share.low,
            share_high: of_share.high,
            heard: three.map(|s| heard_share(s, guess)),
            sensitivity: three.map(|s| task.sensitivity(s)),
            p_control,
            over_control,
            would_have_found: plan.finds_share(done.len() as u64).filter(|_| is_power_known),
            is_power_known,
            n_shown,
            p_catch: tail_at_least(catch.hits, catch.trials, guess),
            each,
        }
    }
}

/// What the hits say of guessing and of the share right.
struct Evidence {
    p: f64,
    interval: ProportionInterval,
    n_shown: Option<u64>,
}

/// How often guessing does as well, and the interval of the share right.
///
/// Whatever a listener does, each unknown is an independent fair draw: under guessing the hits of all are binomial, however
/// the listeners hang together. Where several sittings may end early, that they ended as "shown" is what is counted, and the
/// share is that of the trials before the first look: those after it are there because of how the first went.
fn evidence(plan: &Plan, done: &[&Sitting], each: &[Tally], looked: Tally, guess: f64) -> Evidence {
    match (plan.rule(), each) {
        (Some(rule), [one]) => {
            let p = rule.p_value(one.trials, one.hits).unwrap_or(1.0);
            let found = rule.interval(one.trials, one.hits, CONFIDENCE);
            Evidence { p, interval: found.unwrap_or_else(|| interval(each, CONFIDENCE)), n_shown: None }
        }
        (Some(rule), _) => {
            let ends = |t: &&Tally| {
                rule.looks()
                    .iter()
                    .any(|l| l.n_trials == t.trials && l.fewest_hits.is_some_and(|f| t.hits >= f))
            };
            let n_shown = each.iter().filter(ends).count() as u64;
            let first = rule.looks().first().map_or(u64::MAX, |l| l.n_trials);
            let before: Vec<Tally> = done
                .iter()
                .map(|s| {
                    let (hits, trials) = s.first_looked(first);
                    Tally { hits, trials }
                })
                .collect();
            let p = tail_at_least(n_shown, each.len() as u64, rule.outcome(guess).0);
            Evidence { p, interval: interval(&before, CONFIDENCE), n_shown: Some(n_shown) }
        }
        (None, _) => {
            let p = if looked.trials == 0 { 1.0 } else { tail_at_least(looked.hits, looked.trials, guess) };
            Evidence { p, interval: interval(each, CONFIDENCE), n_shown: None }
        }
    }
}
