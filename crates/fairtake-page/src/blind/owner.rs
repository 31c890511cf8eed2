//! The owner's side: which tests there are, making one, its result, export and deletion.

use super::hall::Hall;
use super::make::{About, Wanted, make, new_codes};
use super::offered::{Equalised, corrected, played_in_turn, proposed_control};
use super::owner_html as html;
use crate::ask::{Query, Sent};
use crate::desk::{Desk, Now};
use crate::route::blocking;
use crate::trouble::Trouble;
use crate::views::{Named, Step, View, chosen, compared_mics, only_measured, sources};
use axum::extract::State;
use axum::http::header;
use axum::response::IntoResponse;
use axum::routing::{get, post};
use axum::{Json, Router};
use fairtake_bridge::{equalisers_heard, mic_name};
use fairtake_compare::Verdict;
use fairtake_files::{StoreError, StoredSitting, StoredTest, Write, answers_csv, answers_json};
use fairtake_listen::score::{Own, Shown};
use fairtake_listen::{Kind, Role, Score, Sitting, Sittings, State as Stands, score, trials_that_find};
use maud::Markup;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

/// Seed of the bootstrap; fixed, so that a result is the same whenever it is looked at.
const SEED: u64 = 1;
/// Trials that count, as the form proposes them.
pub(super) const TRIALS: u32 = 16;
/// Shares of trials in which a difference is heard, for which the number of trials is told beforehand.
const SHARES: [f64; 4] = [0.9, 0.75, 0.5, 0.3];

/// What only the owner may ask for.
pub(crate) fn routes() -> Router<Desk> {
    Router::new()
        .route("/blind/tests", post(make_test))
        .route("/blind/test/open", post(open))
        .route("/blind/test/codes", post(codes))
        .route("/blind/test/delete", post(delete_test))
        .route("/blind/sitting/delete", post(delete_sitting))
        .route("/blind/answers.csv", get(csv))
        .route("/blind/answers.json", get(export))
}

/// The page with all tests of the folder.
#[derive(Debug, Serialize)]
pub(crate) struct BlindPage {
    pub sources: Vec<Named>,
    pub source: Option<String>,
    /// Microphones that can be tested on the source.
    pub mics: Vec<Named>,
    /// Microphones with the equaliser that carries them to another one, as further contestants.
    pub corrected: Vec<Equalised>,
    pub tests: Vec<TestRow>,
    /// The folder holds measurements, and no take that is compared.
    pub only_measured: bool,
    /// Control trials that are proposed for the first two microphones: where they were played to in turn, and one has two passes.
    pub proposed_control: Option<u32>,
    /// Every pair of which that is so.
    pub played_in_turn: Vec<[String; 2]>,
    /// Trials needed: share of trials in which the difference is heard, of two choices, of three.
    pub needed: Vec<(f64, Option<u64>, Option<u64>)>,
}

/// One test.
#[derive(Debug, Serialize)]
pub(crate) struct TestRow {
    pub id: String,
    pub title: String,
    pub kind: Kind,
    pub mics: Vec<String>,
    pub is_open: bool,
    /// Sittings to their end, left before, open.
    pub sittings: [u64; 3],
    /// What it says so far.
    pub says: Vec<String>,
}

/// What the address may ask for.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct BlindQuery {
    source: Option<String>,
}

impl View for BlindPage {
    type Query = BlindQuery;
    const STEP: Step = Step::Listen;

    fn make(desk: &Desk, query: BlindQuery) -> Result<BlindPage, Trouble> {
        let now = desk.now()?;
        let sources = sources(&now);
        let source = chosen(query.source.as_ref(), &sources);
        let mics = source.as_ref().map_or_else(Vec::new, |s| compared_mics(&now, s));
        let corrected = corrected(&now, &mics);
        let mut tests = Vec::new();
        if desk.hall().is_used() {
            for test in desk.hall().store()?.tests()? {
                let result = Scored::of(desk.hall(), &now, test)?;
                let s = result.score.sittings;
                tests.push(TestRow {
                    id: result.test.id,
                    title: result.test.title,
                    kind: result.score.kind,
                    mics: result.score.mics.iter().map(|m| mic_name(&now.loaded.log.shootout, m)).collect(),
                    is_open: result.test.is_open,
                    sittings: [s.done, s.left, s.open],
                    says: result.score.says.into_iter().take(2).collect(),
                });
            }
        }
        let needed = SHARES
            .iter()
            .map(|s| (*s, trials_that_find(Kind::Which, *s), trials_that_find(Kind::OddOne, *s)))
            .collect();
        let played_in_turn = source.as_ref().map_or_else(Vec::new, |s| played_in_turn(&now, s, &mics));
        Ok(BlindPage {
            proposed_control: proposed_control(&played_in_turn, &mics),
            sources,
            source,
            mics,
            corrected,
            tests,
            only_measured: only_measured(&now),
            played_in_turn,
            needed,
        })
    }

    fn html(&self) -> Markup {
        html::blind(self)
    }
}

/// A test with its sittings, scored.
pub(super) struct Scored {
    pub test: StoredTest,
    pub stored: Vec<StoredSitting>,
    pub sittings: Vec<Sitting>,
    pub score: Score,
}

impl Scored {
    fn of(hall: &Hall, now: &Now, test: StoredTest) -> Result<Scored, Trouble> {
        let stored = hall.store()?.sittings(&test.id)?;
        let sittings: Vec<Sitting> =
            stored.iter().map(|s| s.sitting(&test.plan)).collect::<Result<_, _>>()?;
        let log = &now.loaded.log.shootout;
        let all = Sittings { kept: &sittings, n_deleted: test.n_deleted };
        let score = score(&test.plan, all, &|mic| mic_name(log, mic), SEED);
        Ok(Scored { test, stored, sittings, score })
    }
}

/// All tests with their results, for the report.
pub(crate) fn heard(desk: &Desk, now: &Now) -> Result<Vec<fairtake_report::Heard>, Trouble> {
    let mut out = Vec::new();
    if desk.hall().is_used() {
        for test in desk.hall().store()?.tests()? {
            let scored = Scored::of(desk.hall(), now, test)?;
            let source = scored.test.plan.material().source.clone();
            let equalisers =
                equalisers_heard(&now.loaded.log.shootout, &scored.score.mics, &scored.test.corrected);
            out.push(fairtake_report::Heard {
                title: scored.test.title,
                source,
                equalisers,
                score: scored.score,
            });
        }
    }
    Ok(out)
}

/// The result of one test.
#[derive(Debug, Serialize)]
pub(crate) struct TestPage {
    pub id: String,
    pub title: String,
    pub source: String,
    /// Keys and names of the microphones.
    pub mics: Vec<(String, String)>,
    pub made_s: i64,
    pub is_open: bool,
    pub needs_code: bool,
    pub n_codes_left: u64,
    pub n_trials: u32,
    pub n_control: u32,
    pub n_catch: u32,
    /// Looks: after so many trials it ends with so many hits.
    pub looks: Vec<(u64, Option<u64>)>,
    /// Share of trials in which a difference must be heard so that one sitting finds it in four of five tests.
    pub finds_share: Option<f64>,
    /// Sittings that were fixed beforehand.
    pub n_sittings: Option<u32>,
    /// The same for all sittings that were fixed, together.
    pub all_find_share: Option<f64>,
    pub about: Option<About>,
    /// Which excerpts there are, in words.
    pub excerpts: Vec<String>,
    /// How equalisers among the microphones were set, in words.
    pub equalisers: Vec<String>,
    /// What was measured of the two microphones on the source, as findings say it.
    pub measured: Vec<(Verdict, String)>,
    pub score: Score,
    pub sittings: Vec<SittingRow>,
}

/// One sitting. Of open ones nothing is shown but how far they have come.
#[derive(Debug, Serialize)]
pub(crate) struct SittingRow {
    pub id: String,
    pub listener: String,
    pub begun_s: i64,
    pub state: Stands,
    pub n_answers: usize,
    /// Hits and trials that count, after the end.
    pub hits: Option<(u64, u64)>,
    /// How much its preferences hang together, where it counts.
    pub own: Option<Own>,
    /// Comments with the number of their trial, after the end.
    pub comments: Vec<(usize, String)>,
    pub seal: String,
}

/// Which test.
#[derive(Debug, Deserialize)]
pub(crate) struct TestQuery {
    id: String,
}

impl View for TestPage {
    type Query = TestQuery;
    const STEP: Step = Step::Listen;

    fn make(desk: &Desk, query: TestQuery) -> Result<TestPage, Trouble> {
        let now = desk.now()?;
        let hall = desk.hall();
        if !hall.is_used() {
            return Err(StoreError::Missing.into());
        }
        let result = Scored::of(hall, &now, hall.store()?.test(&query.id)?)?;
        let plan = &result.test.plan;
        let log = &now.loaded.log.shootout;
        let mut own = match &result.score.shown {
            Some(Shown::Preference(found)) => found.each.iter(),
            _ => [].iter(),
        };
        let rows = result.stored.iter().zip(&result.sittings).map(|(stored, sitting)| {
            let ended = sitting.state() != Stands::Open;
            let comments =
                stored.answers.iter().enumerate().filter(|(_, (_, a))| ended && !a.comment.is_empty());
            SittingRow {
                id: stored.id.clone(),
                listener: stored.listener.clone(),
                begun_s: stored.begun_s,
                state: sitting.state(),
                n_answers: sitting.answers().len(),
                hits: (ended && plan.question().is_some()).then(|| sitting.tally(Role::Looked)),
                comments: comments.map(|(n, (_, a))| (n + 1, a.comment.clone())).collect(),
                // One for each that came to its end, in their order.
                own: (sitting.state() == Stands::Done).then(|| own.next().copied()).flatten(),
                seal: stored.seal.clone(),
            }
        });
        let rows: Vec<SittingRow> = rows.collect();
        let finds = |n: u64| plan.finds_share(n).filter(|_| plan.finds_are_reckoned(n));
        Ok(TestPage {
            id: result.test.id.clone(),
            title: result.test.title.clone(),
            source: crate::views::source_name(log, &plan.material().source),
            mics: plan.mics().iter().map(|m| (m.clone(), mic_name(log, m))).collect(),
            made_s: result.test.made_s,
            is_open: result.test.is_open,
            needs_code: result.test.needs_code,
            n_codes_left: result.test.n_codes_left,
            n_trials: plan.asked().n_trials,
            n_control: plan.asked().n_control,
            n_catch: plan.asked().n_catch,
            looks: plan
                .rule()
                .map_or_else(Vec::new, |r| r.looks().iter().map(|l| (l.n_trials, l.fewest_hits)).collect()),
            n_sittings: plan.asked().n_sittings,
            finds_share: finds(1),
            all_find_share: plan.asked().n_sittings.filter(|n| *n > 1).and_then(|n| finds(u64::from(n))),
            about: serde_json::from_str(&result.test.about).ok(),
            excerpts: plan
                .material()
                .excerpts
                .iter()
                .map(|e| format!("{}: {}", mic_name(log, &e.mic), e.words))
                .collect(),
            equalisers: equalisers_heard(log, plan.mics(), &result.test.corrected),
            measured: measured(desk, &now, plan),
            sittings: rows,
            score: result.score,
        })
    }

    fn html(&self) -> Markup {
        html::test(self)
    }
}

/// Findings on the two microphones; none where there are more, or where takes went since.
fn measured(desk: &Desk, now: &Now, plan: &fairtake_listen::Plan) -> Vec<(Verdict, String)> {
    let [one, other] = plan.mics() else { return Vec::new() };
    let asked = Desk::asked(Some(plan.material().source.clone()), Some((one.clone(), other.clone())));
    let Ok(found) = desk.compare(now, &desk.settings(now), &asked) else { return Vec::new() };
    let said = found.comparisons.iter().flat_map(|c| &c.findings);
    said.map(|f| (f.verdict, f.text.clone())).collect()
}

/// `POST /blind/tests`
async fn make_test(State(desk): State<Desk>, Sent(wanted): Sent<Wanted>) -> Result<Json<Value>, Trouble> {
    let told = desk.clone();
    let made = blocking(move || make(&desk, &wanted)).await?;
    told.tell();
    Ok(Json(json!(made)))
}

async fn change(desk: Desk, test: Option<String>, write: Write) -> Result<Json<Value>, Trouble> {
    // What lingers is deleted all the same.
    let remark = match desk.hall().write(write).await {
        Ok(()) => None,
        Err(e @ StoreError::Lingers(_)) => Some(format!("{e}; {}", e.hint())),
        Err(e) => return Err(e.into()),
    };
    if let Some(test) = test {
        desk.hall().forget(&test);
    } else {
        desk.hall().forget("");
    }
    desk.tell();
    Ok(Json(json!({ "done": true, "remark": remark })))
}

#[derive(Debug, Deserialize)]
struct Open {
    id: String,
    is_open: bool,
}

/// `POST /blind/test/open`
async fn open(State(desk): State<Desk>, Sent(asked): Sent<Open>) -> Result<Json<Value>, Trouble> {
    let write = Write::Open { test: asked.id.clone(), is_open: asked.is_open };
    change(desk, Some(asked.id), write).await
}

#[derive(Debug, Deserialize)]
struct More {
    id: String,
    n: u32,
}

/// `POST /blind/test/codes`: more codes, shown this once.
async fn codes(State(desk): State<Desk>, Sent(asked): Sent<More>) -> Result<Json<Value>, Trouble> {
    let codes = new_codes(asked.n)?;
    let write = Write::Codes { test: asked.id.clone(), codes: codes.clone() };
    let Json(_) = change(desk, Some(asked.id), write).await?;
    Ok(Json(json!({ "codes": codes })))
}

/// `POST /blind/test/delete`
async fn delete_test(State(desk): State<Desk>, Sent(asked): Sent<TestQuery>) -> Result<Json<Value>, Trouble> {
    change(desk, Some(asked.id.clone()), Write::DeleteTest { test: asked.id }).await
}

/// `POST /blind/sitting/delete`
async fn delete_sitting(
    State(desk): State<Desk>,
    Sent(asked): Sent<TestQuery>,
) -> Result<Json<Value>, Trouble> {
    change(desk, None, Write::DeleteSitting { sitting: asked.id }).await
}

fn all_of(desk: &Desk, id: &str) -> Result<(StoredTest, Vec<StoredSitting>), Trouble> {
    if !desk.hall().is_used() {
        return Err(StoreError::Missing.into());
    }
    let store = desk.hall().store()?;
    Ok((store.test(id)?, store.sittings(id)?))
}

/// `GET /blind/answers.csv`
async fn csv(State(desk): State<Desk>, Query(asked): Query<TestQuery>) -> Result<impl IntoResponse, Trouble> {
    let (test, sittings) = blocking(move || all_of(&desk, &asked.id)).await?;
    Ok(([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], answers_csv(&test, &sittings)))
}

/// `GET /blind/answers.json`
async fn export(State(desk): State<Desk>, Query(asked): Query<TestQuery>) -> Result<Json<Value>, Trouble> {
    let (test, sittings) = blocking(move || all_of(&desk, &asked.id)).await?;
    Ok(Json(answers_json(&test, &sittings)))
}
