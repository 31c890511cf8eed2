//! The log of a shootout: what is read, what is refused and how it is shown, and that a rewrite keeps what people wrote.

use fairtake_compare::Playing;
use fairtake_files::wav::{Replace, StoreAs, WavSpec, WavWriter};
use fairtake_files::{FolderError, LogFile, ShootoutFolder, bare_takes, cache_key, parse_log};
use proptest::prelude::*;

const LOG: &str = r#"# our log
title = "Boathouse"   # in the rain

[mics.moorhen]
name = "Moorhen 12"
kind = "dynamic"

[sources.drum]
playing = "percussive"
distance_mm = 80

[[takes]]
file = "takes/a.wav"
mic = "moorhen"
source = "drum"
role = "room-tone"
gain_db = 38
"#;

fn refused(from: &str, to: &str) -> String {
    assert!(LOG.contains(from), "the log holds {from}");
    let error = parse_log("shootout.toml", &LOG.replace(from, to)).expect_err("must be refused");
    format!("{error}\nhint: {}", error.hint)
}

#[test]
fn a_good_log_is_read() {
    let log = parse_log("shootout.toml", LOG).expect("is good");
    assert_eq!(log.shootout.mics["moorhen"].name, "Moorhen 12");
    assert_eq!(log.shootout.sources["drum"].playing, Playing::Percussive);
    assert_eq!(log.shootout.sources["drum"].distance_mm, Some(80.0));
    assert_eq!(log.takes[0].role, fairtake_compare::Role::RoomTone);
    assert_eq!(log.takes[0].chain.gain_db, Some(38.0));
}

#[test]
fn a_misspelt_key_is_shown_with_line_caret_and_the_nearest_key() {
    assert_eq!(
        refused("distance_mm", "distnace_mm"),
        "shootout.toml:10:1: unknown key `distnace_mm`\n10 | distnace_mm = 80\n   | ^^^^^^^^^^^\nhint: did you mean \
         `distance_mm`? Known here: name, playing, distance_mm, radius_mm, angle_deg, replayed"
    );
}

#[test]
fn what_is_wrong_is_shown_where_it_is() {
    for (from, to, shown) in [
        ("\"dynamic\"", "\"dinamic\"", "shootout.toml:6:8: `kind` cannot be `dinamic`"),
        ("= 80", "= \"80\"", "shootout.toml:10:15: `distance_mm` must be a number"),
        ("= 80", "= -80", "shootout.toml:10:15: `distance_mm` is -80"),
        ("= 80", "= nan", "shootout.toml:10:15: `distance_mm` is NaN"),
        ("mic = \"moorhen\"", "mic = \"morhen\"", "hint: did you mean `moorhen`?"),
        ("source = \"drum\"", "", "this take has no `source`"),
        ("title = ", "title ", "shootout.toml:2:"),
        ("[mics.moorhen]", "[mic.moorhen]", "shootout.toml:4:2: unknown key `mic`"),
        ("gain_db = 38", "placement = 0", "`placement` is 0"),
        (
            "title = ",
            "temperature_c = 61\ntitle = ",
            "shootout.toml:2:17: `temperature_c` is 61, outside -40 to 60",
        ),
    ] {
        let text = refused(from, to);
        assert!(text.contains(shown), "{to} gives {text}");
    }
    let twice = format!("{LOG}[[takes]]\nfile = \"takes/a.wav\"\nmic = \"moorhen\"\nsource = \"drum\"\n");
    assert!(parse_log("l", &twice).expect_err("twice").what.contains("logged twice"));
}

#[test]
fn a_folder_is_made_added_to_loaded_and_its_comments_survive() {
    let place = tempfile::tempdir().expect("a folder for the test");
    let folder = ShootoutFolder::create(&place.path().join("s"), "Boat \"house\"").expect("is made");
    assert!(ShootoutFolder::create(&place.path().join("s"), "again").is_err());
    std::fs::write(folder.log_path(), LOG).expect("writes");
    let Err(FolderError::Log(missing)) = folder.load() else { panic!("the take is not there") };
    assert_eq!((missing.line, missing.column), (13, 8));
    let mut stale = LogFile::read(&folder.log_path()).expect("reads");
    let mut file = LogFile::read(&folder.log_path()).expect("reads");
    let mut take = parse_log("l", LOG).expect("is good").takes.remove(0);
    assert!(file.add_take(&take).expect_err("is there already").what.contains("twice"));
    (take.file, take.mic) = ("takes/b.wav".into(), "new".into());
    file.add_take(&take).expect("adds");
    file.write().expect("writes");
    let text = std::fs::read_to_string(folder.log_path()).expect("reads");
    assert!(text.starts_with("# our log\ntitle = \"Boathouse\"   # in the rain\n\n[mics.moorhen]"), "{text}");
    let log = parse_log("l", &text).expect("is good");
    assert_eq!((log.takes.len(), log.shootout.mics.len()), (2, 2));
    assert_eq!((&log.takes[1].file, log.takes[1].role), (&take.file, take.role));
    stale.add_take(&take).expect("adds");
    assert!(stale.write().expect_err("was changed meanwhile").what.contains("changed"));
    assert_eq!(std::fs::read_to_string(folder.log_path()).expect("reads"), text);

    let spec =
        WavSpec { rate_hz: 48_000, n_channels: 1, store_as: StoreAs::Int16, bext: None, cue_markers: vec![] };
    let paths = ["takes/a.wav", "takes/b.wav"].map(|p| place.path().join("s").join(p));
    for path in &paths {
        let mut writer = WavWriter::create(path, spec.clone(), Replace::Never).expect("creates");
        writer.write(&[0.5; 10]).expect("writes");
        writer.finish().expect("finishes");
    }
    let (_, takes) = folder.load().expect("loads");
    assert_eq!((takes.len(), takes[1].samples.frames(), takes[1].stored_as.sha256.len()), (2, 10, 64));
    let bare = bare_takes(&[paths[0].clone(), paths[0].clone()], 1).expect("opens");
    assert_eq!((bare[0].mic.as_str(), bare[1].mic.as_str()), ("a", "a-2"));

    let key = cache_key("1", "x", "{}");
    assert_ne!(key, cache_key("1x", "", "{}"));
    assert_eq!(folder.cache_get(&key), None);
    folder.cache_put(&key, b"derived").expect("stores");
    assert_eq!(folder.cache_get(&key), Some(b"derived".to_vec()));
    assert!(folder.cache_put("../shootout.toml", b"").is_err());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 10_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_mutated_log_never_panics_and_every_error_can_be_shown(
        changes in prop::collection::vec((0usize..300, any::<char>()), 1..4),
        cut in 0usize..400,
    ) {
        let mut text: Vec<char> = LOG.chars().collect();
        for (at, c) in changes {
            if let Some(old) = text.get_mut(at) {
                *old = c;
            }
        }
        text.truncate(cut);
        if let Err(error) = parse_log("l", &text.iter().collect::<String>()) {
            prop_assert!(!error.to_string().is_empty() && error.line > 0);
        }
    }
}

#[test]
fn a_torn_log_that_made_the_library_panic_is_an_error_with_its_place() {
    // Found by fuzzing `rewrite`.
    let text = include_str!("data/torn-log.toml");
    let refused = fairtake_files::parse_log("shootout.toml", text).expect_err("it is no TOML");
    assert!(refused.to_string().contains("shootout.toml"), "{refused}");
}
