//! The report as PDF, read back by other programs: pdftotext, pdfinfo and pdffonts (poppler-utils), and qpdf.

mod made;

use fairtake_compare::{Findings, MicEntry};
use fairtake_report::pdf::{Pdf, pdf};
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
        let pdf = pdf(findings).expect("findings can be set");
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
