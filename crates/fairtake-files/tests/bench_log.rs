//! Measurements in the log: what is read, what is refused, and what the folder gives out.

use fairtake_calibrated::excitation::Form;
use fairtake_calibrated::level::{Pattern, Purpose};
use fairtake_calibrated::{Excitation, MeasuredRole};
use fairtake_files::wav::{Replace, StoreAs, WavSpec, WavWriter};
use fairtake_files::{FolderError, ShootoutFolder, described_in, parse_log};
use std::path::Path;

const LOG: &str = r#"title = "Boathouse bench"

[mics.heron]
pattern = "cardioid"
published = "heron.txt"
stated = { sensitivity_mv_per_pa = 20, noise_dba = 14 }

[mics.tern]
pattern = "omni"
measurement = true
correction = "tern.txt"
correction_within_db = 0.3
free_field_db = 0.1

[sources.box]
name = "loudspeaker of the boathouse"
distance_mm = 1000

[bench]
static_pressure_kpa = 100.2
full_scale_dbv = 12

[calibrator]
level_db = 94
class = "1"

[[takes]]
file = "cal.wav"
mic = "tern"
role = "calibrator"
gain_db = 20

[[takes]]
file = "sweep-heron.wav"
mic = "heron"
source = "box"
role = "response"
excitation = "sweep.wav"
angle_deg = 30

[[takes]]
file = "drum.wav"
mic = "heron"
source = "box"
"#;

fn refused(from: &str, to: &str) -> String {
    assert!(LOG.contains(from), "the log holds {from}");
    let error = parse_log("shootout.toml", &LOG.replacen(from, to, 1)).expect_err("must be refused");
    format!("{error}\nhint: {}", error.hint)
}

#[test]
fn measurements_are_kept_apart_from_what_is_compared() {
    let log = parse_log("shootout.toml", LOG).expect("is good");
    assert_eq!(log.takes.len(), 1);
    // Where it is left out, the number of the take in the log, whatever the takes before are for.
    assert_eq!((log.takes[0].file.as_str(), log.takes[0].performance), ("drum.wav", 3));
    let bench = &log.bench;
    assert_eq!(
        bench.takes.iter().map(|t| t.role).collect::<Vec<_>>(),
        [MeasuredRole::Calibrator, MeasuredRole::Response]
    );
    assert_eq!((bench.takes[0].source.as_str(), bench.takes[1].angle_deg), ("", Some(30.0)));
    assert_eq!(bench.static_pressure_kpa.expect("is logged").value, 100.2);
    let calibrator = bench.calibrator.as_ref().expect("is logged");
    assert_eq!((calibrator.level_db, calibrator.frequency_hz), (94.0, 1000.0));
    assert_eq!(
        (bench.mics["tern"].purpose, bench.mics["tern"].pattern),
        (Purpose::Measurement, Pattern::Omnidirectional)
    );
    assert_eq!(
        (bench.mics["heron"].purpose, bench.mics["heron"].pattern),
        (Purpose::Unknown, Pattern::Directional)
    );
    assert_eq!(bench.mics["heron"].stated.noise_dba, Some(14.0));
    assert!(["cal.wav", "sweep.wav", "drum.wav"].iter().all(|f| log.lists(f)) && !log.lists("other.wav"));
}

#[test]
fn what_is_wrong_is_shown_where_it_is_with_what_to_do() {
    for (from, to, shown) in [
        ("role = \"response\"", "role = \"responce\"", "did you mean `response`?"),
        ("excitation = \"sweep.wav\"", "", "a response needs what was played"),
        ("source = \"box\"\nrole", "role", "this take has no `source`"),
        ("role = \"response\"\n", "", "`excitation` belongs to takes of a measurement"),
        ("level_db = 94", "", "the calibrator has no `level_db`"),
        ("level_db = 94", "level_db = 9.4", "`level_db` is 9.4, outside 60 to 140"),
        ("class = \"1\"", "class = \"I\"", "`class` cannot be `I`"),
        ("class = \"1\"", "certificate_db = 0.1", "half of a certificate"),
        ("class = \"1\"", "piston = true\ndb_per_kpa = 0.1", "a piston has no coefficient of its own"),
        ("static_pressure_kpa = 100.2", "static_pressure_kpa = 1002", "`static_pressure_kpa` is 1002"),
        ("full_scale_dbv", "full_scale_dbu", "did you mean `full_scale_dbv`?"),
        ("noise_dba", "noise_db", "did you mean `noise_dba`?"),
        ("measurement = true", "measurement = \"yes\"", "`measurement` must be true or false"),
        ("file = \"drum.wav\"", "file = \"cal.wav\"", "cal.wav channel 1 is logged twice"),
        ("mic = \"tern\"", "mic = \"turn\"", "did you mean `tern`?"),
    ] {
        let told = refused(from, to);
        assert!(told.contains(shown), "{from} → {to}: {told}");
    }
}

/// A cheap generator with a fixed beginning: the same mutations in every run.
fn draws(mut state: u64) -> impl FnMut(usize) -> usize {
    move |below| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as usize % below
    }
}

#[test]
fn whatever_a_log_is_changed_to_it_is_read_or_refused_in_words_at_its_place() {
    // Values that keys of a bench must not take, and pieces that break its form.
    const PIECES: [&str; 24] = [
        "nan",
        "inf",
        "-inf",
        "1e400",
        "-1",
        "0",
        "99999999999999999999",
        "\"\"",
        "\"response\"",
        "\"calibrator\"",
        "[]",
        "{}",
        "true",
        "\"é\u{0000}\"",
        "[[takes]]",
        "[calibrator]",
        "[bench]",
        "=",
        "\n",
        "\"",
        "#",
        "level_db = ",
        "class = \"1\"",
        "certificate_db = 0.1\n",
    ];
    let mut draw = draws(7);
    let (mut n_read, mut n_refused) = (0, 0);
    for _ in 0..6000 {
        let mut text = LOG.to_string();
        for _ in 0..1 + draw(3) {
            let lines: Vec<&str> = text.lines().collect();
            let at = draw(lines.len());
            let changed = match draw(5) {
                // A line gone, twice, or moved; a value another; a letter another.
                0 => String::new(),
                1 => format!("{0}\n{0}", lines[at]),
                2 => lines[draw(lines.len())].to_string(),
                3 => match lines[at].split_once(" = ") {
                    Some((key, _)) => format!("{key} = {}", PIECES[draw(PIECES.len())]),
                    None => format!("{} {}", lines[at], PIECES[draw(PIECES.len())]),
                },
                _ => {
                    let mut letters: Vec<char> = lines[at].chars().collect();
                    let place = draw(letters.len() + 1);
                    letters.splice(
                        place..(place + draw(2)).min(letters.len()),
                        PIECES[draw(PIECES.len())].chars(),
                    );
                    letters.into_iter().collect()
                }
            };
            let mut lines: Vec<&str> = lines;
            lines[at] = &changed;
            text = lines.join("\n") + "\n";
        }
        match parse_log("shootout.toml", &text) {
            Ok(log) => {
                n_read += 1;
                for take in &log.bench.takes {
                    assert!(take.channel > 0 && take.placement > 0 && !take.file.is_empty(), "{text}");
                    assert!(log.shootout.mics.contains_key(&take.mic), "{text}");
                    let played = take.role != MeasuredRole::Response || take.excitation.is_some();
                    assert!(
                        played && take.distance_mm.is_none_or(|mm| mm.is_finite() && mm >= 0.0),
                        "{text}"
                    );
                }
                let bench = &log.bench;
                let within = [bench.gain_within_db, bench.place_within_mm, bench.angle_within_deg];
                assert!(within.iter().all(|w| w.is_finite() && *w >= 0.0), "{text}");
                assert!(bench.calibrator.as_ref().is_none_or(|c| c.level_db.is_finite()), "{text}");
            }
            Err(e) => {
                n_refused += 1;
                // What never ends is missed behind the last line.
                let n_lines = text.lines().count() + 1;
                assert!(e.line > 0 && e.column > 0 && e.line <= n_lines, "{e:?}\n{text}");
                assert!(!e.what.is_empty() && !e.to_string().is_empty(), "{text}");
            }
        }
    }
    // Neither is all that ever happens.
    assert!(n_read > 300 && n_refused > 2000, "{n_read} {n_refused}");
}

fn write(path: &Path, samples: &[f32]) {
    let spec = WavSpec {
        rate_hz: 48_000,
        n_channels: 1,
        store_as: StoreAs::Int24,
        bext: None,
        cue_markers: Vec::new(),
    };
    WavWriter::create(path, spec, Replace::Never)
        .and_then(|mut w| w.write(samples).and_then(|()| w.finish()))
        .expect("written");
}

#[test]
fn a_folder_gives_out_takes_curves_and_what_was_played_or_says_what_is_missing() {
    let room = tempfile::tempdir().expect("a folder");
    let at = |name: &str| room.path().join(name);
    std::fs::write(at("shootout.toml"), LOG).expect("written");
    let folder = ShootoutFolder::open(room.path()).expect("has a log");
    let told = |e: FolderError| format!("{e}; {}", e.hint());
    let missing = |what: &str| {
        let told = told(folder.load_bench().expect_err("something is missing"));
        assert!(told.contains(what), "{what}: {told}");
    };
    missing("heron.txt");
    std::fs::write(at("heron.txt"), "100 0\n1000 O.5\n").expect("written");
    missing("heron.txt:2:6");
    std::fs::write(at("heron.txt"), "100 0\n1000 0.5\n").expect("written");
    missing("tern.txt");
    std::fs::write(at("tern.txt"), "# by its maker\n20 0\n20000 -1\n").expect("written");
    missing("there is no file `cal.wav`");
    write(&at("cal.wav"), &[0.1; 4800]);
    write(&at("sweep-heron.wav"), &[0.2; 4800]);
    missing("sweep.json");
    let excitation = Excitation::new(Form::standard(48_000)).expect("is good");
    let json = serde_json::to_string(&excitation).expect("can be written");
    std::fs::write(described_in(&at("sweep.wav")), json.replace("\"seconds\":10", "\"seconds\":-1"))
        .expect("written");
    missing("length of a pass");
    std::fs::write(described_in(&at("sweep.wav")), json).expect("written");
    let bench = folder.load_bench().expect("all is there");
    assert_eq!(bench.takes[1].excitation.as_ref(), Some(&excitation));
    // The distance of the source, where the take has none of its own.
    assert_eq!((bench.takes[1].distance_mm, bench.takes[1].angle_deg), (Some(1000.0), 30.0));
    assert_eq!(bench.takes[0].read().expect("can be read").len(), 4800);
    assert_eq!(bench.mics["tern"].correction.as_ref().expect("is there").points().len(), 2);
    assert_eq!(bench.takes[0].sha256.len(), 64);
}
