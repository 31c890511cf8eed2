//! `write-up` as a user types it: what is in the folder, what is not told by it, and what bad input leaves behind.

mod bad_input;
mod made;
mod moving;

use made::{Made, files, text};

#[test]
fn one_folder_holds_everything_and_a_manifest() {
    let made = Made::new("boathouse", 2, 6);
    let said = made.written(&["--sizes", "screen,square:large,1200x700", "--licence", "CC BY 4.0"]);
    assert!(said.contains("LUFS, true peak"), "{said}");
    let there = files(&made.target());
    let pair = "drum-bird-2-against-bird-1";
    let mut expected = vec![
        "LICENCE.txt".to_string(),
        "manifest.sha256".into(),
        "report.html".into(),
        "report.pdf".into(),
        "excerpts/drum-01-bird-1.wav".into(),
        "excerpts/drum-01-bird-2.wav".into(),
        "words/spoken-60-s.txt".into(),
        "words/spoken-180-s.txt".into(),
    ];
    expected.extend(["wav", "vtt", "srt"].map(|ending| format!("reels/drum.{ending}")));
    expected.push("reels/drum-description.txt".into());
    for name in
        ["findings.json", "events.csv", "takes.csv", "levels.csv", "bands.csv", "regions.csv", "features.csv"]
    {
        expected.push(format!("data/{name}"));
    }
    expected.extend(["60-s", "180-s", "table"].map(|what| format!("words/{pair}-{what}.txt")));
    expected.extend((1..=5).map(|step| format!("figures/{pair}-screen-step-{step}.png")));
    expected.push(format!("figures/{pair}-screen.svg"));
    for size in ["square-large", "1200x700"] {
        expected.extend(["svg", "png"].map(|ending| format!("figures/{pair}-{size}.{ending}")));
    }
    let filters =
        ["correction.csv", "equaliser.csv", "equaliser.txt", "linear-phase.wav", "minimum-phase.wav"];
    expected.extend(filters.map(|file| format!("equalisers/{pair}/{file}")));
    expected.sort();
    assert_eq!(there.into_iter().collect::<Vec<_>>(), expected);
    // Made twice it is the same, byte for byte.
    let before = made.read("manifest.sha256");
    made.written(&["--sizes", "screen,square:large,1200x700", "--licence", "CC BY 4.0", "--overwrite"]);
    assert_eq!(made.read("manifest.sha256"), before);
}

#[test]
fn themes_ground_and_axes_are_those_that_were_asked_for() {
    let made = Made::new("boathouse", 2, 6);
    let svg = |more: &[&str]| {
        made.written(&[&["--sizes", "1400x1000", "--overwrite"], more].concat());
        made.read("figures/drum-bird-2-against-bird-1-1400x1000.svg")
    };
    let light = svg(&[]);
    let with_ground = |svg: &str| svg.contains("<rect width=\"100%\" height=\"100%\"");
    assert!(with_ground(&light));
    let dark = svg(&["--colours", "dark", "--transparent"]);
    assert!(!with_ground(&dark) && dark != light);
    // The words may be broken into lines anywhere.
    let words = |svg: &str| {
        let out: String =
            svg.split('<').filter_map(|t| t.split_once('>')).map(|(_, t)| format!("{t} ")).collect();
        out.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    for (asked, said) in [
        ("25", "25 dB of the spectra and 25 dB of the difference are as long as a decade"),
        ("50", "50 dB of the spectra and 50 dB of the difference are as long as a decade"),
    ] {
        let svg = svg(&["--decade", asked]);
        assert!(words(&svg).contains(said), "{}", words(&svg));
    }
}

#[test]
fn reels_are_cut_by_event_and_by_seconds_with_and_without_gaps() {
    let made = Made::new("boathouse", 2, 6);
    let cues = |more: &[&str]| {
        made.written(&[&["--overwrite", "--moments", "3"], more].concat());
        made.read("reels/drum.vtt")
            .lines()
            .filter(|l| l.contains("-->"))
            .map(String::from)
            .collect::<Vec<_>>()
    };
    // A hit a second: pieces of a second, except the last, which rings on.
    let by_event = cues(&["--pieces", "event", "--gap", "0"]);
    assert_eq!(by_event.len(), 6);
    assert!(by_event[0].starts_with("00:00:00.000 --> 00:00:0"));
    let ends: Vec<&str> = by_event.iter().filter_map(|l| l.split(" --> ").nth(1)).collect();
    let begins: Vec<&str> = by_event.iter().filter_map(|l| l.split(" --> ").next()).collect();
    assert!(ends.iter().zip(&begins[1..]).all(|(end, begin)| end == begin), "{by_event:?}");
    let by_seconds = cues(&["--pieces", "0.5", "--gap", "0.25"]);
    assert_eq!(by_seconds[0], "00:00:00.000 --> 00:00:00.500");
    assert_eq!(by_seconds[1], "00:00:00.750 --> 00:00:01.250");
    let bad = made.write_up(&["--pieces", "minutes"]);
    assert!(text(&bad.stderr).contains("must be passage, event, or 0.2 to 60 seconds"));
}

#[test]
fn a_blind_reel_tells_nothing_but_numbers_and_its_key_tells_all() {
    let made = Made::new("boathouse", 3, 6);
    made.written(&["--blind", "--moments", "6", "--pieces", "event"]);
    let blind: Vec<String> = files(&made.target())
        .into_iter()
        .filter(|n| n.starts_with("blind/") || n.starts_with("key/"))
        .collect();
    assert_eq!(blind, ["blind/drum.srt", "blind/drum.vtt", "blind/drum.wav", "key/drum.txt"]);
    let said = |name: &str| -> Vec<String> {
        let lines: Vec<String> = made.read(name).lines().map(String::from).collect();
        let times = lines.iter().enumerate().filter(|(_, l)| l.contains("-->"));
        times.map(|(i, _)| lines[i + 1].clone()).collect()
    };
    let numbers = said("blind/drum.vtt");
    assert_eq!(numbers.len(), 18);
    assert!(numbers.iter().all(|n| ["1", "2", "3"].contains(&n.as_str())));
    assert_eq!(said("blind/drum.srt"), numbers);
    // Neither names nor keys, nor the seed, anywhere in what the listener gets.
    let key = made.read("key/drum.txt");
    let seed =
        key.lines().find_map(|l| l.strip_prefix("Drawn with seed ")).expect("a seed").trim_end_matches('.');
    for name in ["wav", "vtt", "srt"] {
        let bytes = std::fs::read(made.target().join(format!("blind/drum.{name}"))).expect("there");
        let holds = |what: &str| bytes.windows(what.len()).any(|w| w.eq_ignore_ascii_case(what.as_bytes()));
        assert!(!holds("bird") && !holds(seed), "{name}");
    }
    // The key says which is which, and what played when, as the captions do.
    for mic in 1..=3 {
        assert_eq!(key.matches(&format!("= Bird {mic}\n")).count(), 1, "{key}");
    }
    let played: Vec<&str> =
        key.lines().filter_map(|l| l.split_once(": ")).map(|(_, n)| n).filter(|n| n.len() == 1).collect();
    assert_eq!(played, numbers);
    // The same seed draws the same; others differ.
    let drawn = |seed: &str| {
        made.written(&["--blind", "--draw", seed, "--moments", "6", "--pieces", "event", "--overwrite"]);
        made.read("blind/drum.vtt") + &made.read("key/drum.txt").replace(seed, "")
    };
    assert_eq!(drawn("11"), drawn("11"));
    assert_ne!(drawn("11"), drawn("12"));
}

#[test]
fn what_needs_no_sound_is_written_when_takes_are_gone_and_the_rest_is_named() {
    let made = Made::new("boathouse", 2, 6);
    made.written(&[]);
    let (json, table) = (made.read("data/findings.json"), made.read("data/regions.csv"));
    std::fs::remove_file(made.folder().join("takes/drum-2.wav")).expect("removed");
    let said = made.written(&["--overwrite"]);
    for words in [
        "takes/drum-2.wav is gone since the findings were made: there is no such file",
        "no reel of frame drum: takes/drum-2.wav is gone",
        "not written: data/events.csv",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert_eq!((made.read("data/findings.json"), made.read("data/regions.csv")), (json, table));
    let there = files(&made.target());
    assert!(there.contains("report.pdf") && there.contains("reels/drum-description.txt"));
    assert!(!there.iter().any(|n| n.ends_with(".wav") || n == "data/events.csv"), "{there:?}");
    // Findings of other takes are not those of these: the one that is left was recorded again.
    made::write(&made.folder().join("takes/drum-1.wav"), &vec![0.25; 40_000]);
    let out = made.write_up(&["--overwrite"]);
    made.refused(&out, "no findings are kept from when all takes were there");
    assert!(made.target().join("report.pdf").exists(), "what was there is there");
}
