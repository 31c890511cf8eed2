//! A small run of the coverage of pairs, direction and proximity; the whole one is an example.

#[path = "../examples/levels_coverage/direction.rs"]
mod direction;
#[path = "../examples/levels_coverage/pairs.rs"]
mod pairs;
#[path = "../examples/levels_coverage/proximity.rs"]
mod proximity;
#[path = "../examples/levels_coverage/table.rs"]
mod table;

use table::{Row, table};

/// Three binomial standard errors of a share of 0.95.
fn slack(n: u64) -> f64 {
    3.0 * (0.95 * 0.05 / n as f64).sqrt()
}

#[test]
fn a_pairs_intervals_hold_as_often_as_they_say() {
    let n = 500;
    let rows = pairs::rows(n);
    let of_twins: Vec<&Row> = rows.iter().filter(|row| row.name().starts_with("twins")).collect();
    assert_eq!(of_twins.len(), 12, "four cases with three figures each: {}", table(&rows));
    for row in of_twins {
        let (low, high) = if row.name().contains("at once") { (0.95, 1.0) } else { (0.93, 0.97) };
        let held = (low - slack(n)..=high + slack(n)).contains(&row.share());
        assert!(held, "{}: {}", row.name(), row.share());
    }
    // The largest of many that do not differ: by itself it is held too seldom, with all at once it is not.
    let share = |figure: &str| {
        let found = rows.iter().find(|r| r.name().starts_with("no difference") && r.name().contains(figure));
        found.expect("such a row").share()
    };
    assert!(share("largest deviation") < 0.93 && share("at once") > 0.95 - slack(n), "{}", table(&rows));
}

#[test]
fn no_interval_of_direction_or_proximity_holds_less_often_than_it_says() {
    let n = 150;
    for row in direction::rows(n).into_iter().chain(proximity::rows(n)).filter(|row| row.n() > 0) {
        // Points of one measurement share the turning: as if there were one of each.
        assert!(row.share() > 0.93 - slack(n), "{}: {}", row.name(), row.share());
    }
}
