//! The rules of the house as checks over a tree of text files. A rule is a function from the tree to problems, so
//! that each is tried on a small made tree: one that it must complain about and one that it must not.

mod contract;
mod layers;
mod pages;
mod sources;
mod words;

use std::collections::BTreeMap;
use std::path::Path;

/// Folders that hold nothing of ours.
const PASSED_OVER: [&str; 6] = ["target", ".git", ".venv", "node_modules", "corpus", "artifacts"];

/// Endings of the files that are read as text.
const TEXT_ENDINGS: [&str; 12] =
    ["rs", "toml", "md", "py", "sh", "csv", "js", "css", "html", "txt", "svg", "json"];

/// Text files by path from the root, with `/` between folders.
pub struct Tree {
    files: BTreeMap<String, String>,
}

/// Whether a problem stops the landing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weight {
    /// Worth a look.
    Warning,
    /// Fails.
    MustMend,
}

/// One thing that is wrong, and where.
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// Path from the root.
    pub path: String,
    /// Line, counted from 1; `None` for a whole file.
    pub line: Option<usize>,
    /// What is wrong and what to do.
    pub text: String,
    /// Whether it fails.
    pub weight: Weight,
}

impl Problem {
    fn at(path: &str, line_idx: usize, text: impl Into<String>) -> Problem {
        Problem { path: path.into(), line: Some(line_idx + 1), text: text.into(), weight: Weight::MustMend }
    }

    fn of(path: &str, text: impl Into<String>) -> Problem {
        Problem { path: path.into(), line: None, text: text.into(), weight: Weight::MustMend }
    }
}

impl std::fmt::Display for Problem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let weight = if self.weight == Weight::Warning { "warning" } else { "error" };
        match self.line {
            Some(line) => write!(f, "{weight}: {}:{line}: {}", self.path, self.text),
            None => write!(f, "{weight}: {}: {}", self.path, self.text),
        }
    }
}

/// A rule: its name, and the check.
pub struct Rule {
    /// Short name, shown beside what it finds.
    pub name: &'static str,
    check: fn(&Tree) -> Vec<Problem>,
}

/// Every rule. The test at the end of this file holds one bad tree for each.
pub const RULES: [Rule; 15] = [
    Rule { name: "layers", check: layers::layers },
    Rule { name: "shared lints", check: layers::shared_lints },
    Rule { name: "module comment", check: sources::module_comment },
    Rule { name: "file length", check: sources::file_length },
    Rule { name: "unfinished", check: sources::unfinished },
    Rule { name: "outside world", check: sources::outside_world },
    Rule { name: "logarithms", check: sources::logarithms },
    Rule { name: "waivers", check: sources::waivers },
    Rule { name: "caution pages", check: pages::caution_pages },
    Rule { name: "links", check: pages::links },
    Rule { name: "ahead of code", check: pages::ahead_of_code },
    Rule { name: "reference values", check: pages::reference_values },
    Rule { name: "contract fields", check: contract::contract_fields },
    Rule { name: "log keys", check: contract::log_keys },
    Rule { name: "words", check: words::words },
];

/// What all rules find, in order of the rules, each with the name of its rule.
pub fn check(tree: &Tree) -> Vec<(&'static str, Problem)> {
    RULES.iter().flat_map(|rule| (rule.check)(tree).into_iter().map(|problem| (rule.name, problem))).collect()
}

impl Tree {
    /// Reads the text files below `root`.
    pub fn read(root: &Path) -> std::io::Result<Tree> {
        let mut tree = Tree { files: BTreeMap::new() };
        tree.read_folder(root, "")?;
        Ok(tree)
    }

    /// How many files are held.
    pub fn n_files(&self) -> usize {
        self.files.len()
    }

    fn read_folder(&mut self, folder: &Path, prefix: &str) -> std::io::Result<()> {
        for entry in std::fs::read_dir(folder)? {
            let entry = entry?;
            let name = entry.file_name().to_string_lossy().into_owned();
            let path = format!("{prefix}{name}");
            if entry.file_type()?.is_dir() {
                if !PASSED_OVER.contains(&name.as_str()) {
                    self.read_folder(&entry.path(), &format!("{path}/"))?;
                }
            } else if is_text(&path) {
                self.files.insert(path, std::fs::read_to_string(entry.path())?);
            }
        }
        Ok(())
    }

    /// Files whose path starts and ends so.
    fn between<'t>(&'t self, start: &'t str, end: &'t str) -> impl Iterator<Item = (&'t str, &'t str)> {
        self.files
            .iter()
            .filter(move |(path, _)| path.starts_with(start) && path.ends_with(end))
            .map(|(path, text)| (path.as_str(), text.as_str()))
    }

    fn get(&self, path: &str) -> Option<&str> {
        self.files.get(path).map(String::as_str)
    }

    fn has(&self, path: &str) -> bool {
        self.files.contains_key(path)
    }

    /// True for a folder that holds a file.
    fn has_folder(&self, path: &str) -> bool {
        let prefix = format!("{}/", path.trim_end_matches('/'));
        self.files.keys().any(|p| p.starts_with(&prefix))
    }
}

/// Licences and scripts without an ending are text too.
fn is_text(path: &str) -> bool {
    let name = path.rsplit('/').next().unwrap_or(path);
    let known_ending = name.rsplit_once('.').is_some_and(|(_, end)| TEXT_ENDINGS.contains(&end));
    known_ending || path == ".ci/run" || name.starts_with("LICENSE")
}

#[cfg(test)]
pub(crate) fn made_tree(files: &[(&str, &str)]) -> Tree {
    Tree { files: files.iter().map(|(path, text)| (path.to_string(), text.to_string())).collect() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A tree that keeps every rule.
    const GOOD: &[(&str, &str)] = &[
        ("crates/fairtake-signal/Cargo.toml", "[lints]\nworkspace = true\n[dependencies]\nrealfft = \"3\"\n"),
        (
            "crates/fairtake-compare/Cargo.toml",
            "[lints]\nworkspace = true\n[dependencies]\nfairtake-signal.workspace = true\n",
        ),
        ("crates/fairtake-signal/src/lib.rs", "//! Levels. See docs/methods/levels.md.\n\npub mod units;\n"),
        (
            "crates/fairtake-signal/src/units.rs",
            "//! Units.\n\npub fn db(x: f64) -> f64 {\n    x.log10()\n}\n",
        ),
        (
            "crates/fairtake-compare/src/checks/limits.rs",
            "//! Limits.\n\nconst A: Limit = Limit { code: \"clipped\", at: 3.0 };\n",
        ),
        (
            "crates/fairtake-compare/src/findings/mod.rs",
            "//! Contract.\n\npub struct Findings {\n    /// Schema.\n    pub schema: u32,\n}\n",
        ),
        ("crates/fairtake-files/Cargo.toml", "[lints]\nworkspace = true\n"),
        (
            "crates/fairtake-files/src/log.rs",
            "//! Log.\n\nconst TOP_KEYS: [&str; 3] = [\n    \"title\",\n    \"mics\",\n    \"takes\",\n];\n",
        ),
        ("docs/formats/shootout.md", "# Log\n\n`title`, `[mics.KEY]`, `[[takes]]`\n"),
        ("docs/cautions/clipped.md", "# Clipped\n\nSee [levels](../methods/levels.md).\n"),
        ("docs/methods/levels.md", "# Levels\n\nHere.\n"),
        ("docs/formats/findings.md", "# Findings\n\n| `schema` | number of this form |\n"),
        ("reference/README.md", "| `01_a.csv` | weights |\n"),
        ("reference/01_a.csv", "# source\n1\n"),
        (
            "crates/fairtake-signal/tests/a.rs",
            "//! Outside.\n\nconst A: &str = include_str!(\"01_a.csv\");\n",
        ),
    ];

    /// For each rule what breaks it, laid over the good tree.
    fn breaches() -> Vec<(&'static str, &'static str, String)> {
        let here = "crates/fairtake-signal/src/bad.rs";
        let code = |line: &str| format!("//! Bad.\n\n{line}\n");
        vec![
            (
                "layers",
                "crates/fairtake-signal/Cargo.toml",
                "[lints]\nworkspace = true\n[dependencies]\nfairtake-compare.workspace = true\n".into(),
            ),
            (
                "layers",
                "crates/fairtake-signal/Cargo.toml",
                "[lints]\nworkspace = true\n[dev-dependencies.fairtake-compare]\nworkspace = true\n".into(),
            ),
            ("layers", "crates/fairtake-new/Cargo.toml", "[lints]\nworkspace = true\n".into()),
            ("shared lints", "crates/fairtake-signal/Cargo.toml", "[dependencies]\n".into()),
            ("module comment", here, "use std::fmt;\n".into()),
            ("file length", here, format!("//! Long.\n{}", "\n".repeat(700))),
            ("file length", here, format!("//! Rather long.\n{}", "\n".repeat(450))),
            ("unfinished", here, code(concat!("    to", "do!()"))),
            ("unfinished", here, code(concat!("    unimple", "mented!()"))),
            ("unfinished", here, code(concat!("#[ig", "nore]"))),
            ("unfinished", here, code(concat!("#[ig", "nore = \"slow\"]"))),
            ("unfinished", here, code(concat!("#[should_", "panic]"))),
            ("outside world", here, code("use std::fs;")),
            ("outside world", here, code("let f = File::open(path);")),
            ("outside world", here, code("use std::net::TcpStream;")),
            ("outside world", here, code("let now = Instant::now();")),
            ("logarithms", here, code("let db = 10.0 * x.log10();")),
            ("logarithms", here, code("let db = f64::log10(x);")),
            ("waivers", here, code(concat!("#[al", "low(dead_code)]"))),
            (
                "caution pages",
                "crates/fairtake-compare/src/checks/limits.rs",
                "//! Limits.\n\nconst A: Limit = Limit { code: \"hum\" };\n".into(),
            ),
            ("caution pages", "crates/fairtake-compare/src/checks/limits.rs", "//! Limits.\n".into()),
            ("caution pages", "docs/cautions/forgotten.md", "# Forgotten\n".into()),
            ("links", "docs/more.md", "[away](methods/away.md)".into()),
            ("links", here, code("//! docs/methods/away.md")),
            ("ahead of code", "docs/methods/levels.md", "*Not in the code yet: soon.*\n".into()),
            ("reference values", "reference/02_b.csv", "1\n".into()),
            ("reference values", "reference/README.md", "| `01_a.csv` | `03_gone.csv` |\n".into()),
            (
                "contract fields",
                "crates/fairtake-compare/src/findings/mod.rs",
                "//! Contract.\n\n    pub schema: u32,\n    pub snr_db: f64,\n".into(),
            ),
            (
                "contract fields",
                "crates/fairtake-compare/src/settings.rs",
                "//! Settings.\n\n    #[serde(rename = \"match\")]\n    pub match_by: M,\n".into(),
            ),
            (
                "contract fields",
                "crates/fairtake-compare/src/findings/mod.rs",
                "//! C.\n\n#[serde(rename_all = \"snake_case\")]\npub enum E {\n    OutOfRange,\n}\n".into(),
            ),
            ("log keys", "docs/formats/shootout.md", "# Log\n\n`title`, `[mics.KEY]`\n".into()),
            ("log keys", "crates/fairtake-files/src/log.rs", "//! Log.\n".into()),
            ("words", "docs/more.md", concat!("see /ro", "ot/notes").into()),
            ("words", here, code(concat!("// FIX", "ME: later"))),
        ]
    }

    #[test]
    fn a_tree_that_keeps_the_rules_is_not_complained_about() {
        assert_eq!(check(&made_tree(GOOD)), []);
    }

    #[test]
    fn every_rule_complains_about_what_breaks_it() {
        for (name, path, text) in breaches() {
            let mut tree = made_tree(GOOD);
            tree.files.insert(path.into(), text.clone());
            let rule = RULES.iter().find(|r| r.name == name).expect("a rule of this name");
            assert!(!(rule.check)(&tree).is_empty(), "{name} is content with {path}: {text}");
        }
    }

    #[test]
    fn no_rule_goes_untried() {
        for rule in &RULES {
            assert!(breaches().iter().any(|(name, _, _)| *name == rule.name), "nothing breaks {}", rule.name);
        }
    }
}
