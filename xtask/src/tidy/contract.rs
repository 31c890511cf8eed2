//! What programs and people write and read is described in full: every field and every word of the JSON's types in
//! `docs/formats/findings.md`, every key of the log in `docs/formats/shootout.md`.

use super::{Problem, Tree};

/// Sources of the types that are written as JSON: files and folders that these begin with.
const TYPES: [&str; 2] = ["crates/fairtake-compare/src/findings/", "crates/fairtake-compare/src/settings.rs"];

/// The page.
const PAGE: &str = "docs/formats/findings.md";

/// Every field and variant is on the page, as `` `name` ``.
pub fn contract_fields(tree: &Tree) -> Vec<Problem> {
    let page = tree.get(PAGE).unwrap_or_default();
    let mut problems = Vec::new();
    for (path, source) in tree.files.iter().filter(|(path, _)| TYPES.iter().any(|t| path.starts_with(t))) {
        for (line_idx, name) in names(source) {
            if !page.contains(&format!("`{name}`")) {
                problems.push(Problem::at(path, line_idx, format!("{PAGE} does not describe `{name}`")));
            }
        }
    }
    problems
}

/// Where the keys of the log are listed, in constants called `…_KEYS`.
const LOG: &str = "crates/fairtake-files/src/log.rs";

/// The page that describes them.
const LOG_PAGE: &str = "docs/formats/shootout.md";

/// Every key of the log is on its page, as `` `key` `` or as a table `[key.` or `[[key`.
pub fn log_keys(tree: &Tree) -> Vec<Problem> {
    let page = tree.get(LOG_PAGE).unwrap_or_default();
    let source = tree.get(LOG).unwrap_or_default();
    let lists = source.split("_KEYS: [&str;").skip(1).filter_map(|rest| rest.split("];").next());
    let keys: Vec<&str> = lists.flat_map(|list| list.split('"').skip(1).step_by(2)).collect();
    if keys.is_empty() {
        return vec![Problem::of(LOG, "lists no keys, so that the page cannot be held against it")];
    }
    keys.into_iter()
        .filter(|key| ![format!("`{key}`"), format!("[{key}.")].iter().any(|form| page.contains(form)))
        .filter(|key| !page.contains(&format!("[[{key}]]")))
        .map(|key| Problem::of(LOG_PAGE, format!("does not describe the key `{key}`")))
        .collect()
}

/// Names as they stand in the JSON, with the line that they come from. Reads the form that rustfmt gives our
/// types: fields and variants are indented by four blanks, one a line.
fn names(source: &str) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    let (mut in_enum, mut snake_case, mut renamed) = (false, false, None);
    for (line_idx, line) in source.lines().enumerate() {
        if let Some(name) = line.trim().strip_prefix("#[serde(rename = \"") {
            renamed = name.split('"').next().map(str::to_string);
        } else if line.starts_with("#[serde(rename_all = \"snake_case\")]") {
            snake_case = true;
        } else if line.starts_with("pub enum ") {
            in_enum = true;
        } else if line.starts_with('}') {
            (in_enum, snake_case) = (false, false);
        } else if let Some(field) = line.strip_prefix("    pub ").and_then(|l| l.split_once(':')) {
            // Functions have a bracket before any colon.
            if !field.0.contains('(') {
                found.push((line_idx, renamed.take().unwrap_or_else(|| field.0.to_string())));
            }
        } else if in_enum && line.starts_with("    ") && line.trim().starts_with(char::is_uppercase) {
            let variant = line.trim().trim_end_matches(',');
            let name = if snake_case { to_snake_case(variant) } else { variant.to_string() };
            found.push((line_idx, renamed.take().unwrap_or(name)));
        }
    }
    found
}

fn to_snake_case(name: &str) -> String {
    let mut out = String::new();
    for c in name.chars() {
        if c.is_uppercase() && !out.is_empty() {
            out.push('_');
        }
        out.extend(c.to_lowercase());
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_and_variants_are_found_under_their_json_names() {
        let source = "pub enum E {\n    /// One.\n    A,\n}\n#[serde(rename_all = \"snake_case\")]\npub enum F {\n    \
                      OutOfRange,\n}\npub struct S {\n    #[serde(rename = \"match\")]\n    pub by: u8,\n    pub x_db: f64,\n}\n\
                      impl S {\n    pub fn f(a: u8) {}\n}\n";
        let found: Vec<String> = names(source).into_iter().map(|(_, name)| name).collect();
        assert_eq!(found, ["A", "out_of_range", "match", "x_db"]);
    }
}
