//! `compare`: the one flow, and nothing else. Open this file first.

use crate::align::align;
use crate::assemble::{self, PairParts};
use crate::bleed::bleed;
use crate::checks;
use crate::design::{Assumed, assumed};
use crate::groups::measure_all;
use crate::judge::{curve_of, features, judge_on};
use crate::measure::{Measured, Tabulated, tabulate};
use crate::remembered::{Drawn, Remembered, pair_key};
use crate::wording::number_of;
use crate::{
    CheckResult, Design, Findings, LeftOut, PairTables, Program, ReadError, Recognised, Role, SettingUp,
    Settings, Shootout, Take, TakeMeasure,
};

/// What is asked of a run, beside the takes.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Key of the microphone that others are compared with; `None`: the first met.
    pub reference: Option<String>,
    /// Only this pair, as reference and against.
    pub pair: Option<(String, String)>,
    /// Only this source.
    pub source: Option<String>,
    /// For bare files: what was recognised among them. `None`: the log says how the takes were made.
    pub recognised: Option<Recognised>,
    /// Version of the program, kept in the result.
    pub version: String,
}

/// Everything of a run: the findings, and what they were made of.
#[derive(Debug)]
pub struct Measurement {
    /// The result.
    pub findings: Findings,
    /// One per take, in the order of the takes.
    pub measures: Vec<TakeMeasure>,
    /// One per comparison, in the order of the findings' comparisons.
    pub tables: Vec<PairTables>,
}

/// Why nothing can be compared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CompareError {
    /// A take cannot be read.
    Read(ReadError),
    /// There are not two microphones on one source.
    NothingToCompare {
        /// What was found, in words.
        found: String,
    },
    /// A microphone that was asked for has no take.
    NoSuchMicrophone {
        /// As asked.
        asked: String,
        /// Those that there are.
        there_are: Vec<String>,
    },
}

impl std::fmt::Display for CompareError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            CompareError::Read(e) => write!(f, "{e}"),
            CompareError::NothingToCompare { found } => write!(f, "nothing to compare: {found}"),
            CompareError::NoSuchMicrophone { asked, there_are } => {
                write!(f, "no take by microphone '{asked}'; there are {}", there_are.join(", "))
            }
        }
    }
}

impl std::error::Error for CompareError {}

/// Compares every pair of microphones on every source: each against the reference.
///
/// # Errors
/// When a take cannot be read, or there is nothing to compare.
pub fn compare(
    takes: &[Take],
    shootout: &Shootout,
    settings: &Settings,
    asked: &Comparison,
) -> Result<Measurement, CompareError> {
    compare_remembering(takes, shootout, settings, asked, &mut Remembered::default())
}

/// The same, where earlier runs of this session have measured some of the takes: only what is not remembered is read.
///
/// # Errors
/// As [`compare`].
pub fn compare_remembering(
    takes: &[Take],
    shootout: &Shootout,
    settings: &Settings,
    asked: &Comparison,
    remembered: &mut Remembered,
) -> Result<Measurement, CompareError> {
    let (measures, mut checks) =
        measured_and_checked(takes, shootout, settings, asked.recognised.as_ref(), remembered)
            .map_err(CompareError::Read)?;
    let measured: Vec<(&Take, &TakeMeasure)> = takes.iter().zip(&measures).collect();
    let (mut comparisons, mut tables, mut lacking) = (Vec::new(), Vec::new(), None);
    let all = distinct(takes, |t| t.source.clone());
    for source in all.into_iter().filter(|s| asked.source.as_ref().is_none_or(|only| only == s)) {
        let here = taking_part(&measured, &checks, &source);
        let pairs = match pairs(&here, asked) {
            Ok(pairs) => pairs,
            // A source without a microphone that was named is passed over where another has it.
            Err(e) => {
                lacking.get_or_insert(e);
                continue;
            }
        };
        for (reference, against) in pairs {
            let tabled = Tabled::new(&here, [&reference, &against], shootout, settings, asked);
            let Tabled { a, b, witness, assumed, made, setting_up } = tabled;
            let speed = shootout.speed_of_sound_m_s();
            let known_as = pair_key(&a, &b, speed);
            let shared = assumed.design == Design::Together && assumed.told;
            let known = if shared { remembered.alignment(&known_as) } else { Some(None) };
            // Three stages that do not wait for each other.
            let drawn = remembered.drawn(&made.pair, settings);
            let align = || known.map_or_else(|| align(&a, &b, speed), Ok);
            let judge_curve = || drawn.curve.unwrap_or_else(|| curve_of(&made.pair, settings));
            let look = || drawn.features.unwrap_or_else(|| features(&made.pair, settings));
            let (found, (alignment, curve)) = rayon::join(look, || rayon::join(align, judge_curve));
            let judgement = judge_on(curve.as_ref(), &made.pair, settings, setting_up.as_ref());
            remembered.put_drawn(
                &made.pair,
                settings,
                Drawn { curve: Some(curve), features: Some(found.clone()) },
            );
            let alignment = alignment.map_err(CompareError::Read)?;
            if shared {
                remembered.put_alignment(known_as, alignment.clone());
            }
            let leaked = [&reference, &against].map(|mic| {
                let leaks = |(t, _): &&Measured| t.role == Role::Bleed && t.mic == *mic;
                here.iter().filter(leaks).copied().collect::<Vec<_>>()
            });
            let bleed = bleed(&made.pair, [&leaked[0], &leaked[1]], settings);
            let parts = PairParts {
                source: &source,
                a: &a,
                b: &b,
                made: &made,
                reason: assumed.reason.clone(),
                alignment,
                bleed,
                settings,
            };
            let comparison = assemble::comparison(&parts, judgement, found, shootout);
            let checked = checks::Pair {
                index: comparisons.len(),
                a: &a,
                b: &b,
                witness: &witness,
                setting_up: setting_up.as_ref(),
                allowance: &settings.allowance,
            };
            checks.extend(checks::of_comparison(&comparison, &checked));
            checks.extend(checks::of_design(&assumed, checked.index, asked));
            comparisons.push(comparison);
            tables.push(made.pair);
        }
    }
    if comparisons.is_empty() {
        let found = || nothing_found(&measured, &checks);
        return Err(lacking.unwrap_or_else(|| CompareError::NothingToCompare { found: found() }));
    }
    let findings = Findings {
        schema: 1,
        program: Program { name: "fairtake".to_string(), version: asked.version.clone() },
        title: (!shootout.title.is_empty()).then(|| shootout.title.clone()),
        settings: settings.clone(),
        mics: assemble::mics(takes, shootout),
        sources: assemble::sources(takes, shootout),
        takes: assemble::takes(&measured, &checks),
        comparisons,
        checks,
    };
    Ok(Measurement { findings, measures, tables })
}

/// Takes of a source that take part.
pub(crate) fn taking_part<'t>(
    measured: &[Measured<'t>],
    checks: &[CheckResult],
    source: &str,
) -> Vec<Measured<'t>> {
    let takes_part = |(t, m): &&Measured| t.source == source && left_out(t, m, checks).is_none();
    measured.iter().filter(takes_part).copied().collect()
}

/// One pair of microphones on a source: its takes, how they were made, and their tables.
pub(crate) struct Tabled<'t> {
    a: Vec<Measured<'t>>,
    b: Vec<Measured<'t>>,
    witness: Vec<Measured<'t>>,
    assumed: Assumed,
    pub made: Tabulated,
    pub setting_up: Option<SettingUp>,
}

impl<'t> Tabled<'t> {
    pub(crate) fn new(
        here: &[Measured<'t>],
        mics: [&str; 2],
        shootout: &Shootout,
        settings: &Settings,
        asked: &Comparison,
    ) -> Tabled<'t> {
        let which = |holds: &dyn Fn(&Take) -> bool| -> Vec<Measured<'t>> {
            here.iter().filter(|(t, _)| holds(t)).copied().collect()
        };
        let [a, b] = mics.map(|mic| which(&|t| t.role == Role::Compared && t.mic == mic));
        let witness = which(&|t| t.role == Role::Witness);
        let assumed = assumed(&a, &b, &witness, shootout, settings, asked);
        let made = tabulate(&a, &b, &witness, assumed.design, settings);
        let source = here.first().map_or("", |(t, _)| t.source.as_str());
        let setting_up = setting_up(shootout, source, mics[0], mics[1]);
        Tabled { a, b, witness, assumed, made, setting_up }
    }
}

/// Measures every take and checks each by itself, without comparing; what is remembered is not read again.
///
/// # Errors
/// When a take cannot be read.
pub fn measure_and_check(
    takes: &[Take],
    shootout: &Shootout,
    settings: &Settings,
    remembered: &mut Remembered,
) -> Result<(Vec<TakeMeasure>, Vec<CheckResult>), ReadError> {
    measured_and_checked(takes, shootout, settings, None, remembered)
}

pub(crate) fn measured_and_checked(
    takes: &[Take],
    shootout: &Shootout,
    settings: &Settings,
    recognised: Option<&Recognised>,
    remembered: &mut Remembered,
) -> Result<(Vec<TakeMeasure>, Vec<CheckResult>), ReadError> {
    let measures = measure_all(takes, shootout, settings, recognised, remembered)?;
    takes.iter().try_for_each(|t| t.samples.finish())?;
    let measured: Vec<(&Take, &TakeMeasure)> = takes.iter().zip(&measures).collect();
    let mut checks = checks::of_takes(&measured, settings.bands_per_octave);
    checks::keep_what_concerns(&mut checks, takes);
    Ok((measures, checks))
}

/// Why a take takes no part: it is unfair, or nothing is played in it.
pub(crate) fn left_out(take: &Take, measure: &TakeMeasure, checks: &[CheckResult]) -> Option<String> {
    if let Some(check) = checks::unfair(checks, &take.id).filter(|_| !take.keep_although_unfair) {
        return Some(check.code.clone());
    }
    let played = matches!(take.role, Role::Compared | Role::Witness);
    let none = measure.events.iter().all(|e| e.left_out.is_some());
    let clipped = measure.events.iter().any(|e| e.left_out == Some(LeftOut::Clipped));
    (played && none).then(|| {
        let why = match (clipped, measure.events.is_empty()) {
            (true, _) => "every event is clipped or cut off",
            (false, true) => "no event stands out of the noise",
            (false, false) => "no whole event was found",
        };
        why.to_string()
    })
}

/// What there is, where it is not enough for one comparison.
fn nothing_found(measured: &[(&Take, &TakeMeasure)], checks: &[CheckResult]) -> String {
    let why: Vec<String> = measured
        .iter()
        .filter_map(|(t, m)| Some(format!("{} is left out: {}", t.id, left_out(t, m, checks)?)))
        .collect();
    let rest = if why.is_empty() { String::new() } else { format!("; {}", why.join("; ")) };
    format!("{}, but no source was recorded by two microphones{rest}", number_of(measured.len(), "take"))
}

/// Keys in the order in which they are met.
pub(crate) fn distinct<T, K: PartialEq>(items: &[T], key: impl Fn(&T) -> K) -> Vec<K> {
    let mut out: Vec<K> = Vec::new();
    for item in items {
        let k = key(item);
        if !out.contains(&k) {
            out.push(k);
        }
    }
    out
}

/// Which pairs are compared on one source.
pub(crate) fn pairs(here: &[Measured], asked: &Comparison) -> Result<Vec<(String, String)>, CompareError> {
    let compared: Vec<&Take> = here.iter().map(|(t, _)| *t).filter(|t| t.role == Role::Compared).collect();
    let mics = distinct(&compared, |t| t.mic.clone());
    let known = |mic: &String| {
        if mics.contains(mic) {
            Ok(mic.clone())
        } else {
            Err(CompareError::NoSuchMicrophone { asked: mic.clone(), there_are: mics.clone() })
        }
    };
    if let Some((a, b)) = &asked.pair {
        return Ok(vec![(known(a)?, known(b)?)]);
    }
    let reference = match (&asked.reference, mics.first()) {
        (Some(mic), _) => known(mic)?,
        (None, Some(first)) => first.clone(),
        (None, None) => return Ok(Vec::new()),
    };
    Ok(mics.iter().filter(|m| **m != reference).map(|m| (reference.clone(), m.clone())).collect())
}

/// What is logged of the setting-up, where it is enough for the allowance.
fn setting_up(shootout: &Shootout, source: &str, reference: &str, against: &str) -> Option<SettingUp> {
    let logged = shootout.sources.get(source)?;
    let mic = |key: &str| shootout.mics.get(key);
    Some(SettingUp {
        distance_mm: logged.distance_mm?,
        radius_mm: logged.radius_mm,
        gradient_share: [mic(reference)?.pattern?.gradient_share(), mic(against)?.pattern?.gradient_share()],
        centre_offset_mm: [
            mic(reference)?.centre_behind_grille_mm(),
            mic(against)?.centre_behind_grille_mm(),
        ],
        speed_of_sound_m_s: shootout.speed_of_sound_m_s(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{hits, take};

    #[test]
    fn a_source_without_a_named_microphone_is_passed_over_where_another_has_it() {
        let on = |source: &str, mic: &str, performance| Take {
            source: source.into(),
            ..take(mic, performance, hits(u64::from(performance), 0.5))
        };
        let takes = || {
            vec![
                on("cello", "coot", 1),
                on("cello", "heron", 2),
                on("drum", "heron", 3),
                on("drum", "tern", 4),
            ]
        };
        let asked = |a: &str, b: &str, source: Option<&str>| Comparison {
            reference: None,
            pair: Some((a.into(), b.into())),
            source: source.map(String::from),
            recognised: None,
            version: "test".into(),
        };
        let settings = Settings { resamples: 50, ..Settings::standard() };
        let run = |asked: &Comparison| compare(&takes(), &Shootout::default(), &settings, asked);
        let found = run(&asked("heron", "tern", None)).expect("the drum has both").findings;
        let pairs: Vec<_> =
            found.comparisons.iter().map(|c| (c.source.as_str(), c.against.as_str())).collect();
        assert_eq!(pairs, [("drum", "tern")]);
        for (a, b, source) in
            [("heron", "wren", None), ("coot", "tern", None), ("heron", "tern", Some("cello"))]
        {
            let refused = run(&asked(a, b, source)).map(|_| ()).expect_err("no source has both");
            assert!(matches!(refused, CompareError::NoSuchMicrophone { .. }), "{a} {b}: {refused}");
        }
    }
}
