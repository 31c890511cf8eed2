//! The texts of the demo's four comparisons, to notice change: golden, our own past output, read line by line when it was
//! made. `demo.json` holds the demo's findings without bands, features, budget, sentences and fair checks, of which these texts
//! say nothing. To make the texts anew: `cargo run -p fairtake-report --example words crates/fairtake-report/tests/golden/demo.json
//! --show > crates/fairtake-report/tests/golden/demo.txt`, then read them aloud.

#[path = "../examples/words/texts.rs"]
mod texts;

use fairtake_compare::Findings;

#[test]
fn the_demo_is_told_as_it_was() {
    let findings: Findings = serde_json::from_str(include_str!("golden/demo.json")).expect("findings");
    assert_eq!(findings.comparisons.len(), 4);
    for (now, then) in texts::shown(&findings, &[]).lines().zip(include_str!("golden/demo.txt").lines()) {
        assert_eq!(now, then);
    }
    assert_eq!(texts::shown(&findings, &[]), include_str!("golden/demo.txt"));
}
