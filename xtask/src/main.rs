//! House tasks, called as `cargo xtask TASK`. The one task is `tidy`: it holds the tree against the rules that a
//! compiler does not check. What CI runs beside it is in `test.sh`.

mod tidy;

use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["tidy"] => run_tidy(),
        _ => {
            eprintln!("usage: cargo xtask tidy");
            ExitCode::from(2)
        }
    }
}

/// Prints what is wrong; fails where something must be mended.
fn run_tidy() -> ExitCode {
    // The alias in .cargo/config.toml runs this from anywhere in the workspace.
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap_or(Path::new("."));
    let tree = match tidy::Tree::read(root) {
        Ok(tree) => tree,
        Err(error) => {
            eprintln!("error: the tree cannot be read: {error}");
            return ExitCode::from(2);
        }
    };
    let problems = tidy::check(&tree);
    for (rule, problem) in &problems {
        println!("{problem} ({rule})");
    }
    let n_failures = problems.iter().filter(|(_, p)| p.weight == tidy::Weight::MustMend).count();
    eprintln!("tidy: {} files, {} rules, {n_failures} to mend", tree.n_files(), tidy::RULES.len());
    if n_failures == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
