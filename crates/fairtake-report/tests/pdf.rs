//! The report as PDF, read back by other programs: pdftotext, pdfinfo and pdffonts (poppler-utils), and qpdf.

mod made;

use fairtake_calibrated::direction::{
    Apart, BandDirection, Direction, DirectionConditions, PolarPoint, Sides, Symmetry, Turning,
};
use fairtake_calibrated::level::Standing;
use fairtake_calibrated::microphone::{Held, PairMatch};
use fairtake_calibrated::sheet::{MatchedPair, Missing, Part};
use fairtake_calibrated::{Contribution, DataSheet, Measurements, Quantity};
use fairtake_compare::{Findings, MicEntry};
use fairtake_report::pdf::{Pdf, pdf, pdf_of_sheets, pdf_with};
use fairtake_report::{page, words};
use made::{findings, hits, in_turn, take};
use std::process::{Command, Output};

/// A report as a file, and what other programs say of it.
struct Set {
    pdf: Pdf,
    _folder: tempfile::TempDir,
    file: std::path::PathBuf,
}

impl Set {
    fn new(findings: &Findings) -> Set {
        Set::of(pdf(findings).expect("findings can be set"))
    }

    fn of(pdf: Pdf) -> Set {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("report.pdf");
        std::fs::write(&file, &pdf.bytes).expect("written");
        Set { pdf, _folder: folder, file }
    }

    fn ask(&self, program: &str, before: &[&str], after: &[&str]) -> Output {
        let done = Command::new(program).args(before).arg(&self.file).args(after).output();
        done.unwrap_or_else(|e| panic!("{program} is needed (Debian: poppler-utils, qpdf): {e}"))
    }

    fn said(&self, program: &str, before: &[&str], after: &[&str]) -> String {
        let done = self.ask(program, before, after);
        // Poppler 22 complains of a boolean where the standard has one, so that its complaints are not counted.
        assert!(done.status.success(), "{program}: {done:?}");
        String::from_utf8(done.stdout).expect("UTF-8")
    }

    /// Text in the order of writing, without white space: where lines break is not asked here.
    fn text(&self) -> String {
        squeezed(&self.said("pdftotext", &["-raw", "-enc", "UTF-8"], &["-"]))
    }

    fn text_of_page(&self, number: usize) -> String {
        let n = number.to_string();
        squeezed(&self.said("pdftotext", &["-raw", "-enc", "UTF-8", "-f", &n, "-l", &n], &["-"]))
    }

    /// Sound, tagged, A4, with its fonts inside.
    fn check(&self) {
        let checked = self.ask("qpdf", &["--check"], &[]);
        assert!(checked.status.success(), "{}", String::from_utf8_lossy(&checked.stdout));
        let info = self.said("pdfinfo", &[], &[]);
        let value = |name: &str| {
            let line = info.lines().find(|l| l.starts_with(name)).unwrap_or_else(|| panic!("{name}: {info}"));
            line.split_once(':').map(|(_, v)| v.trim().to_string()).expect("a value")
        };
        assert_eq!(value("Pages"), self.pdf.pages.to_string());
        assert_eq!(value("Tagged"), "yes");
        assert!(value("Page size").contains("A4"), "{info}");
        assert!(!info.contains("CreationDate"), "a time stamp is inside");
        let fonts = self.said("pdffonts", &[], &[]);
        let fonts: Vec<&str> = fonts.lines().skip(2).collect();
        assert!(!fonts.is_empty());
        for font in fonts {
            assert!(font.contains("+Inter") && font.contains(" yes yes yes "), "{font}");
        }
    }
}

fn squeezed(text: &str) -> String {
    text.split_whitespace().collect()
}

/// A pair with a title, its own words, and everything that a pair can have.
fn titled() -> Findings {
    let mut findings = in_turn("heron", "moorhen");
    findings.title = Some("A day in the boathouse".into());
    findings.comparisons[0].own_words = Some("The moorhen is darker.\n\nI like it on the drum.".into());
    findings
}

#[test]
fn another_program_reads_every_finding_and_every_number_of_every_region() {
    let findings = titled();
    let set = Set::new(&findings);
    set.check();
    let text = set.text();
    let c = &findings.comparisons[0];
    assert!(c.findings.len() > 2 && c.regions.len() > 1, "the scene has something to say");
    for f in &c.findings {
        assert!(text.contains(&squeezed(&f.text)), "{} is not in the PDF", f.text);
    }
    for r in &c.regions {
        let row = [
            words::hertz(r.from_hz),
            words::hertz(r.to_hz),
            words::mark(r.verdict).to_string(),
            words::verdict(r.verdict).to_string(),
            r.difference_db.map_or("unknown".into(), words::signed),
            r.low_db.zip(r.high_db).map_or("unknown".into(), |(l, h)| words::interval(l, h)),
        ];
        assert!(text.contains(&squeezed(&row.concat())), "{row:?} is not in the PDF");
    }
    for line in budget_values(c) {
        assert!(text.contains(&line), "{line} is not in the PDF");
    }
    for said in ["A day in the boathouse", "The moorhen is darker.", "I like it on the drum.", "JCGM 100"] {
        assert!(text.contains(&squeezed(said)), "{said} is not in the PDF");
    }
    for t in &findings.takes {
        assert!(text.contains(&squeezed(&t.file)), "{} is not in the PDF", t.file);
    }
    for check in findings.checks.iter().filter(|c| c.outcome != fairtake_compare::Outcome::Fair) {
        assert!(text.contains(&squeezed(&check.text)), "{} is not in the PDF", check.text);
    }
    assert!(set.pdf.replaced.is_empty());
}

/// Rows of the uncertainty budget as they stand in the table.
fn budget_values(c: &fairtake_compare::ComparisonFindings) -> Vec<String> {
    let row = |(i, r): (usize, &fairtake_compare::Region)| {
        let values: String = c
            .budget
            .iter()
            .map(|l| {
                l.per_region_db.get(i).copied().flatten().map_or("unknown".into(), |v| format!("{v:.2}"))
            })
            .collect();
        squeezed(&format!("{} to {}{values}", words::hertz(r.from_hz), words::hertz(r.to_hz)))
    };
    c.regions.iter().enumerate().map(row).collect()
}

#[test]
fn it_says_what_the_page_says() {
    let findings = titled();
    let (html, text) = (page::page(&findings), Set::new(&findings).text());
    // What the page has in its cells, terms and paragraphs, but for every band and every fair check.
    let shown = html.split("<details>").map(|p| p.split_once("</details>").map_or(p, |(_, after)| after));
    let mut n = 0;
    for part in shown.flat_map(|p| p.split('<')) {
        let Some((tag, said)) = part.split_once('>') else { continue };
        let kind = tag.split(' ').next().unwrap_or("");
        if !["td", "th", "dt", "dd", "p", "span", "figcaption", "caption", "h1", "h2", "h3"].contains(&kind) {
            continue;
        }
        let plain =
            said.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&amp;", "&");
        let plain = plain.replace("On a wide screen, ", "");
        n += 1;
        assert!(text.contains(&squeezed(&plain)), "{plain:?} of the page is not in the PDF");
    }
    assert!(n > 100, "only {n} texts of the page were found");
}

#[test]
fn it_is_tagged_and_the_same_every_time() {
    let findings = titled();
    let set = Set::new(&findings);
    assert_eq!(set.pdf, pdf(&findings).unwrap());
    let structure = set.said("pdfinfo", &["-struct"], &[]);
    for part in ["H1", "H2", "H3", "Table", "THead", "TH", "TD", "Figure", "Caption", "LBody"] {
        let found = structure
            .lines()
            .any(|l| l.split_whitespace().next().map(|w| w.trim_end_matches(':')) == Some(part));
        assert!(found, "no {part} in {structure}");
    }
    let tables = structure
        .lines()
        .filter(|l| l.trim_start() == "Table" || l.trim_start().starts_with("Table "))
        .count();
    assert!(tables >= 4, "{tables} tables");
}

#[test]
fn hostile_names_do_no_harm_and_what_cannot_be_set_is_said_by_number() {
    let mut findings = in_turn("moor<hen> & \"co\"", "he\u{202e}ron\u{0} 🎤 (\\) %s");
    findings.title = Some(format!("<b>\u{5fae}</b> & {} \r\n e\u{301}", "W".repeat(3000)));
    let c = &mut findings.comparisons[0];
    c.own_words = Some("word ".repeat(6000) + "\u{feff}\n" + &"x".repeat(20_000));
    findings.takes[0].file = "long/".repeat(400);
    findings.checks[0].text = "every word of a long finding ".repeat(900);
    findings.checks[0].outcome = fairtake_compare::Outcome::Unfair;
    let set = Set::new(&findings);
    set.check();
    let text = set.text();
    for said in [
        "moor<hen>&\"co\"",
        "he[202E]ron[0000][1F3A4](\\)%s",
        "<b>[5FAE]</b>&",
        "In brackets: Unicode numbers",
    ] {
        assert!(text.contains(&squeezed(said)), "{said} is not in the PDF");
    }
    // Once in the list, once in the table.
    assert!(text.matches("finding").count() >= 1800);
    assert!(text.matches('W').count() >= 3000);
    assert!(text.matches("word").count() >= 6000);
    assert!(set.pdf.replaced.contains(&'🎤') && set.pdf.replaced.contains(&'\u{202e}'));
    assert!((20..80).contains(&set.pdf.pages), "{} pages", set.pdf.pages);
}

#[test]
fn thirty_microphones_are_listed_with_the_pages_on_which_they_stand() {
    let mut findings = in_turn("heron", "moorhen");
    findings.title = Some("Thirty".into());
    let pair = findings.comparisons[0].clone();
    findings.comparisons.clear();
    for i in 0..29 {
        let name = format!("bird number {i} of the reed bed");
        let id = format!("bird{i}");
        findings.mics.push(MicEntry { id: id.clone(), name, ..findings.mics[1].clone() });
        let mut c = pair.clone();
        c.against = id;
        findings.comparisons.push(c);
    }
    let set = Set::new(&findings);
    set.check();
    assert!((60..150).contains(&set.pdf.pages), "{} pages", set.pdf.pages);
    let front: String = (1..=3).map(|n| set.text_of_page(n)).collect();
    for (i, c) in findings.comparisons.iter().enumerate() {
        let heading = squeezed(&page::heading(&findings, &c.reference, &c.against, &c.source));
        let after = front.split_once(&heading).unwrap_or_else(|| panic!("{i} is not in the contents")).1;
        let digits: String = after.chars().take_while(char::is_ascii_digit).collect();
        let on = set.text_of_page(digits.parse().unwrap_or_else(|_| panic!("no page for {i}: {after:.40}")));
        assert!(on.contains(&heading), "pair {i} is not on page {digits}");
    }
}

#[test]
fn nothing_supported_is_said_and_set() {
    let few = |seed| hits(seed, 1.0)[..3 * made::RATE_HZ as usize].to_vec();
    let mut findings = findings(vec![take("heron", 1, few(1)), take("moorhen", 2, few(2))]);
    let set = Set::new(&findings);
    set.check();
    assert!(set.text().contains(&squeezed("too few to know the spread")));
    assert!(!set.text().contains("NaN"));
    let c = &mut findings.comparisons[0];
    (c.bands, c.regions, c.findings, c.features) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let set = Set::new(&findings);
    set.check();
    assert_eq!(set.text().matches(&squeezed("None that the takes support.")).count(), 3);
    findings.comparisons.clear();
    Set::new(&findings).check();
}

/// A microphone that was turned, with a remark, and a pair.
fn measured() -> Measurements {
    let known = |value, half| Quantity::new(value, vec![Contribution::expanded("readings", half, 1.96)]);
    let polar = |angle_deg: f64| PolarPoint {
        angle_deg,
        level_db: known(20.0 * (0.5 + 0.5 * angle_deg.to_radians().cos()).max(0.05).log10(), 0.2),
        standing: Standing::Own,
    };
    let band = BandDirection {
        centre_hz: 1000.0,
        polar: (0..=12).map(|k| polar(15.0 * f64::from(k))).collect(),
        at_90: None,
        at_180: None,
        directivity_index_db: Some(known(4.77, 0.12)),
        distance_factor: Some(known(1.73, 0.03)),
        front_to_back_random_db: None,
        first_order: None,
        null: None,
        symmetry: Some(Symmetry {
            greatest_db: known(-1.2, 0.3),
            apart: Apart::Measured,
            at_deg: 60.0,
            rms_db: Some(0.71),
            n_angles: 4,
        }),
    };
    // As many as a sheet tells of.
    let octaves = [250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0];
    let octaves = octaves.map(|centre_hz| BandDirection { centre_hz, ..band.clone() }).to_vec();
    let direction = Direction {
        thirds: Vec::new(),
        octaves,
        front_to_random: None,
        conditions: DirectionConditions {
            angles_deg: (0..=12).map(|k| 15.0 * f64::from(k)).collect(),
            sides: Sides::One,
            widest_step_deg: 15.0,
            turning: Turning {
                angle_deg: 1.0,
                zero_deg: 1.0,
                distance_mm: 1000.0,
                centre_mm: 10.0,
                reflected_db: None,
                temperature_c: 20.0,
            },
        },
        cautions: Vec::new(),
    };
    let missing =
        || Missing { take: None, what: "no silence was recorded".into(), hint: "log a take of it".into() };
    let sheet = |mic: &str, name: &str, direction: Part<Direction>| DataSheet {
        mic: mic.into(),
        name: name.into(),
        sensitivity: Part { found: None, missing: Vec::new() },
        response: Part { found: None, missing: Vec::new() },
        direction,
        proximity: Part { found: None, missing: Vec::new() },
        distortion: Part { found: None, missing: Vec::new() },
        noise: Part { found: None, missing: vec![missing()] },
        beside_stated: Vec::new(),
    };
    let pair = MatchedPair {
        first: "heron".into(),
        second: "heron-b".into(),
        names: ["Heron 3".into(), "Heron 3, its twin".into()],
        n_repeats: [3, 3],
        matched: PairMatch {
            level_db: known(0.4, 0.2),
            largest: Held { hz: 5500.0, deviation_db: known(-1.17, 0.12) },
            half_for_all_db: Some(0.41),
            range_hz: (251.2, 19_000.0),
            n_points: 75,
        },
        at_equal_gain_db: Some(known(0.58, 0.31)),
    };
    Measurements {
        schema: 1,
        version: "0.0.0".into(),
        title: "The boathouse, measured".into(),
        temperature_c: Some(18.0),
        static_pressure_kpa: None,
        sheets: vec![
            sheet("heron", "Heron 3", Part { found: Some(direction), missing: Vec::new() }),
            sheet("heron-b", "Heron 3, its twin", Part { found: None, missing: Vec::new() }),
        ],
        pairs: vec![pair],
    }
}

#[test]
fn every_measured_microphone_begins_a_page_with_its_lines_and_pictures() {
    let measured = measured();
    let alone = Set::of(pdf_of_sheets(&measured).expect("sheets can be set"));
    alone.check();
    assert_eq!(alone.pdf.pages, 4, "title and contents, two microphones, pairs");
    let first = alone.text_of_page(1);
    for said in ["The boathouse, measured", "18 °C", "Data sheet: Heron 3", "Pairs"] {
        assert!(first.contains(&squeezed(said)), "{said}: {first}");
    }
    let heron = alone.text_of_page(2);
    let lines = [
        "Data sheet: Heron 3",
        "octave at 250 Hz 500 Hz 1.0 kHz 2.0 kHz 4.0 kHz 8.0 kHz",
        "−1.20 ± 0.30 dB at 60°",
        "directivity index 4.77 ± 0.12 dB",
        "distance factor 1.730 ± 0.030",
        "13 angles on one side",
        "no silence was recorded; log a take of it.",
    ];
    for said in lines {
        assert!(heron.contains(&squeezed(said)), "{said}: {heron}");
    }
    assert!(alone.text_of_page(3).contains(&squeezed("Data sheet: Heron 3, its twin")));
    let pairs = alone.text_of_page(4);
    for said in [
        "−1.17 ± 0.12 dB at 5.5 kHz (at all points at once: ± 0.41 dB)",
        "+0.58 ± 0.31 dB at equal gain",
        "settings-up: 3 and 3",
    ] {
        assert!(pairs.contains(&squeezed(said)), "{said}: {pairs}");
    }
    // Headings and the picture are known as such to whoever does not see them; the picture is lines, no pixels.
    let structure = alone.said("pdfinfo", &["-struct"], &[]);
    assert!(
        structure.contains("H2") && structure.contains("H3") && structure.contains("Figure"),
        "{structure}"
    );
    let images = alone.said("pdfimages", &["-list"], &[]);
    assert_eq!(images.lines().count(), 2, "a head and nothing else: {images}");

    // In a report they stand between comparisons and appendix.
    let findings = titled();
    let whole = Set::of(pdf_with(&findings, &[], &[], Some(&measured)).expect("both can be set"));
    whole.check();
    let text = whole.text();
    let place = |said: &str| text.rfind(&squeezed(said)).unwrap_or_else(|| panic!("{said}: {text}"));
    assert!(place("Regions") < place("Data sheet: Heron 3, its twin"));
    assert!(place("Data sheet: Heron 3, its twin") < place("How it was computed"));
    assert_eq!(whole.pdf.pages, Set::new(&findings).pdf.pages + 3);
}
