//! `compare`: the one flow, and nothing else. Open this file first.

use crate::align::align;
use crate::assemble::{self, PairParts};
use crate::checks;
use crate::judge::{features, judge};
use crate::measure::{measure_performance, tabulate};
use crate::{
    Design, Findings, PairTables, Playing, Program, ReadError, Role, SettingUp, Settings, Shootout, Take,
    TakeMeasure,
};

/// What is asked of a run, beside the takes.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Key of the microphone that others are compared with; `None`: the first met.
    pub reference: Option<String>,
    /// Only this pair, as reference and against.
    pub pair: Option<(String, String)>,
    /// The takes are bare files: nothing is logged, the design is recognised.
    pub bare_files: bool,
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
    let measures = measure_all(takes, shootout, settings).map_err(CompareError::Read)?;
    let measured: Vec<(&Take, &TakeMeasure)> = takes.iter().zip(&measures).collect();
    let mut checks = checks::of_takes(&measured, settings.bands_per_octave);
    let (mut comparisons, mut tables) = (Vec::new(), Vec::new());
    for source in distinct(takes, |t| t.source.clone()) {
        let here: Vec<(&Take, &TakeMeasure)> = measured
            .iter()
            .copied()
            .filter(|(t, _)| {
                t.source == source && (t.keep_although_unfair || !checks::unfair(&checks, &t.id))
            })
            .collect();
        for (reference, against) in pairs(&here, asked)? {
            let by = |mic: &str, role: Role| -> Vec<(&Take, &TakeMeasure)> {
                here.iter()
                    .copied()
                    .filter(|(t, _)| t.role == role && (role != Role::Compared || t.mic == mic))
                    .collect()
            };
            let (a, b) = (by(&reference, Role::Compared), by(&against, Role::Compared));
            let witness = by("", Role::Witness);
            let (design, reason) = design(&a, &b, &witness, settings, asked);
            let made = tabulate(&a, &b, &witness, design, settings);
            let setting_up = setting_up(shootout, &source, &reference, &against);
            let judgement = judge(&made.pair, settings, setting_up.as_ref());
            let found = features(&made.pair, settings);
            let alignment = match design {
                Design::Together => {
                    align(&a, &b, shootout.temperature_c.unwrap_or(20.0)).map_err(CompareError::Read)?
                }
                _ => None,
            };
            let parts = PairParts { source: &source, a: &a, b: &b, made: &made, reason, alignment, settings };
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
            comparisons.push(comparison);
            tables.push(made.pair);
        }
    }
    if comparisons.is_empty() {
        return Err(CompareError::NothingToCompare {
            found: format!("{} take(s), but no source was recorded by two microphones", takes.len()),
        });
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

/// Takes of one performance are measured together.
fn measure_all(
    takes: &[Take],
    shootout: &Shootout,
    settings: &Settings,
) -> Result<Vec<TakeMeasure>, ReadError> {
    let mut out: Vec<Option<TakeMeasure>> = takes.iter().map(|_| None).collect();
    for key in distinct(takes, |t| (t.source.clone(), t.performance)) {
        let group: Vec<usize> =
            (0..takes.len()).filter(|i| (takes[*i].source.clone(), takes[*i].performance) == key).collect();
        let of_group: Vec<&Take> = group.iter().map(|i| &takes[*i]).collect();
        // What the user states holds, then what the log says of the source.
        let playing = match (settings.playing, shootout.sources.get(&key.0)) {
            (Playing::Auto, Some(logged)) => logged.playing,
            (stated, _) => stated,
        };
        let settings = Settings { playing, ..settings.clone() };
        for (i, measure) in group.into_iter().zip(measure_performance(&of_group, &settings)?) {
            out[i] = Some(measure);
        }
    }
    Ok(out.into_iter().flatten().collect())
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
fn pairs(here: &[(&Take, &TakeMeasure)], asked: &Comparison) -> Result<Vec<(String, String)>, CompareError> {
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

/// How the takes of a pair were made, and why that is assumed.
fn design(
    a: &[(&Take, &TakeMeasure)],
    b: &[(&Take, &TakeMeasure)],
    witness: &[(&Take, &TakeMeasure)],
    settings: &Settings,
    asked: &Comparison,
) -> (Design, String) {
    if let Some(design) = settings.design_override {
        return (design, "stated by the user".to_string());
    }
    let shared = a.iter().all(|(t, _)| b.iter().any(|(o, _)| o.performance == t.performance));
    match (shared, witness.is_empty()) {
        (true, _) if asked.bare_files => {
            (Design::Together, "the files hold the same performance at the same time".to_string())
        }
        (true, _) => (Design::Together, "the log gives both microphones the same performances".to_string()),
        (false, false) => (Design::InTurnWithWitness, "the log has a witness beside every take".to_string()),
        (false, true) if asked.bare_files => {
            (Design::InTurn, "the files do not hold the same performance".to_string())
        }
        (false, true) => (Design::InTurn, "the log gives the microphones different performances".to_string()),
    }
}

/// What is logged of the setting-up, where it is enough for the allowance.
fn setting_up(shootout: &Shootout, source: &str, reference: &str, against: &str) -> Option<SettingUp> {
    let logged = shootout.sources.get(source)?;
    let mic = |key: &str| shootout.mics.get(key);
    Some(SettingUp {
        distance_mm: logged.distance_mm?,
        radius_mm: logged.radius_mm,
        gradient_share: [mic(reference)?.pattern?.gradient_share(), mic(against)?.pattern?.gradient_share()],
        // Assumption of METHOD: the acoustic centre lies 15 mm behind the grille where nothing is logged.
        centre_offset_mm: [reference, against]
            .map(|m| mic(m).and_then(|m| m.centre_offset_mm).unwrap_or(15.0)),
        speed_of_sound_m_s: 331.45 * (1.0 + shootout.temperature_c.unwrap_or(20.0) / 273.15).sqrt(),
    })
}
