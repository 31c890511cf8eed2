//! Plan: microphones, sources, how much to record for a wanted resolution, in which order, and what to keep equal.

use super::compare::compared_mics;
use super::{Named, Step, View, mics, sources};
use crate::desk::{Desk, Now};
use crate::html;
use crate::trouble::Trouble;
use fairtake_compare::{
    Amount, BudgetKind, Design, Logged, Mic, MicKind, Plan, Playing, PolarPattern, Source, Spread,
    Step as PlanStep, Unit, amounts, distance_change_db, finds_db, run_sheet,
};
use maud::Markup;
use serde::{Deserialize, Serialize};

/// Distance errors that are shown, in mm.
const ERRORS_MM: [f64; 4] = [-3.0, -1.0, 1.0, 3.0];
/// Frequencies at which they are shown, in Hz: the low end, where they matter, and where they do not.
const AT_HZ: [f64; 4] = [50.0, 100.0, 200.0, 1000.0];

/// The page.
#[derive(Debug, Serialize)]
pub(crate) struct PlanPage {
    pub title: String,
    pub margin_db: Option<f64>,
    pub temperature_c: Option<f64>,
    pub mics: Vec<PlannedMic>,
    pub sources: Vec<SourcePlan>,
}

/// A microphone of the log.
#[derive(Debug, Serialize)]
pub(crate) struct PlannedMic {
    pub named: Named,
    pub year: Option<i32>,
    pub kind: Option<MicKind>,
    pub pattern: Option<PolarPattern>,
    pub has_takes: bool,
}

/// A source with its plan.
#[derive(Debug, Serialize)]
pub(crate) struct SourcePlan {
    pub named: Named,
    pub playing: Playing,
    pub distance_mm: Option<f64>,
    pub radius_mm: Option<f64>,
    pub angle_deg: Option<f64>,
    pub has_takes: bool,
    /// What is planned; `None`: nothing yet.
    pub plan: Option<Plan>,
    /// How it scatters.
    pub spread: Spread,
    /// Where that is known from: between placements, between hits or blocks.
    pub spread_from: [SpreadFrom; 2],
    /// Ways to reach the wanted resolution.
    pub amounts: Vec<Amount>,
    /// The difference that the plan as it stands would find, in dB.
    pub finds_db: Option<f64>,
    pub run_sheet: Vec<PlanStep>,
    /// What a small distance error alone changes, by pattern.
    pub errors: Vec<DistanceErrors>,
}

/// Where a spread is known from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum SpreadFrom {
    /// The user said so.
    Stated,
    /// It was recorded here.
    Recorded,
    /// Nothing is known yet.
    Assumed,
}

/// What distance errors change with one polar pattern.
#[derive(Debug, Serialize)]
pub(crate) struct DistanceErrors {
    pub pattern: PolarPattern,
    /// Level change in dB: one row per error, one column per frequency.
    pub change_db: Vec<(f64, Vec<(f64, f64)>)>,
}

/// Nothing is asked for.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Nothing {}

impl View for PlanPage {
    type Query = Nothing;
    const STEP: Step = Step::Plan;

    fn make(desk: &Desk, _: Nothing) -> Result<PlanPage, Trouble> {
        let now = desk.now()?;
        let log = &now.loaded.log.shootout;
        let has_takes = |mic: &str| now.loaded.log.takes.iter().any(|t| t.mic == mic);
        let planned_mic = |named: Named| {
            let mic = log.mics.get(&named.key).cloned().unwrap_or_else(Mic::default);
            let has_takes = has_takes(&named.key);
            PlannedMic { year: mic.year, kind: mic.kind, pattern: mic.pattern, has_takes, named }
        };
        Ok(PlanPage {
            title: log.title.clone(),
            margin_db: log.margin_db,
            temperature_c: log.temperature_c,
            mics: mics(&now).into_iter().map(planned_mic).collect(),
            sources: sources(&now).into_iter().map(|named| source_plan(desk, &now, named)).collect(),
        })
    }

    fn html(&self) -> Markup {
        html::plan(self)
    }
}

fn source_plan(desk: &Desk, now: &Now, named: Named) -> SourcePlan {
    let log = &now.loaded.log;
    let source = log.shootout.sources.get(&named.key).cloned().unwrap_or_else(Source::default);
    let plan = log.shootout.plans.get(&named.key).cloned();
    let design = plan.as_ref().map_or(Design::InTurn, |p| p.design);
    let (spread, spread_from) = spread(plan.as_ref(), design, recorded_spread(desk, now, &named.key));
    let takes = log.takes.iter().filter(|t| t.source == named.key);
    let logged: Vec<Logged> = takes.map(|t| Logged { mic: &t.mic, placement: t.placement }).collect();
    let resolution = plan.as_ref().and_then(|p| p.resolution_db);
    SourcePlan {
        playing: source.playing,
        distance_mm: source.distance_mm,
        radius_mm: source.radius_mm,
        angle_deg: source.angle_deg,
        has_takes: !logged.is_empty(),
        spread,
        spread_from,
        amounts: resolution.map_or_else(Vec::new, |db| amounts(db, spread, source.playing)),
        finds_db: plan.as_ref().map(|p| finds_db(p.placements, p.events, spread, source.playing)),
        run_sheet: plan.as_ref().map_or_else(Vec::new, |p| run_sheet(p, &logged)),
        errors: errors(now, &source, plan.as_ref()),
        plan,
        named,
    }
}

/// What is stated holds, then what was recorded, then what is assumed.
fn spread(plan: Option<&Plan>, design: Design, recorded: [Option<f64>; 2]) -> (Spread, [SpreadFrom; 2]) {
    let assumed = Spread::assumed(design);
    let stated = plan.map_or([None, None], |p| [p.spread_placements_db, p.spread_events_db]);
    let known = |i: usize, assumed: f64| match (stated[i], recorded[i]) {
        (Some(db), _) => (db, SpreadFrom::Stated),
        (None, Some(db)) => (db, SpreadFrom::Recorded),
        (None, None) => (assumed, SpreadFrom::Assumed),
    };
    let (placements, events) = (known(0, assumed.placements_db), known(1, assumed.events_db));
    (Spread { placements_db: placements.0, events_db: events.0 }, [placements.1, events.1])
}

/// How repeats of this source scattered so far, in dB, between placements and between hits or blocks: from the uncertainty
/// that the comparison of the first two microphones found, for the unit that it counted.
fn recorded_spread(desk: &Desk, now: &Now, source: &str) -> [Option<f64>; 2] {
    let median_db = || {
        let mics = compared_mics(now, source);
        let [a, b, ..] = mics.as_slice() else { return None };
        let asked = Desk::asked(Some(source.into()), Some((a.key.clone(), b.key.clone())));
        let found = desk.compare(now, &desk.settings(now), &asked).ok()?;
        let c = found.comparisons.first()?;
        let line = c.budget.iter().find(|l| l.kind == BudgetKind::A)?;
        let mut sizes: Vec<f64> = line.per_region_db.iter().flatten().copied().collect();
        sizes.sort_by(f64::total_cmp);
        let n = match c.unit {
            Unit::Placement => f64::from(c.counts.reference.placements.min(c.counts.against.placements)),
            Unit::Event | Unit::Block | Unit::Performance => {
                c.n_effective.reference.min(c.n_effective.against)
            }
        };
        // The standard uncertainty of a difference of two means of n is √(2/n) of the spread.
        Some((c.unit, sizes.get(sizes.len() / 2)? * (n / 2.0).sqrt()))
    };
    match median_db() {
        Some((Unit::Placement, db)) => [Some(db), None],
        Some((_, db)) => [None, Some(db)],
        None => [None, None],
    }
}

fn errors(now: &Now, source: &Source, plan: Option<&Plan>) -> Vec<DistanceErrors> {
    let Some(distance_mm) = source.distance_mm else { return Vec::new() };
    let log = &now.loaded.log.shootout;
    let mut patterns: Vec<(PolarPattern, f64)> = Vec::new();
    for (key, mic) in &log.mics {
        let is_planned = plan.is_none_or(|p| p.mics.contains(key));
        if let Some(pattern) = mic.pattern.filter(|_| is_planned)
            && patterns.iter().all(|(known, _)| *known != pattern)
        {
            patterns.push((pattern, mic.centre_behind_grille_mm()));
        }
    }
    let radius_mm = source.radius_mm.unwrap_or(0.0);
    let change = |error_mm: f64, hz: f64, (pattern, behind_mm): (PolarPattern, f64)| {
        let from_mm = distance_mm + behind_mm;
        let to_mm = (from_mm + error_mm).max(1.0);
        let share = pattern.gradient_share();
        distance_change_db(from_mm, to_mm, hz, share, radius_mm, log.speed_of_sound_m_s())
    };
    patterns
        .into_iter()
        .map(|p| DistanceErrors {
            pattern: p.0,
            change_db: ERRORS_MM
                .into_iter()
                .map(|mm| (mm, AT_HZ.into_iter().map(|hz| (hz, change(mm, hz, p))).collect()))
                .collect(),
        })
        .collect()
}

/// The frequencies of a table of distance errors, in Hz.
pub(crate) fn errors_head(e: &DistanceErrors) -> Vec<f64> {
    e.change_db.first().map_or_else(Vec::new, |(_, row)| row.iter().map(|(hz, _)| *hz).collect())
}
