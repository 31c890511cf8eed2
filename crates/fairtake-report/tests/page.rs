//! The report as a reader gets it: whole, self-contained, and saying what the findings say.

mod made;

use fairtake_compare::Findings;
use fairtake_report::figure::{Corridor, Layout, draw};
use fairtake_report::page::page;
use made::{RATE_HZ, findings, hits, take};

fn in_turn() -> Findings {
    made::in_turn("heron", "moor<hen> & \"co\"")
}

#[test]
fn the_report_says_every_finding_and_asks_nothing_of_a_network() {
    let findings = in_turn();
    let html = page(&findings);
    for f in &findings.comparisons[0].findings {
        let text =
            f.text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;");
        assert!(html.contains(&text), "{} is not in the report", f.text);
    }
    for check in &findings.checks {
        assert!(html.contains(&check.code.replace('_', " ")), "{} is not in the report", check.code);
    }
    let names_a_place = html.replace("http://www.w3.org/2000/svg", "");
    assert!(!names_a_place.contains("http") && !names_a_place.contains("<script"), "the file stands alone");
}

#[test]
fn names_cannot_break_out_of_the_page() {
    let html = page(&in_turn());
    assert!(!html.contains("moor<hen>"));
    assert!(html.contains("moor&lt;hen&gt; &amp; &quot;co&quot;"));
}

#[test]
fn the_picture_shows_every_judged_region_and_nothing_outside_its_frame() {
    let findings = in_turn();
    let c = &findings.comparisons[0];
    for layout in [Layout::WIDE, Layout::NARROW] {
        let svg = draw(&Corridor::new(&findings, c), &layout);
        let shown = c.regions.iter().filter(|r| r.to_hz > 20.0 && r.from_hz < 20_000.0).count();
        assert_eq!(svg.matches("class=\"segment").count(), shown);
        for path in svg.split("<path d=\"").skip(1).filter_map(|p| p.split('"').next()) {
            for point in path.split(['M', 'L', 'Z']).filter(|p| !p.is_empty()) {
                let x: f64 = point.split(' ').next().and_then(|x| x.parse().ok()).expect("a number");
                assert!((0.0..=layout.width).contains(&x), "{point}");
            }
        }
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
    }
}

#[test]
fn what_is_not_known_is_said_to_be_unknown() {
    // Two hits each: no spread, no interval, no verdict.
    let few = |seed| hits(seed, 1.0)[..3 * RATE_HZ as usize].to_vec();
    let findings = findings(vec![take("heron", 1, few(1)), take("moorhen", 2, few(2))]);
    assert_eq!(findings.comparisons[0].degrees_of_freedom, None);
    let html = page(&findings);
    assert!(html.contains("too few to know the spread"));
    assert!(html.contains("interval unknown"));
    assert!(!html.contains("NaN"));
}
