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
