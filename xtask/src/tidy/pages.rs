//! Rules for pages: each caution has one, each link leads somewhere, each reference value has a source and a use.

use super::{Problem, Tree, Weight};
use std::collections::BTreeSet;

/// Where the codes of the checks stand.
const LIMITS: &str = "crates/fairtake-compare/src/checks/limits.rs";

/// Every code of a check has a page, and every page a code.
pub fn caution_pages(tree: &Tree) -> Vec<Problem> {
    let codes = codes(tree.get(LIMITS).unwrap_or_default());
    if codes.is_empty() {
        return vec![Problem::of(LIMITS, "holds no code of a check, so that no page can be held against it")];
    }
    let mut problems = Vec::new();
    for code in &codes {
        let page = format!("docs/cautions/{code}.md");
        if !tree.has(&page) {
            problems.push(Problem::of(LIMITS, format!("the check {code} has no page {page}")));
        }
    }
    for (path, _) in tree.between("docs/cautions/", ".md") {
        let name = path.trim_start_matches("docs/cautions/").trim_end_matches(".md");
        if name != "README" && !codes.contains(name) {
            problems.push(Problem::of(path, "is the page of no check"));
        }
    }
    problems
}

/// The strings after `code: "` in a source.
fn codes(source: &str) -> BTreeSet<&str> {
    source.split("code: \"").skip(1).filter_map(|rest| rest.split('"').next()).collect()
}

/// Links in pages, and pages named in sources, exist.
pub fn links(tree: &Tree) -> Vec<Problem> {
    let mut problems = Vec::new();
    for (path, text) in tree.between("", ".md") {
        let folder = path.rsplit_once('/').map_or("", |(folder, _)| folder);
        for (line_idx, line) in text.lines().enumerate() {
            for target in line.split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
                let file = target.split('#').next().unwrap_or_default();
                if file.is_empty() || file.contains("://") {
                    continue;
                }
                let full = resolve(folder, file);
                if !tree.has(&full) && !tree.has_folder(&full) {
                    problems.push(Problem::at(
                        path,
                        line_idx,
                        format!("links to {file}, which is not there"),
                    ));
                }
            }
        }
    }
    for (path, text) in tree.between("crates/", ".rs") {
        for (line_idx, line) in text.lines().enumerate() {
            for page in pages_named(line) {
                if !tree.has(page) {
                    problems.push(Problem::at(path, line_idx, format!("names {page}, which is not there")));
                }
            }
        }
    }
    problems
}

/// Paths like `docs/….md` in a line; what is put together from parts (`{`, `…`) is passed over.
fn pages_named(line: &str) -> impl Iterator<Item = &str> {
    line.match_indices("docs/").filter_map(|(start, _)| {
        let rest = &line[start..];
        let end =
            rest.find(|c: char| !(c.is_ascii_alphanumeric() || "/-_.".contains(c))).unwrap_or(rest.len());
        let page = rest[..end].trim_end_matches('.');
        page.ends_with(".md").then_some(page)
    })
}

/// `folder/file` with `..` and `.` taken out.
fn resolve(folder: &str, file: &str) -> String {
    let mut parts: Vec<&str> = folder.split('/').filter(|p| !p.is_empty()).collect();
    for part in file.split('/') {
        match part {
            ".." => {
                parts.pop();
            }
            "." | "" => {}
            _ => parts.push(part),
        }
    }
    parts.join("/")
}

/// A page that was written ahead of its code is shown until somebody holds it against the code.
pub fn ahead_of_code(tree: &Tree) -> Vec<Problem> {
    tree.between("docs/", ".md")
        .filter(|(_, text)| text.contains("*Not in the code yet"))
        .map(|(path, _)| Problem {
            weight: Weight::Warning,
            ..Problem::of(
                path,
                "was written ahead of the code; hold it against the code and take the mark away",
            )
        })
        .collect()
}

/// A reference file is named in the README with its source, and used by a test; the README names no file that is
/// not there.
pub fn reference_values(tree: &Tree) -> Vec<Problem> {
    const README: &str = "reference/README.md";
    let readme = tree.get(README).unwrap_or_default();
    let mut problems = Vec::new();
    let files: Vec<&str> = tree
        .between("reference/", "")
        .map(|(path, _)| path.trim_start_matches("reference/"))
        .filter(|name| *name != "README.md")
        .collect();
    for name in &files {
        if !readme.contains(&format!("`{name}`")) {
            problems.push(Problem::of(README, format!("says nothing about {name}")));
        }
        let used = |ending| tree.between("", ending).any(|(_, text)| text.contains(name));
        if !used(".rs") && !used(".py") {
            problems.push(Problem::of(&format!("reference/{name}"), "is used by no test"));
        }
    }
    let named = readme.split('`').skip(1).step_by(2).filter(|n| n.ends_with(".csv") || n.ends_with(".toml"));
    for name in named.filter(|n| !files.contains(n)) {
        problems.push(Problem::of(README, format!("names {name}, which is not there")));
    }
    problems
}
