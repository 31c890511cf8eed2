//! `listen`: the blind tests of a folder, what they say so far, and the hall for an audience.

use crate::cli::ListenArgs;
use crate::failure::Failure;
use crate::{Done, Outcome};
use fairtake_bridge::{equalisers_heard, mic_name};
use fairtake_files::{ListeningStore, ShootoutFolder, StoredTest, store_path};
use fairtake_listen::{Score, Sittings, score};
use fairtake_page::{Limits, open_audience};
use fairtake_report::Heard;
use serde_json::json;
use std::net::SocketAddr;
use std::path::Path;

/// Seed of the bootstrap; the work page uses the same, so that both say the same.
const SEED: u64 = 1;

/// Runs the command.
pub(crate) fn run(args: &ListenArgs) -> Outcome {
    let log = ShootoutFolder::open(&args.folder)
        .and_then(|folder| folder.log())
        .map_err(|e| Failure::new(&e, e.hint()))?
        .shootout;
    let tests = if store_path(&args.folder).exists() { scored(&args.folder, &log)? } else { Vec::new() };
    if let Some(address) = args.serve {
        return serve(args, address, &tests);
    }
    if args.json {
        let all: Vec<_> = tests
            .iter()
            .map(|(t, s)| json!({ "id": t.id, "title": t.title, "is_open": t.is_open, "needs_code": t.needs_code, "corrected": t.corrected, "score": s }))
            .collect();
        println!("{}", json!({ "schema": 1, "tests": all }));
        return Ok(Done::Clean);
    }
    if tests.is_empty() {
        println!("no blind tests yet; make one on the work page, step Listen");
    }
    for (test, score) in &tests {
        println!("{}{}", test.title, if test.is_open { "" } else { " (closed)" });
        score.says.iter().for_each(|line| println!("  {line}"));
        equalisers_heard(&log, &score.mics, &test.corrected).iter().for_each(|set| println!("  {set}."));
        score.does_not_say.iter().for_each(|line| println!("  But: {line}"));
    }
    Ok(Done::Clean)
}

/// What the blind tests of a folder show, for its report.
pub(crate) fn heard(folder: &Path, log: &fairtake_compare::Shootout) -> Result<Vec<Heard>, Failure> {
    let tests = if store_path(folder).exists() { scored(folder, log)? } else { Vec::new() };
    let heard = |(test, score): (StoredTest, Score)| {
        let source = test.plan.material().source.clone();
        let equalisers = equalisers_heard(log, &score.mics, &test.corrected);
        Heard { title: test.title, source, equalisers, score }
    };
    Ok(tests.into_iter().map(heard).collect())
}

fn scored(folder: &Path, log: &fairtake_compare::Shootout) -> Result<Vec<(StoredTest, Score)>, Failure> {
    let failed = |e: fairtake_files::StoreError| Failure::new(&e, e.hint());
    let store = ListeningStore::open(folder).map_err(failed)?;
    let name = |mic: &str| mic_name(log, mic);
    let mut out = Vec::new();
    for test in store.tests().map_err(failed)? {
        let stored = store.sittings(&test.id).map_err(failed)?;
        let sittings = stored.iter().map(|s| s.sitting(&test.plan)).collect::<Result<Vec<_>, _>>();
        let sittings = sittings.map_err(failed)?;
        let all = Sittings { kept: &sittings, n_deleted: test.n_deleted };
        let found = score(&test.plan, all, &name, SEED);
        out.push((test, found));
    }
    Ok(out)
}

fn serve(args: &ListenArgs, address: SocketAddr, tests: &[(StoredTest, Score)]) -> Outcome {
    let shown_as = args.shown_as.as_deref();
    let hall = open_audience(&args.folder, address, shown_as, Limits::STANDARD).map_err(|what| {
        Failure::new(what, "give --serve an address and port of this machine, and --as the name at the proxy, as https://listen.example.org")
    })?;
    let base = shown_as
        .map_or_else(|| format!("http://{}", hall.address()), |name| name.trim_end_matches('/').to_string());
    let open: Vec<&StoredTest> = tests.iter().map(|(t, _)| t).filter(|t| t.is_open).collect();
    if open.is_empty() {
        eprintln!(
            "no test is open yet; make one on the work page, step Listen: its address here will be {base}/t/…"
        );
    }
    for test in open {
        let codes =
            if test.needs_code { format!("  ({} codes left)", test.n_codes_left) } else { String::new() };
        println!("{base}/t/{}  {}{codes}", test.id, test.title);
    }
    eprintln!(
        "whoever has an address may listen and answer, and see nothing else of the folder; Ctrl-C ends it, nothing is lost"
    );
    hall.run().map_err(|e| {
        Failure::new(format!("the hall closed: {e}"), "start it again; what was answered is kept")
    })?;
    Ok(Done::Clean)
}
