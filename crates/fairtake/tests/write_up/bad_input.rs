//! Bad and extreme input: a clear message, nothing half-written, nothing overwritten that was not asked for.

use crate::made::{Made, files, names, text};
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::CommandExt;
use std::process::Command;

#[test]
fn a_full_disk_is_said_and_nothing_is_left() {
    let made = Made::new("boathouse", 2, 6);
    // No file may grow beyond so many blocks of 512 bytes: the system then refuses as a full disk does.
    for blocks in [10, 300] {
        let inner = made.command(&[]);
        let mut limited = Command::new("sh");
        limited.arg("-c").arg(format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$@\"")).arg("sh");
        let out = limited.arg(inner.get_program()).args(inner.get_args()).output().expect("runs");
        made.refused(&out, "File too large");
        assert!(text(&out.stderr).contains("make room on the disk"), "{}", text(&out.stderr));
        assert_eq!(names(made.around()), ["shootout"]);
    }
}

#[test]
fn a_folder_that_cannot_be_written_to_is_named() {
    let made = Made::new("boathouse", 2, 6);
    let chmod = |path: &std::path::Path, mode| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).expect("set");
    };
    let program = made.around().join("bin");
    std::fs::copy(env!("CARGO_BIN_EXE_fairtake"), &program).expect("copied");
    chmod(&program, 0o755);
    chmod(made.around(), 0o555);
    // For root nothing is read-only: the program is run as somebody who owns nothing (65534, by convention).
    let as_root = std::fs::write(made.around().join("probe"), "").is_ok();
    let _ = std::fs::remove_file(made.around().join("probe"));
    let inner = made.command(&[]);
    let mut command = Command::new(&program);
    if as_root {
        command.uid(65_534).gid(65_534);
    }
    let out = command.args(inner.get_args()).current_dir("/").output().expect("runs");
    chmod(made.around(), 0o755);
    made.refused(&out, "Permission denied");
    assert!(!made.target().exists());
}

#[test]
fn a_title_may_hold_anything() {
    let hostile =
        "a/../b <script>alert(1)</script> \"q\" 'q' & \u{202e}left شمال 湖 \\ %s\nnew line\u{7} --> 00:01";
    let made = Made::new(hostile, 2, 6);
    made.written(&["--blind"]);
    let report = made.read("report.html");
    assert!(!report.contains("<script>") && report.contains("&lt;script&gt;"));
    for name in files(&made.target()).iter().filter(|n| n.ends_with(".svg")) {
        let svg = made.read(name);
        assert!(!svg.contains("<script") && !svg.contains('\u{7}'), "{name}");
    }
    // In words it stands on one line.
    let description = made.read("reels/drum-description.txt");
    assert!(description.lines().next().is_some_and(|l| l.contains("new line")), "{description}");
    assert!(names(made.around()).len() == 2, "no file outside");
}

#[test]
fn thirty_microphones_go_into_one_report() {
    let made = Made::new("boathouse", 30, 3);
    let said = made.written(&["--pieces", "event", "--gap", "0"]);
    let there = files(&made.target());
    let n = |part: &str| there.iter().filter(|name| name.contains(part)).count();
    assert_eq!((n("-table.txt"), n("excerpts/")), (29, 30));
    assert!(said.contains("30 pieces"), "{said}");
    // A reel of passages by thirty would be too long where the gap is long: said, and the rest is there.
    let said = made.written(&["--gap", "60", "--moments", "9", "--overwrite"]);
    assert!(said.contains("frame drum"), "{said}");
}

#[test]
fn a_comparison_that_supports_nothing_is_written_up_as_that() {
    let made = Made::new("boathouse", 2, 1);
    let out = made.write_up(&[]);
    let said = text(&out.stderr);
    if out.status.code() == Some(0) {
        let words = made.read("words/spoken-60-s.txt");
        assert!(words.contains("nothing is decided") || words.contains("could not be judged"), "{words}");
    } else {
        made.refused(&out, "");
    }
    // Silence against silence: there is nothing to compare, and nothing is written.
    let silent = Made::new("boathouse", 2, 1);
    for mic in 1..=2 {
        crate::made::write(&silent.folder().join(format!("takes/drum-{mic}.wav")), &vec![0.0; 32_000]);
    }
    let out = silent.write_up(&[]);
    println!("{said}{}", text(&out.stderr));
    silent.refused(&out, "nothing to compare");
    assert!(!silent.target().exists());
}

#[test]
fn what_is_there_is_overwritten_only_when_asked_and_only_if_it_is_a_write_up_left_alone() {
    let made = Made::new("boathouse", 2, 6);
    std::fs::create_dir(made.target()).expect("made");
    std::fs::write(made.target().join("mine.txt"), "mine").expect("written");
    made.refused(&made.write_up(&[]), "exists already");
    made.refused(&made.write_up(&["--overwrite"]), "is not replaced");
    assert_eq!(made.read("mine.txt"), "mine");
    std::fs::remove_dir_all(made.target()).expect("removed");
    made.written(&[]);
    made.refused(&made.write_up(&[]), "exists already");
    std::fs::write(made.target().join("words/spoken-60-s.txt"), "my own version").expect("written");
    made.refused(&made.write_up(&["--overwrite"]), "words/spoken-60-s.txt is not as it was written");
    assert_eq!(made.read("words/spoken-60-s.txt"), "my own version");
}
