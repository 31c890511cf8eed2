//! Statistics of listening as JSON, for `outside/listening.py`, which computes every one a second time with other people's
//! code. Inputs stand beside the values.

use fairtake_stats::binomial::{clopper_pearson, fewest_hits, tail_at_least, wilson};
use fairtake_stats::consistency::concordance;
use fairtake_stats::contrast::{Beside, difference, exceeds_control};
use fairtake_stats::detection::Task;
use fairtake_stats::paired::{Judged, Order, worths, worths_of_listeners};
use fairtake_stats::stopping::StoppingRule;
use fairtake_stats::trials::{Question, power};

fn main() {
    let mut rows: Vec<String> = Vec::new();
    for n in [5u64, 12, 16, 23, 40, 100] {
        for hits in [0, n / 3, n / 2, n - 2, n] {
            let cp = clopper_pearson(hits, n, 0.95).map_or([0.0; 2], |i| [i.low, i.high]);
            let w = wilson(hits, n, 0.95).map_or([0.0; 2], |i| [i.low, i.high]);
            let tail = tail_at_least(hits, n, 0.5);
            rows.push(format!(
                r#"{{"kind":"proportion","hits":{hits},"n":{n},"tail":{tail:?},"exact":{cp:?},"score":{w:?}}}"#
            ));
        }
        for guess in [0.5, 1.0 / 3.0] {
            let question = Question { guess, alpha: 0.05 };
            let fewest = fewest_hits(n, guess, 0.05).map_or(-1, |f| f as i64);
            let found = power(question, n, 0.8);
            rows.push(format!(
                r#"{{"kind":"power","n":{n},"guess":{guess:?},"fewest":{fewest},"power":{found:?}}}"#
            ));
        }
    }
    for (task, word) in [
        (Task::TwoAlternatives, "two_alternatives"),
        (Task::MatchDifferencing, "match_differencing"),
        (Task::MatchIndependent, "match_independent"),
        (Task::Triangle, "triangle"),
    ] {
        for d in [0.0, 0.7, 1.3, 2.2, 3.5] {
            let share = task.share_right(d);
            rows.push(format!(r#"{{"kind":"dprime","task":"{word}","d":{d:?},"share":{share:?}}}"#));
        }
    }
    let tables = [[14, 16, 8, 12], [10, 16, 9, 16], [16, 16, 3, 8], [7, 12, 7, 12]];
    for [n_hits, n_trials, control_hits, control_trials] in tables {
        let one = Beside { n_hits, n_trials, control_hits, control_trials };
        let p = exceeds_control(&[one]);
        let d = difference(one, 0.95).unwrap_or_default();
        let table = [n_hits, n_trials, control_hits, control_trials];
        rows.push(format!(r#"{{"kind":"control","table":{table:?},"p":{p:?},"difference":{d:?}}}"#));
    }
    let all: Vec<Beside> = tables
        .iter()
        .map(|t| Beside { n_hits: t[0], n_trials: t[1], control_hits: t[2], control_trials: t[3] })
        .collect();
    rows.push(format!(
        r#"{{"kind":"control_of_several","tables":{tables:?},"p":{:?}}}"#,
        exceeds_control(&all)
    ));
    let ratings = [[80.0, 60.0, 60.0, 20.0], [90.0, 70.0, 40.0, 50.0], [75.0, 75.0, 30.0, 10.0]];
    let rows_of: Vec<Vec<f64>> = ratings.iter().map(|r| r.to_vec()).collect();
    rows.push(format!(
        r#"{{"kind":"concordance","ratings":{ratings:?},"w":{:?}}}"#,
        concordance(&rows_of).unwrap_or(-1.0)
    ));
    // Judgements of seven listeners on four items: [listener, first, second, first wins, second wins].
    let games: Vec<[u64; 5]> = (0..7u64)
        .flat_map(|l| {
            [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)].map(|(a, b)| {
                let first = (3 * l + 5 * a + 2 * b + l * a * b) % 7 + u64::from(a < 2);
                [l, a, b, first, 8 - first.min(8)]
            })
        })
        .collect();
    let judged =
        |g: &[u64; 5]| Judged { first: g[1] as usize, second: g[2] as usize, n_first: g[3], n_second: g[4] };
    let listeners: Vec<Vec<Judged>> =
        (0..7).map(|l| games.iter().filter(|g| g[0] == l).map(judged).collect()).collect();
    let plain = worths(4, &listeners.concat(), Order::Ignored).map(|w| [w.log_odds(0, 3), w.log_odds(1, 2)]);
    let of_listeners =
        worths_of_listeners(4, &listeners, Order::Ignored).map(|w| [w.log_odds(0, 3), w.log_odds(1, 2)]);
    let numbers = |w: Result<[(f64, f64); 2], _>| {
        let w: [(f64, f64); 2] = w.unwrap_or_else(|e: fairtake_stats::paired::NoWorths| panic!("{e:?}"));
        format!("[[{:?},{:?}],[{:?},{:?}]]", w[0].0, w[0].1, w[1].0, w[1].1)
    };
    rows.push(format!(
        r#"{{"kind":"worths","games":{games:?},"plain":{},"of_listeners":{}}}"#,
        numbers(plain),
        numbers(of_listeners)
    ));
    for looks in [vec![16u64], vec![8, 12, 16, 20, 24]] {
        let question = Question { guess: 0.5, alpha: 0.05 };
        let Ok(rule) = StoppingRule::new(question, &looks) else { continue };
        let bounds: Vec<i64> = rule.looks().iter().map(|l| l.fewest_hits.map_or(-1, |f| f as i64)).collect();
        let (under_guessing, under_most) = (rule.outcome(0.5).0, rule.outcome(0.8).0);
        rows.push(format!(
            r#"{{"kind":"stopping","looks":{looks:?},"bounds":{bounds:?},"guessing":{under_guessing:?},"at_80":{under_most:?}}}"#
        ));
    }
    println!("[{}]", rows.join(",\n "));
}
