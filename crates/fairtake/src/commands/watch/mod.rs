//! `watch`: every file that a recorder drops into the shootout folder is checked and answered in one line; a good take
//! is entered in the log. A file that is refused stays where it is.
//!
//! `session` does the work for one file, `line` says it. Ctrl-C may come at any moment: the log is only ever replaced as
//! a whole, and audio is only read.

mod line;
mod session;

use crate::cli::WatchArgs;
use crate::failure::Failure;
use crate::{Done, Outcome};
use fairtake_files::{Said, ShootoutFolder, Watcher};
use line::Line;
use session::Session;
use std::io::{IsTerminal, Write};
use std::time::{Duration, Instant};

/// Time between two looks. Reason: listing a folder costs nothing that anybody notices, also over a network, and a
/// quarter of a second does not matter to somebody who puts a stick down.
const BETWEEN_LOOKS: Duration = Duration::from_millis(250);
/// With `--once`, files that still grow are waited for no longer than this.
const ONCE_AT_MOST: Duration = Duration::from_secs(8);

/// Runs the command.
pub(crate) fn run(args: &WatchArgs) -> Outcome {
    let folder = ShootoutFolder::open(&args.folder).map_err(|e| Failure::new(&e, e.hint()))?;
    let log = folder.log().map_err(|e| Failure::new(&e, e.hint()))?;
    let said = Said { source: args.source.clone(), mics: args.mics.clone(), placement: args.placement };
    if let Some(mic) = &args.reference
        && !log.shootout.mics.contains_key(mic)
        && !args.mics.contains(mic)
    {
        let known = log.shootout.mics.keys().cloned().collect::<Vec<_>>().join(", ");
        return Err(Failure::new(format!("the log has no microphone '{mic}'"), format!("it has: {known}")));
    }
    let mut watcher = Watcher::new(&args.folder);
    if !args.all {
        watcher.pass_over(log.files());
    }
    let mut session = Session::new(folder, &args.folder, said, args.reference.clone());
    let started = Instant::now();
    if !args.once {
        eprintln!("watching {}: record into it, Ctrl-C ends", args.folder.display());
    }
    loop {
        let now = started.elapsed();
        let mut files = watcher.look(now).map_err(|e| {
            Failure::new(
                format!("{}: {e}", args.folder.display()),
                "is the drive still there? start again when it is",
            )
        })?;
        files.extend(session.waiting_that_the_log_may_know_now());
        for file in files {
            let mut closed = false;
            session.answer(&file, &mut |line| closed |= say(&line, args.json).is_err());
            if closed {
                // Nobody reads any more, as with `| head`: an end, not an error.
                return Ok(Done::Clean);
            }
        }
        if args.once && (watcher.unfinished().is_empty() || now > ONCE_AT_MOST) {
            for file in watcher.unfinished() {
                eprintln!("{file}: still growing, not answered");
            }
            return Ok(Done::Clean);
        }
        std::thread::sleep(BETWEEN_LOOKS);
    }
}

/// One line on stdout, at once; the answer stands out on a terminal.
fn say(line: &Line, json: bool) -> std::io::Result<()> {
    let mut out = std::io::stdout().lock();
    if json {
        let text = serde_json::to_string(line).map_err(std::io::Error::other)?;
        writeln!(out, "{text}")?;
    } else {
        writeln!(out, "{}", line.shown(out.is_terminal()))?;
    }
    out.flush()
}
