//! Where the findings of a demo miss the known answer: `scene_errors FINDINGS.json [SEED]`, a line per band.

use fairtake_compare::Findings;
use fairtake_virtual_studio::scene::scene;

fn main() {
    let mut args = std::env::args().skip(1);
    let path = args.next().expect("findings as JSON, made by `fairtake compare FOLDER --json`");
    let seed = args.next().and_then(|s| s.parse().ok()).unwrap_or(1);
    let text = std::fs::read_to_string(path).expect("the file can be read");
    let findings: Findings = serde_json::from_str(&text).expect("the form of `compare --json`");
    for truth in scene(seed).truths {
        for c in findings.comparisons.iter().filter(|c| c.source == truth.source) {
            println!(
                "{} match {:?} known {:.2} [{:?} {:?}]",
                c.source,
                c.level_match.gain_db,
                truth.match_gain_db(),
                c.level_match.low,
                c.level_match.high
            );
            for b in &c.bands {
                println!(
                    "{:8.0} known {:6.2} found {:6.2?} pointwise {:5.2?} {:5.2?} joint {:5.2?} {:5.2?} snr {:5.1?} {:?}",
                    b.centre_hz,
                    truth.difference_db(b.from_hz, b.to_hz).unwrap_or(f64::NAN),
                    b.difference_db,
                    b.low_db,
                    b.high_db,
                    b.simultaneous_low_db,
                    b.simultaneous_high_db,
                    b.snr_db,
                    b.verdict
                );
            }
        }
    }
}
