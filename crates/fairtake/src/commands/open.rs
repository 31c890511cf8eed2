//! `open`: the work page on a shootout folder.

use crate::cli::OpenArgs;
use crate::failure::Failure;
use crate::{Done, Outcome};
use fairtake_page::serve;
use std::io::{BufRead, IsTerminal};
use std::net::IpAddr;
use std::path::Path;
use std::process::{Command, Stdio};

/// Runs the command.
pub(crate) fn run(args: &OpenArgs) -> Outcome {
    page(&args.folder, args.on, args.port, args.quiet)
}

/// Serves the page on a folder until the program is ended.
pub(crate) fn page(folder: &Path, on: Option<IpAddr>, port: u16, quiet: bool) -> Outcome {
    let served = serve(folder, on, port).map_err(|e| Failure::new(&e, e.hint()))?;
    println!("{}", served.link);
    if let Some(link) = &served.shared_link {
        println!("{link}");
        if let Some(code) = served.code.as_ref().filter(|_| std::io::stdout().is_terminal()) {
            println!("{}", black_on_white(code));
        }
        eprintln!(
            "whoever has the second link may read and change this shootout; press Enter here to end all links"
        );
        let desk = served.desk();
        std::thread::spawn(move || {
            let mut line = String::new();
            // Where nobody types, as in a script, links end with the program.
            if std::io::stdin().lock().read_line(&mut line).is_ok_and(|n| n > 0) {
                desk.access().end_links();
                eprintln!("all links have ended; this machine goes on");
            }
        });
    }
    eprintln!("the work page is open; Ctrl-C ends it");
    // A script that starts the page has no use for a window.
    if !quiet && std::io::stderr().is_terminal() {
        show(&served.link);
    }
    served.run().map_err(|e| Failure::new(format!("the page ended: {e}"), "start it again"))?;
    Ok(Done::Clean)
}

/// A code to be photographed is dark on light, whatever colours the terminal has.
fn black_on_white(code: &str) -> String {
    let line = |line: &str| format!("\x1b[30;107m{line}\x1b[0m");
    code.lines().map(line).collect::<Vec<_>>().join("\n")
}

/// Asks the system to show a link. Where it cannot, the link stands in the terminal.
fn show(link: &str) {
    let opener = if cfg!(target_os = "macos") { "open" } else { "xdg-open" };
    let shown = Command::new(opener)
        .arg(link)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
    if shown.is_err() {
        eprintln!("open the link in a browser");
    }
}
