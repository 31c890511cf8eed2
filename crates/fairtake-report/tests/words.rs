//! The words as their speaker and reader get them: what must be said is said, names do no harm, and edited numbers are
//! noticed. That every number is true is the outside check's task.

#[path = "../examples/words/made.rs"]
mod made;
#[path = "../examples/words/parts.rs"]
mod parts;

use fairtake_compare::{Findings, Verdict};
use fairtake_report::own_words::disagreements;
use fairtake_report::spoken::{
    About, Chapter, Length, WORDS_PER_MINUTE, description, one_line, speech, table,
};
use made::{Case, case};

fn runs_of(wanted: Case) -> impl Iterator<Item = Findings> {
    (0..400).filter(move |seed| case(*seed) == wanted).map(made::findings)
}

fn every_text(findings: &Findings) -> Vec<String> {
    let abouts = (0..findings.comparisons.len()).map(About::Pair).chain([About::Whole]);
    let mut out = Vec::new();
    for about in abouts {
        out.push(speech(findings, &[], about, Length::Minute).text);
        out.push(speech(findings, &[], about, Length::ThreeMinutes).text);
        out.push(description(findings, &[], about, &[]));
    }
    out.extend(findings.comparisons.iter().map(|c| table(findings, c)));
    out
}

#[test]
fn large_differences_are_said_however_little_time_there_is() {
    let mut n = 0;
    for findings in runs_of(Case::Plain).chain(runs_of(Case::SeveralSources)) {
        let said = speech(&findings, &[], About::Whole, Length::Minute).text;
        for c in &findings.comparisons {
            for r in c.regions.iter().filter(|r| r.verdict == Verdict::Different) {
                let d = r.difference_db.expect("a different region has a difference");
                if d.abs() >= 2.0 * c.margin_db {
                    let word = if d > 0.0 { "more" } else { "less" };
                    let amount = format!("{:.1} decibels {word}", (d.abs() * 10.0).round() / 10.0);
                    assert!(said.contains(&amount), "{amount} is not in: {said}");
                    n += 1;
                }
            }
        }
    }
    assert!(n > 300, "only {n} were large");
}

#[test]
fn a_summary_keeps_to_its_time_unless_what_must_be_said_takes_longer() {
    let mut longer = 0;
    for findings in (0..300).map(made::findings) {
        for length in [Length::Minute, Length::ThreeMinutes] {
            let said = speech(&findings, &[], About::Whole, length);
            assert!((said.seconds - said.n_words as f64 * 60.0 / WORDS_PER_MINUTE).abs() < 1e-9);
            // Seven words more where differences that are not said are counted, for each comparison.
            let slack = 7.0 * findings.comparisons.len() as f64 * 60.0 / WORDS_PER_MINUTE;
            if said.seconds > length.seconds() + slack {
                longer += 1;
                // Then nothing that may be left away is in it.
                assert!(!said.text.contains("A-weighted"), "{}", said.text);
            }
        }
    }
    assert!(longer > 0, "none was so full");
}

#[test]
fn what_is_not_known_is_said() {
    for findings in runs_of(Case::AllUndecided) {
        let said = speech(&findings, &[], About::Pair(0), Length::Minute).text;
        assert!(said.contains("No region is shown to differ.") && said.contains("Undecided: "), "{said}");
    }
    for findings in runs_of(Case::NothingSupported) {
        for text in every_text(&findings).iter().filter(|t| !t.contains("margin") || t.contains("against")) {
            assert!(!text.contains("differ in"), "{text}");
        }
        let said = speech(&findings, &[], About::Whole, Length::Minute).text;
        assert!(said.contains("Nothing could be judged"), "{said}");
    }
    for findings in runs_of(Case::NoSpread) {
        let said = speech(&findings, &[], About::Pair(0), Length::Minute).text;
        assert!(said.contains("nothing is decided") && said.contains("its interval unknown"), "{said}");
    }
    for findings in runs_of(Case::NoComparison) {
        assert!(
            speech(&findings, &[], About::Whole, Length::Minute).text.starts_with("There is no comparison")
        );
        // A place that is not there is told like nothing to speak of.
        assert!(
            speech(&findings, &[], About::Pair(7), Length::Minute).text.starts_with("There is no comparison")
        );
    }
}

#[test]
fn takes_that_were_left_out_are_named_with_the_reason() {
    let mut n = 0;
    for findings in runs_of(Case::UnfairTakes) {
        let said = speech(&findings, &[], About::Whole, Length::Minute).text;
        let out: Vec<_> = findings.takes.iter().filter(|t| t.left_out).collect();
        assert_eq!(said.contains("Left out as unfair, for clipping: "), !out.is_empty(), "{said}");
        for t in out.iter().take(6) {
            let place = format!("pass {} at placement {}", t.performance, t.placement);
            assert!(said.contains(&place), "{place} is not in: {said}");
            n += 1;
        }
    }
    assert!(n > 20);
}

#[test]
fn names_of_any_kind_do_no_harm() {
    let strange = runs_of(Case::StrangeNames);
    for mut findings in strange {
        findings.title = Some("a title\nof \u{202e}two lines".into());
        for text in every_text(&findings) {
            assert!(!text.contains(['\u{202e}', '\r', '\t']), "{text:?}");
            // A sentence never begins in the middle of a name: line ends are those between paragraphs and rows.
            assert!(!text.contains("a title\nof"), "{text:?}");
            let isolates = |c: char| text.chars().filter(|x| *x == c).count();
            assert_eq!(isolates('\u{2068}'), isolates('\u{2069}'), "{text:?}");
        }
        // The name of two hundred letters is said in full where it is introduced, and not again and again.
        if let Some(long) = findings.mics.iter().find(|m| m.name.len() > 200) {
            let said = speech(&findings, &[], About::Pair(0), Length::Minute).text;
            assert_eq!(said.matches(&one_line(&long.name)).count(), 1, "{said}");
        }
    }
}

#[test]
fn an_empty_list_of_chapters_leaves_no_trace() {
    let findings = made::findings(0);
    let plain = description(&findings, &[], About::Pair(0), &[]);
    assert!(!plain.contains("Chapters"));
    let one = [Chapter::new(0.0, "Heron").expect("a time")];
    assert_eq!(description(&findings, &[], About::Pair(0), &one), format!("{plain}\nChapters\n0:00 Heron\n"));
}

#[test]
fn our_own_words_agree_with_the_findings_they_came_from() {
    for findings in (0..300).map(made::findings) {
        for i in 0..findings.comparisons.len() {
            // Before the cautions: their texts have figures of checks, not of findings.
            let text = description(&findings, &[], About::Pair(i), &[]);
            let text = text.split("aution").next().expect("a beginning");
            let text = text.split("Left out").next().expect("a beginning");
            let text = text.split("Unfair").next().expect("a beginning");
            let wrong = disagreements(text, &findings, About::Pair(i));
            assert!(wrong.is_empty(), "{wrong:?} in {text}");
        }
    }
}

#[test]
fn an_edited_number_is_noticed_with_the_nearest_true_one() {
    let mut findings = made::findings(1);
    let c = &mut findings.comparisons[0];
    c.regions.truncate(1);
    let r = &mut c.regions[0];
    (r.from_hz, r.to_hz) = (2113.0, 7943.0);
    (r.difference_db, r.low_db, r.high_db) = (Some(-34.59), Some(-36.67), Some(-32.51));
    let check = |text: &str| -> Vec<(String, Option<String>)> {
        disagreements(text, &findings, About::Pair(0)).into_iter().map(|d| (d.written, d.nearest)).collect()
    };
    assert_eq!(check("From 2.1 to 7.9 kHz it has 34.6 dB less (−36.7 to −32.5 dB), 35 dB or so."), vec![]);
    let wrong = |written: &str, near: &str| vec![(written.to_string(), Some(near.to_string()))];
    // Where no region is named, the numbers of all findings are held against it; here the region is the only one so large.
    assert_eq!(check("It has 34.8 dB less."), wrong("34.8 dB", "34.6 dB"));
    assert_eq!(check("It has 34.8 decibels less."), wrong("34.8 decibels", "34.6 dB"));
    assert_eq!(check("From 2.1 to 8.9 kHz."), wrong("8.9 kHz", "7.9 kHz"));
    let loud =
        findings.comparisons[0].levels.loudness_lufs.difference_db.estimate.expect("known").abs() + 5.0;
    let stray = format!("From 2.1 to 7.9 kHz it has {loud:.1} dB less.");
    assert_eq!(check(&stray).len(), 1, "true elsewhere, and not in this region");
    assert_eq!(check("A shift of +34.6 dB").len(), 1, "a sign that is written counts");
    assert_eq!(check("No numbers, and none in moorhen-12 or mk2."), vec![]);
}

#[test]
fn any_text_can_be_held_against_findings() {
    let findings = (0..40).map(made::findings).find(case_has_a_name_with_digits).expect("there is one");
    let name = findings.mics[0].name.clone();
    let pieces = [
        "−", "minus ", "3", "977.31", ".", ",", "12", " dB", "dB", "kHz", " ", "\n", "–", "to ", "…", "🛶",
        "\u{5d0}", &name, "x",
    ];
    let mut draw = parts::Draw::new(7);
    let mut n = 0;
    for _ in 0..3000 {
        let text: String = (0..12).map(|_| draw.of(&pieces)).collect();
        for d in disagreements(&text, &findings, About::Whole) {
            assert!(text[d.at..].starts_with(&d.written), "{d:?} in {text:?}");
            assert!(d.written.starts_with(|c: char| c.is_ascii_digit()), "{d:?}");
            n += 1;
        }
    }
    assert!(n > 1000, "only {n} numbers were found wrong");
    assert!(disagreements(&format!("{name} is it."), &findings, About::Whole).is_empty());
}

fn case_has_a_name_with_digits(findings: &Findings) -> bool {
    findings.mics[0].name.chars().any(|c| c.is_ascii_digit())
}
