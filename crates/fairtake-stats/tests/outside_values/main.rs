//! Single-number statistics against values from outside: `reference/`, with their sources in its README.

mod listening;

use fairtake_stats::binomial::{clopper_pearson, fewest_hits, tail_at_least, wilson};
use fairtake_stats::chi_square::{bias_db, interval_db, sd_db};
use fairtake_stats::components::components;
use fairtake_stats::describe::describe;
use fairtake_stats::equivalence::{EquivalenceQuestion, Samples, equivalence};
use fairtake_stats::student::{t_cdf, t_factor};
use toml::{Table, Value};

/// Rows of a reference table: comment lines and the line of column names left out.
fn rows(csv: &str) -> Vec<Vec<&str>> {
    let lines = csv.lines().filter(|l| !l.starts_with('#') && !l.is_empty());
    lines.skip(1).map(|l| l.split(',').collect()).collect()
}

fn number(cell: &str) -> f64 {
    cell.parse().expect("a number in a reference table")
}

fn table(toml: &str) -> Table {
    toml.parse().expect("a reference file is TOML")
}

fn f64_of(value: &Value) -> f64 {
    value.as_float().or_else(|| value.as_integer().map(|i| i as f64)).expect("a number in a reference file")
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("an array").iter().map(f64_of).collect()
}

#[track_caller]
fn near(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((found - expected).abs() <= tolerance, "{what}: {found}, expected {expected} ± {tolerance}");
}

#[test]
fn t_factors_are_those_of_the_table() {
    let rows = rows(include_str!("../../../../reference/11_student_t.csv"));
    assert_eq!(rows.len(), 28);
    for row in rows {
        let df = number(row[1]);
        // Half of the last digit of the table.
        near(t_factor(0.95, df), number(row[2]), 5.1e-7, &format!("95 % at {df}"));
        near(t_factor(0.99, df), number(row[3]), 5.1e-7, &format!("99 % at {df}"));
        near(t_cdf(number(row[2]), df), 0.975, 2e-7, &format!("probability at {df}"));
    }
}

#[test]
fn certified_means_and_spreads_are_met() {
    let file = table(include_str!("../../../../reference/11_nist_strd.toml"));
    let pairs = |first: f64, low: f64, high: f64| {
        let mut values = vec![first];
        values.extend((0..500).flat_map(|_| [low, high]));
        values
    };
    // The relative error that a standard deviation may have is that of the data themselves: a value near 1e7
    // is rounded by up to 0.93e-9, which is 1e-8 of a deviation of 0.1.
    let sets: [(&str, Vec<f64>, f64); 6] = [
        ("Michelso", numbers(&file["Michelso"]["data"]), 1e-12),
        ("Mavro", numbers(&file["Mavro"]["data"]), 1e-12),
        ("NumAcc1", vec![10000001.0, 10000003.0, 10000002.0], 0.0),
        ("NumAcc2", pairs(1.2, 1.1, 1.3), 1e-14),
        ("NumAcc3", pairs(1000000.2, 1000000.1, 1000000.3), 1e-9),
        ("NumAcc4", pairs(10000000.2, 10000000.1, 10000000.3), 1e-8),
    ];
    for (name, data, tolerance) in sets {
        let certified = &file[name];
        let d = describe(&data).expect("data");
        assert_eq!(d.n as f64, f64_of(&certified["n"]), "{name}");
        let (mean, sd, r1) = (f64_of(&certified["mean"]), f64_of(&certified["sd"]), f64_of(&certified["r1"]));
        near(d.mean, mean, 1e-15 * mean.abs(), &format!("{name} mean"));
        near(d.sd.expect("several values"), sd, tolerance.max(2e-16) * sd, &format!("{name} sd"));
        near(d.lag1.expect("a spread"), r1, tolerance.max(1e-15) * 10.0, &format!("{name} r1"));
    }
}

#[test]
fn variance_components_are_those_of_the_textbook() {
    let file = table(include_str!("../../../../reference/11_random_effects.toml"));
    let groups: Vec<Vec<f64>> = file["data"].as_array().expect("groups").iter().map(numbers).collect();
    let slices: Vec<&[f64]> = groups.iter().map(Vec::as_slice).collect();
    let c = components(&slices, 0.95).expect("spread within");
    // Published to two decimals.
    near(c.between, f64_of(&file["published_reml_between"]), 5e-3, "between");
    near(c.within, f64_of(&file["published_reml_within"]), 5e-3, "within");
    near(c.mean, f64_of(&file["published_grand_mean"]), 1e-9, "grand mean");
    // Here and below half of the last digit given, and the table's own rounding.
    near(c.mean_standard_error, f64_of(&file["se_grand_mean"]), 1e-6, "standard error");
    let mean = numbers(&file["ci95_grand_mean"]);
    near(c.mean_interval.low, mean[0], 2e-6, "mean, lower end");
    near(c.mean_interval.high, mean[1], 2e-6, "mean, upper end");
    near(c.intraclass, f64_of(&file["intraclass_correlation"]), 1e-8, "intraclass");
    let share = numbers(&file["intraclass_ci95"]);
    near(c.intraclass_interval.low, share[0], 1e-8, "intraclass, lower end");
    near(c.intraclass_interval.high, share[1], 1e-8, "intraclass, upper end");
}

#[test]
fn equivalence_tests_agree_with_another_program() {
    let file = table(include_str!("../../../../reference/11_tost.toml"));
    let question = EquivalenceQuestion { margin: f64_of(&file["margin"]), alpha: 0.05 };
    let cases = [
        ("paired_var1", Samples::Paired),
        ("paired_var2", Samples::Paired),
        ("welch_var1", Samples::OwnSpreads),
        ("welch_var2", Samples::OwnSpreads),
        ("pooled_var1", Samples::CommonSpread),
    ];
    for (name, samples) in cases {
        let variable = &name[name.len() - 4..];
        let first = numbers(&file[&format!("group1_{variable}")]);
        let second = numbers(&file[&format!("group2_{variable}")]);
        let found = equivalence(&first, &second, samples, question).expect("spread");
        let expected = &file[name];
        let interval = numbers(&expected["ci90"]);
        // The other program's numbers carry 13 and more digits; both sides' inverse t is good to about 1e-10.
        for (found, expected, what) in [
            (found.difference, f64_of(&expected["mean_diff"]), "difference"),
            (found.standard_error, f64_of(&expected["se"]), "standard error"),
            (found.df, f64_of(&expected["df"]), "degrees of freedom"),
            (found.low, interval[0], "lower end"),
            (found.high, interval[1], "upper end"),
            (found.p, f64_of(&expected["p"]), "p"),
        ] {
            near(found, expected, 1e-9, &format!("{name} {what}"));
        }
        assert_eq!(Some(found.equivalent), expected["equivalent"].as_bool(), "{name}");
    }
}

#[test]
fn chi_square_intervals_in_db_are_those_of_the_table() {
    let rows = rows(include_str!("../../../../reference/08_chi_square_interval.csv"));
    assert_eq!(rows.len(), 15);
    for row in rows {
        let dof = number(row[0]);
        let at = |confidence| interval_db(dof, confidence).expect("degrees of freedom");
        let found =
            [at(0.90).low_db, at(0.90).high_db, at(0.95).low_db, at(0.95).high_db, sd_db(dof), bias_db(dof)];
        for (k, found) in found.into_iter().enumerate() {
            // Half of the last digit of the table.
            near(found, number(row[k + 1]), 5.1e-5, &format!("{dof} degrees of freedom, column {}", k + 1));
        }
    }
}

#[test]
fn critical_counts_of_guessing_are_exact() {
    let rows = rows(include_str!("../../../../reference/10_binomial_critical.csv"));
    assert_eq!(rows.len(), 46);
    for row in rows {
        let n: u64 = row[0].parse().expect("a count");
        for (column, chance, alpha) in
            [(1, 0.5, 0.05), (3, 0.5, 0.01), (5, 0.5, 0.001), (6, 1.0 / 3.0, 0.05), (8, 1.0 / 3.0, 0.01)]
        {
            let expected: Option<u64> = row[column].parse().ok();
            let found = fewest_hits(n, chance, alpha);
            assert_eq!(found, expected, "{n} trials at {chance}, alpha {alpha}");
            if let (Some(hits), true) = (found, column != 5) {
                // Half of the last digit of the table.
                let p = number(row[column + 1]);
                near(tail_at_least(hits, n, chance), p, 5.1e-7, &format!("{hits} of {n} at {chance}"));
            }
        }
    }
}

#[test]
fn intervals_of_proportions_are_those_of_the_table() {
    let rows = rows(include_str!("../../../../reference/10_binomial_intervals.csv"));
    assert_eq!(rows.len(), 19);
    for row in rows {
        let (hits, n) = (row[0].parse().expect("a count"), row[1].parse().expect("a count"));
        let exact = clopper_pearson(hits, n, 0.95).expect("trials");
        let score = wilson(hits, n, 0.95).expect("trials");
        for (k, found) in [exact.low, exact.high, score.low, score.high].into_iter().enumerate() {
            // Half of the last digit of the table, and the error of the inverse beta function.
            near(found, number(row[k + 2]), 1e-8, &format!("{hits} of {n}, column {}", k + 2));
        }
    }
}
