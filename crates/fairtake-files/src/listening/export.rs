//! All answers of a test for a spreadsheet or a program. Sittings that are still open are left out, so that nothing is given away.

use super::{StoredSitting, StoredTest};
use fairtake_listen::{Given, Kind};
use serde_json::{Value, json};
use std::fmt::Write;

/// A field of CSV (RFC 4180), never taken for a formula by a spreadsheet.
fn field(text: &str) -> String {
    let text =
        if text.starts_with(['=', '+', '-', '@', '\t']) { format!("'{text}") } else { text.to_string() };
    if text.contains(['"', ',', '\n', '\r']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text }
}

fn ended(sittings: &[StoredSitting]) -> impl Iterator<Item = &StoredSitting> {
    sittings.iter().filter(|s| s.ended_s.is_some())
}

/// One line for every answer (of ratings: for every pebble). Times in seconds since 1970.
pub fn answers_csv(test: &StoredTest, sittings: &[StoredSitting]) -> String {
    let mut out = String::from(
        "sitting,listener,begun_s,left_before_end,trial,role,presented,answer,right,answered_s,comment\r\n",
    );
    let mic = |excerpt: usize| test.plan.material().excerpts[excerpt].mic.as_str();
    for s in ended(sittings) {
        for (n, ((at_s, answer), trial)) in s.answers.iter().zip(&s.key.trials).enumerate() {
            let presented: Vec<String> = trial
                .slots
                .iter()
                .map(|slot| format!("{} {}", mic(slot.excerpt), slot.excerpt + 1))
                .collect();
            let rows: Vec<(String, String, Option<bool>)> = match &answer.given {
                Given::Choice(c) => {
                    let right = trial.right.map(|r| r == *c);
                    vec![(presented.join(" | "), (c + 1).to_string(), right)]
                }
                Given::Ratings(all) => {
                    let first = usize::from(test.plan.kind() == Kind::Likeness);
                    let pebbles = presented[first..].iter().zip(all);
                    pebbles.map(|(p, rating)| (p.clone(), rating.to_string(), None)).collect()
                }
            };
            for (presented, given, right) in rows {
                let role = serde_json::to_value(trial.role).unwrap_or_default();
                // Writing to a string cannot fail.
                let _ = write!(
                    out,
                    "{},{},{},{},{},{},{},{given},{},{at_s},{}\r\n",
                    s.id,
                    field(&s.listener),
                    s.begun_s,
                    s.has_left,
                    n + 1,
                    role.as_str().unwrap_or_default(),
                    field(&presented),
                    right.map(|r| r.to_string()).unwrap_or_default(),
                    field(&answer.comment),
                );
            }
        }
    }
    out
}

/// The same as JSON, with the plan, and with each sitting's key text and seal, so that it can be checked.
pub fn answers_json(test: &StoredTest, sittings: &[StoredSitting]) -> Value {
    let of = |s: &StoredSitting| {
        json!({
            "sitting": s.id, "listener": s.listener, "begun_s": s.begun_s, "ended_s": s.ended_s,
            "left_before_end": s.has_left, "seal": s.seal, "key": s.key.text(&test.plan),
            "trials": s.key.trials,
            "answers": s.answers.iter().map(|(at_s, a)| json!({ "at_s": at_s, "given": a.given, "comment": a.comment })).collect::<Vec<_>>(),
        })
    };
    json!({
        "schema": 1, "test": test.id, "title": test.title, "made_s": test.made_s, "plan": test.plan,
        "corrected": test.corrected,
        "n_deleted_sittings": test.n_deleted,
        "n_open_sittings": sittings.iter().filter(|s| s.ended_s.is_none()).count(),
        "sittings": ended(sittings).map(of).collect::<Vec<_>>(),
    })
}
