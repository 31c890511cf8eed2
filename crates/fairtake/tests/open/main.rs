//! `fairtake open` as a user types it: on real sockets, beside other programs, on a folder that nobody may write to.

mod page;

use page::{LOG, PATIENCE, Page, header, log, program, run, shootout, wav};
use std::io::{BufRead, ErrorKind, Read, Write};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

/// An address of this machine that is not its loopback: the one from which it would speak to the documentation network.
fn second_address() -> Option<std::net::IpAddr> {
    let socket = std::net::UdpSocket::bind("0.0.0.0:0").ok()?;
    // Nothing is sent: connecting only asks the system for the way.
    socket.connect("198.51.100.1:9").ok()?;
    let ip = socket.local_addr().ok()?.ip();
    (!ip.is_loopback() && !ip.is_unspecified()).then_some(ip)
}

#[test]
fn a_folder_without_a_log_and_a_port_that_is_taken_are_said_with_what_to_do() {
    let empty = tempfile::tempdir().expect("a temporary folder");
    let out = run(&["open", empty.path().to_str().expect("plain")]);
    let said = String::from_utf8_lossy(&out.stderr).into_owned();
    assert_eq!(out.status.code(), Some(2), "{said}");
    assert!(said.contains("shootout.toml") && said.contains("fairtake new"), "{said}");
    assert!(out.stdout.is_empty());
    let folder = shootout();
    let page = Page::open(folder.path(), &[]);
    let port = page.host(0).split(':').nth(1).expect("a port").to_string();
    let out = run(&["open", folder.path().to_str().expect("plain"), "--port", &port]);
    let said = String::from_utf8_lossy(&out.stderr).into_owned();
    assert_eq!(out.status.code(), Some(2), "{said}");
    assert!(
        said.contains(&format!("127.0.0.1:{port}")) && said.contains("in use") && said.contains("--port"),
        "{said}"
    );
}

#[test]
fn ctrl_c_ends_it_at_once_with_news_open_and_a_file_on_its_way() {
    let folder = shootout();
    let mut page = Page::open(folder.path(), &[]);
    let mut news = page.news(0, "");
    let mut sending = page.connect(0);
    let host = page.host(0);
    let head = format!(
        "POST /takes/files?name=new.wav HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Length: 144044\r\n\r\n"
    );
    sending.write_all(head.as_bytes()).and_then(|()| sending.write_all(&wav(0.7)[..50_000])).expect("sent");
    let begun = Instant::now();
    while std::fs::read_dir(folder.path().join(".fairtake")).map_or(0, |d| d.count()) == 0 {
        assert!(begun.elapsed() < PATIENCE);
        std::thread::sleep(Duration::from_millis(5));
    }
    let begun = Instant::now();
    let id = page.child.id().to_string();
    assert!(Command::new("kill").args(["-INT", &id]).status().expect("runs").success());
    let status = page.child.wait().expect("ends");
    assert!(begun.elapsed() < Duration::from_secs(5), "{:?}", begun.elapsed());
    assert!(!status.success());
    let mut rest = Vec::new();
    let ended = news.read_to_end(&mut rest);
    assert!(ended.is_ok() || ended.is_err_and(|e| e.kind() == ErrorKind::ConnectionReset));
    assert_eq!(log(folder.path()), LOG);
    assert!(!folder.path().join("takes/new.wav").exists());
    // What it left half is swept by whoever takes the next recording in.
    let again = Page::open(folder.path(), &[]);
    assert_eq!(again.ask(0, "POST", "/takes/files?name=new.wav", "", &wav(0.7)).0, 200);
    assert_eq!(std::fs::read_dir(folder.path().join(".fairtake")).expect("there").count(), 0);
}

#[test]
fn a_connection_that_is_cut_leaves_nothing() {
    let folder = shootout();
    let page = Page::open(folder.path(), &[]);
    let host = page.host(0);
    let n_waiting = || std::fs::read_dir(folder.path().join(".fairtake")).map_or(0, |d| d.count());
    for length in ["Content-Length: 144044", "Transfer-Encoding: chunked"] {
        let mut sending = page.connect(0);
        let head = format!(
            "POST /takes/files?name=new.wav HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n{length}\r\n\r\n"
        );
        sending.write_all(head.as_bytes()).expect("sent");
        if length.contains("chunked") {
            sending.write_all(b"c350\r\n").expect("sent");
        }
        sending.write_all(&wav(0.7)[..40_000]).expect("sent");
        for is_there in [true, false] {
            let begun = Instant::now();
            while (n_waiting() > 0) != is_there {
                assert!(begun.elapsed() < PATIENCE, "{length} {is_there}");
                std::thread::sleep(Duration::from_millis(5));
            }
            drop(sending.shutdown(std::net::Shutdown::Both));
        }
    }
    assert!(!folder.path().join("takes/new.wav").exists());
    assert_eq!(page.get("/takes").0, 200);
}

#[test]
fn what_is_sent_goes_to_disk_and_not_to_memory() {
    const N_BYTES: usize = 256 << 20;
    let folder = shootout();
    let page = Page::open(folder.path(), &[]);
    assert_eq!(page.get("/takes").0, 200);
    let before = page.of_system("status", "VmHWM:");
    let mut sending = page.connect(0);
    let host = page.host(0);
    let head = header(N_BYTES as u32);
    let n = head.len() + N_BYTES;
    let request = format!(
        "POST /takes/files?name=long.wav HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nConnection: close\r\nContent-Length: {n}\r\n\r\n"
    );
    sending.write_all(request.as_bytes()).and_then(|()| sending.write_all(&head)).expect("sent");
    let piece = vec![0u8; 1 << 20];
    for _ in 0..N_BYTES >> 20 {
        sending.write_all(&piece).expect("sent");
    }
    let mut answer = String::new();
    sending.read_to_string(&mut answer).expect("answered");
    assert!(answer.starts_with("HTTP/1.1 200") && answer.contains(&format!("\"n_bytes\":{n}")), "{answer}");
    assert!(
        answer.contains(&fairtake_files::sha256(&folder.path().join("takes/long.wav")).expect("reads")),
        "{answer}"
    );
    let grown_kb = page.of_system("status", "VmHWM:") - before;
    // A tenth of what came: buffers of the socket and a few pieces are all that is held.
    assert!(grown_kb < (N_BYTES >> 10) as u64 / 10, "{grown_kb} kB");
}

#[test]
fn the_page_finds_what_the_command_line_finds_and_reads_no_audio_twice() {
    let folder = shootout();
    let page = Page::open(folder.path(), &[]);
    let out = run(&["compare", folder.path().to_str().expect("plain"), "--json"]);
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let (status, found) = page.get("/findings.json");
    assert_eq!(status, 200);
    let value = |text: &str| serde_json::from_str::<serde_json::Value>(text).expect("JSON");
    assert_eq!(value(&found), value(&String::from_utf8_lossy(&out.stdout)));
    // Files that were written two seconds ago are known by then.
    std::thread::sleep(Duration::from_millis(2500));
    assert_eq!(page.get("/compare").0, 200);
    let before = page.of_system("io", "rchar:");
    for address in
        ["/compare?margin=3", "/compare?margin=0.4", "/compare?match=peak", "/compare?from=100&to=900"]
    {
        assert_eq!(page.get(address).0, 200);
    }
    let read = page.of_system("io", "rchar:") - before;
    let audio = wav(1.0).len() as u64;
    assert!(read < audio, "{read} bytes were read, a take has {audio}");
    assert_eq!(log(folder.path()), LOG);
}

#[test]
fn the_command_line_beside_the_page_and_the_page_beside_it_keep_each_others_changes() {
    let folder = shootout();
    let page = Page::open(folder.path(), &[]);
    let elsewhere = tempfile::tempdir().expect("a temporary folder");
    let files: Vec<PathBuf> = (0..5).map(|i| elsewhere.path().join(format!("c{i}.wav"))).collect();
    for (i, file) in files.iter().enumerate() {
        std::fs::write(file, wav(0.1 + 0.1 * i as f32)).expect("written");
    }
    std::thread::scope(|scope| {
        scope.spawn(|| {
            for i in 0..20 {
                let (status, said) = page.post("/mics", &format!("{{\"name\":\"window {i}\"}}"));
                assert_eq!(status, 200, "{said}");
            }
        });
        scope.spawn(|| {
            for file in &files {
                let args = [
                    "add",
                    folder.path().to_str().expect("plain"),
                    file.to_str().expect("plain"),
                    "--mics",
                    "heron",
                    "--source",
                    "drum",
                ];
                // It says so where the page was faster, and leaves nothing; then it is said again.
                loop {
                    let out = run(&args);
                    let said = String::from_utf8_lossy(&out.stderr).into_owned();
                    if out.status.success() {
                        break;
                    }
                    assert!(said.contains("changed by somebody else") && said.contains("again"), "{said}");
                }
            }
        });
    });
    let log = log(folder.path());
    for i in 0..20 {
        assert_eq!(log.matches(&format!("[mics.window-{i}]")).count(), 1, "{log}");
    }
    for i in 0..5 {
        assert_eq!(log.matches(&format!("takes/c{i}.wav")).count(), 1, "{log}");
    }
    assert!(log.starts_with("# kept by hand"));
    assert_eq!(page.get("/takes").0, 200);
}

#[test]
fn news_come_when_the_folder_changes_by_anybodys_hand() {
    let folder = shootout();
    let page = Page::open(folder.path(), &[]);
    let mut news = page.news(0, "");
    let mut comes = |what: &str| {
        let mut told = String::new();
        while !told.contains("event: changed") {
            assert!(news.read_line(&mut told).unwrap_or_else(|e| panic!("{what}: {e}")) > 0, "{what}");
        }
    };
    // The first look at the folder must be over.
    std::thread::sleep(Duration::from_secs(1));
    std::fs::write(folder.path().join("shootout.toml"), LOG.replace("boathouse", "barn")).expect("written");
    comes("the log was edited");
    std::fs::write(folder.path().join("takes/c.wav"), wav(0.2)).expect("written");
    comes("a file came");
    std::fs::write(folder.path().join("takes/c.wav"), wav(0.3)).expect("written");
    comes("it is another one of the same size");
    std::fs::remove_file(folder.path().join("takes/c.wav")).expect("removed");
    comes("it went");
    assert!(page.get("/takes").1.contains("barn"));
}

#[test]
fn a_folder_that_nobody_may_write_to_is_shown_and_left_as_it_is() {
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    use std::os::unix::process::CommandExt;
    let folder = shootout();
    let chmod = |path: &Path, mode: u32| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).expect("set");
    };
    chmod(&folder.path().join("takes"), 0o555);
    chmod(folder.path(), 0o555);
    let mut command = program();
    command.arg("open").arg(folder.path());
    // Root may write anywhere; it becomes nobody for this.
    if std::fs::metadata("/proc/self").expect("is told").uid() == 0 {
        command.uid(65534).gid(65534);
    }
    let page = Page::begin(command);
    for address in ["/plan", "/takes", "/compare", "/listen", "/write-up", "/findings.json", "/report.html"] {
        assert_eq!(page.get(address).0, 200, "{address}");
    }
    let change = r#"[{"place":"top","key":"margin_db","was":null,"to":2}]"#;
    for (status, said) in [
        page.post("/log", change),
        page.post("/mics", r#"{"name":"Coot"}"#),
        page.post("/write-up/report", "{}"),
        (page.ask(0, "POST", "/takes/files?name=c.wav", "", &wav(0.2)).0, "ermission".into()),
    ] {
        assert_eq!(status, 507, "{said}");
        assert!(said.contains("ermission"), "{said}");
    }
    assert_eq!(log(folder.path()), LOG);
    chmod(folder.path(), 0o777);
    chmod(&folder.path().join("takes"), 0o777);
    assert_eq!(page.post("/log", change).0, 200, "it goes on by itself");
    assert!(log(folder.path()).contains("margin_db = 2"));
}

#[test]
fn a_tablet_in_the_room_needs_the_link_until_a_key_ends_it() {
    let ip = second_address().expect("this test needs a network address beside loopback");
    let folder = shootout();
    let mut page = Page::open(folder.path(), &["--on", &ip.to_string()]);
    let path = page.links[1]
        .split_once('/')
        .and_then(|(_, l)| l.split_once('/'))
        .and_then(|(_, l)| l.split_once('/'))
        .expect("a path")
        .1;
    let path = format!("/{path}");
    assert!(path.starts_with("/?link=") && path.len() == "/?link=".len() + 32, "{path}");
    assert_eq!(page.ask(1, "GET", "/takes", "", b"").0, 403);
    assert_eq!(page.get("/takes").0, 200, "here no link is needed");
    let (status, head, _) = page.ask(1, "GET", &path, "", b"");
    assert_eq!(status, 200);
    let set = head.lines().find_map(|l| l.strip_prefix("set-cookie: ")).expect("a cookie");
    assert!(set.ends_with("; HttpOnly; SameSite=Strict"), "{set}");
    let cookie = format!("Cookie: {}\r\n", set.split(';').next().expect("a value"));
    assert_eq!(page.ask(1, "GET", "/listen", &cookie, b"").0, 200);
    let mut news = page.news(1, &cookie);
    page.child.stdin.as_mut().expect("piped").write_all(b"\n").expect("a key");
    let mut said = String::new();
    page.talk.read_line(&mut said).expect("text");
    assert!(said.contains("links have ended"), "{said}");
    let mut rest = Vec::new();
    let ended = news.read_to_end(&mut rest);
    assert!(ended.is_ok() || ended.is_err_and(|e| e.kind() != ErrorKind::WouldBlock), "the news end");
    for address in ["/takes", &path, "/events"] {
        assert_eq!(page.ask(1, "GET", address, &cookie, b"").0, 403, "{address}");
    }
    assert_eq!(page.get("/takes").0, 200, "this machine goes on");
}
