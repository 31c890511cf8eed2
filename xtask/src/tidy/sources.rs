//! Rules for Rust sources: module comment, length, nothing unfinished, no outside world in the pure crates,
//! logarithms in one place, waivers with a reason.

use super::{Problem, Tree, Weight};

/// A file longer than this is worth a look.
const LONG_LINES: usize = 400;

/// A longer one must say why in its module comment.
const TOO_LONG_LINES: usize = 600;

/// How a file says why it is long.
const LONG_BECAUSE: &str = "Long because:";

/// Crates that open no file, socket, device or clock.
const PURE_CRATES: [&str; 8] =
    ["signal", "stats", "compare", "virtual-studio", "listen", "audition", "bridge", "calibrated"];

/// What reaches the outside world.
const OUTSIDE: [&str; 9] = [
    "std::fs",
    "std::net",
    "std::env",
    "std::process",
    "std::io::stdin",
    "File::",
    "SystemTime",
    "Instant::now",
    "tempfile::",
];

/// Where logarithms to the base ten may be taken (a file, or all files below a folder), each with its reason. A
/// conversion to dB anywhere else calls the functions of `units.rs`.
const MAY_TAKE_LOGARITHMS: [(&str, &str); 4] = [
    ("crates/fairtake-signal/src/units.rs", "the place for units"),
    (
        "crates/fairtake-stats/src/chi_square.rs",
        "the law of a spectral estimate is stated in dB; stats is below units",
    ),
    ("crates/fairtake-compare/src/judge/allowance.rs", "a modelled change of level, judged where it is made"),
    ("crates/fairtake-virtual-studio/src/", "the ground truth shares no code with the estimator"),
];

fn sources(tree: &Tree) -> impl Iterator<Item = (&str, &str)> {
    tree.between("", ".rs")
}

/// A source opens with what it is for.
pub fn module_comment(tree: &Tree) -> Vec<Problem> {
    sources(tree)
        .filter(|(_, text)| !text.trim_start().starts_with("//!"))
        .map(|(path, _)| Problem::of(path, "opens without a module comment (//!)"))
        .collect()
}

/// A source fits into a head.
pub fn file_length(tree: &Tree) -> Vec<Problem> {
    let mut problems = Vec::new();
    for (path, text) in sources(tree) {
        let n_lines = text.lines().count();
        let reason = text.lines().take_while(|l| l.starts_with("//!")).any(|l| l.contains(LONG_BECAUSE));
        if n_lines <= LONG_LINES || reason {
            continue;
        }
        let text = format!("has {n_lines} lines; split it, or say in its module comment: {LONG_BECAUSE} …");
        let weight = if n_lines > TOO_LONG_LINES { Weight::MustMend } else { Weight::Warning };
        problems.push(Problem { path: path.into(), line: None, text, weight });
    }
    problems
}

/// Nothing is left undone, no test is left out, no panic is expected without its words.
pub fn unfinished(tree: &Tree) -> Vec<Problem> {
    // Put together here, so that this file keeps its own rule.
    let marks = [
        concat!("to", "do!("),
        concat!("unimple", "mented!("),
        concat!("#[ig", "nore"),
        concat!("#[should_", "panic]"),
    ];
    lines(sources(tree), &marks, |mark| format!("{mark} is not for this house"))
}

/// The pure crates stay pure.
pub fn outside_world(tree: &Tree) -> Vec<Problem> {
    let pure = PURE_CRATES.iter().flat_map(|name| {
        sources(tree).filter(move |(path, _)| path.starts_with(&format!("crates/fairtake-{name}/src/")))
    });
    lines(pure, &OUTSIDE, |mark| format!("{mark} reaches outside, which this crate may not"))
}

/// Logarithms are taken in few places.
pub fn logarithms(tree: &Tree) -> Vec<Problem> {
    let others = sources(tree).filter(|(path, _)| {
        path.starts_with("crates/")
            && path.contains("/src/")
            && !MAY_TAKE_LOGARITHMS.iter().any(|(allowed, _)| path.starts_with(allowed))
    });
    lines(others, &[".log10(", "::log10("], |_| {
        "takes a logarithm; call the conversions of units.rs, or give this file a reason in tidy's list"
            .into()
    })
}

/// A waiver of a lint says why.
pub fn waivers(tree: &Tree) -> Vec<Problem> {
    let marks = [concat!("#[al", "low("), concat!("#![al", "low("), concat!("#[ex", "pect(")];
    lines(sources(tree), &marks, |_| "waives a lint without a reason".into())
        .into_iter()
        .filter(|p| {
            // The reason may stand a few lines on, where rustfmt breaks the attribute.
            let start = p.line.unwrap_or(1) - 1;
            let text = tree.get(&p.path).unwrap_or_default();
            let attribute: String = text.lines().skip(start).take(6).collect();
            !attribute.split(")]").next().unwrap_or_default().contains("reason =")
        })
        .collect()
}

/// A problem for every line that holds one of the marks outside a comment.
fn lines<'t>(
    sources: impl Iterator<Item = (&'t str, &'t str)>,
    marks: &[&str],
    complaint: impl Fn(&str) -> String,
) -> Vec<Problem> {
    let mut problems = Vec::new();
    for (path, text) in sources {
        for (line_idx, line) in text.lines().enumerate() {
            let code = line.split("//").next().unwrap_or_default();
            if let Some(mark) = marks.iter().find(|m| code.contains(**m)) {
                problems.push(Problem::at(path, line_idx, complaint(mark)));
            }
        }
    }
    problems
}
