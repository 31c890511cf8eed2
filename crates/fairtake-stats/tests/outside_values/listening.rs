//! Statistics of listening against values from outside: `reference/`, with their sources in its README.

use super::{f64_of, near, numbers, table};
use fairtake_stats::detection::Task;
use fairtake_stats::paired::{Judged, Order, worths};
use fairtake_stats::ratings::{EXEMPT_SHARE, HIDDEN_REFERENCE_BELOW, KnownRatings, MOST_SHARE, kept};

#[test]
fn shares_right_are_those_of_the_table() {
    let csv = include_str!("../../../../reference/10_dprime.csv");
    let rows = csv.lines().filter(|l| !l.starts_with('#')).skip(1);
    let mut n = 0;
    for row in rows {
        let cells: Vec<f64> = row.split(',').map(|c| c.parse().expect("a number")).collect();
        let tasks = [Task::TwoAlternatives, Task::MatchDifferencing, Task::MatchIndependent, Task::Triangle];
        for (task, expected) in tasks.iter().zip(&cells[1..]) {
            // Half of the last digit.
            near(task.share_right(cells[0]), *expected, 5.1e-7, &format!("{task:?} at {}", cells[0]));
            n += 1;
        }
    }
    assert_eq!(n, 48);
    // The line at the end of the table, to its last digit.
    for (share, d) in [(0.60, 0.358287), (0.75, 0.953873), (0.90, 1.812388)] {
        let found = Task::TwoAlternatives.sensitivity(share).expect("finite");
        near(found, d, 5.1e-7, &format!("back from {share}"));
    }
}

#[test]
fn worths_are_those_of_the_textbook_to_its_printed_digits() {
    let file = table(include_str!("../../../../reference/10_bradley_terry.toml"));
    let wins: Vec<Vec<f64>> = file["wins"].as_array().expect("rows").iter().map(numbers).collect();
    let n = wins.len();
    let judged: Vec<Judged> = (0..n)
        .flat_map(|i| (0..i).map(move |j| (j, i)))
        .map(|(first, second)| Judged {
            first,
            second,
            n_first: wins[first][second] as u64,
            n_second: wins[second][first] as u64,
        })
        .collect();
    let found = worths(n, &judged, Order::Ignored).expect("everybody lost once");
    let (published, exact) = (numbers(&file["published_log_ability"]), numbers(&file["estimates_computed"]));
    let errors = numbers(&file["se_computed"]);
    for i in 0..n {
        let (log_odds, error) = found.log_odds(i, n - 1);
        // Printed to two decimals; computed to eight.
        near(log_odds, published[i], 5.1e-3, "printed");
        near(log_odds, exact[i], 1e-7, "computed");
        if i + 1 < n {
            near(error, errors[i], 1e-7, "standard error");
            // "About 0.3" in the book: its one digit.
            near(error, f64_of(&file["published_se_about"]), 0.05, "printed standard error");
        }
    }
}

#[test]
fn the_advantage_of_the_first_place_is_that_of_the_textbook() {
    let file = table(include_str!("../../../../reference/10_bradley_terry.toml"));
    let home = &file["with_order_effect"];
    let judged: Vec<Judged> = home["games"]
        .as_array()
        .expect("rows")
        .iter()
        .map(|g| {
            let g: Vec<u64> = numbers(g).iter().map(|x| *x as u64).collect();
            Judged { first: g[0] as usize, second: g[1] as usize, n_first: g[2], n_second: g[3] }
        })
        .collect();
    let found = worths(7, &judged, Order::Estimated).expect("everybody lost once");
    let effect = found.order_effect.expect("estimated").0;
    near(effect, f64_of(&home["published_order_effect"]), 5.1e-4, "printed effect");
    near(effect, f64_of(&home["order_effect_computed"]), 1e-7, "computed effect");
    let shares = found.shares();
    for (found, computed) in shares.iter().zip(numbers(&home["worth_computed"])) {
        near(*found, computed, 1e-7, "worth");
    }
    let mut sorted = shares;
    sorted.sort_by(f64::total_cmp);
    for (found, printed) in sorted.iter().zip(numbers(&home["published_worth_sorted"])) {
        near(*found, printed, 5.1e-4, "printed worth");
    }
}

#[test]
fn raters_are_left_out_by_the_rule_of_the_recommendation() {
    let file = table(include_str!("../../../../reference/10_bs1534_rules.toml"));
    let rule = &file["post_screening"];
    assert_eq!(HIDDEN_REFERENCE_BELOW, f64_of(&rule["hidden_reference_below"]));
    assert_eq!(HIDDEN_REFERENCE_BELOW, f64_of(&rule["mid_anchor_above"]));
    assert_eq!(MOST_SHARE, f64_of(&rule["hidden_reference_max_share"]));
    assert_eq!(MOST_SHARE, f64_of(&rule["mid_anchor_max_share"]));
    assert_eq!(EXEMPT_SHARE, f64_of(&rule["mid_anchor_item_exempt_assessor_share"]));
    // The worked cases at the end of the file.
    for (n_items, n_low, is_kept) in [(10, 1, true), (10, 2, false), (20, 3, true), (20, 4, false)] {
        let rating = |item: usize| if item < n_low { 89.0 } else { 90.0 };
        let rater = KnownRatings {
            hidden_reference: (0..n_items).map(rating).collect(),
            mid_anchor: vec![None; n_items],
        };
        assert_eq!(kept(&[rater]), [is_kept], "{n_low} of {n_items}");
    }
    // The mid anchor: one rater of five rates it high on two of ten items and goes; with two of five (more than a quarter)
    // on each of the items these are no reason.
    let rater = |n_high: usize| KnownRatings {
        hidden_reference: vec![100.0; 10],
        mid_anchor: (0..10).map(|item| Some(if item < n_high { 95.0 } else { 50.0 })).collect(),
    };
    let high = |n_raters: usize| -> Vec<bool> {
        kept(&(0..5).map(|i| rater(if i < n_raters { 2 } else { 0 })).collect::<Vec<_>>())
    };
    assert_eq!(high(1), [false, true, true, true, true]);
    assert_eq!(high(2), [true; 5]);
}
