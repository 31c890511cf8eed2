//! Words that must not stand in the tree: paths of one machine, and marks of unfinished work.

use super::{Problem, Tree};

/// Looks through every text file, and for each word tells why it may not stand there.
pub fn words(tree: &Tree) -> Vec<Problem> {
    // Put together here, so that this file keeps its own rule.
    let machine = "is a path of one machine; nobody else has it";
    let unfinished = "marks unfinished work; finish it, or write down what is not there";
    let forbidden = [
        (concat!("/ro", "ot/"), machine),
        (concat!("/ho", "me/"), machine),
        (concat!("/wo", "rk/"), machine),
        (concat!("/Us", "ers/"), machine),
        (concat!("../sha", "red"), "is outside the project; it must stand alone"),
        (concat!("FIX", "ME"), unfinished),
        (concat!("TO", "DO"), unfinished),
        (concat!("TB", "D"), unfinished),
        (concat!("lorem ", "ipsum"), unfinished),
    ];
    let mut problems = Vec::new();
    for (path, text) in tree.between("", "") {
        for (line_idx, line) in text.lines().enumerate() {
            for (word, reason) in forbidden {
                if line.contains(word) {
                    problems.push(Problem::at(path, line_idx, format!("{word} {reason}")));
                }
            }
        }
    }
    problems
}
