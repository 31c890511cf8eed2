//! Compare: one source, a pair, the picture and everything behind it; three or more microphones at once.

use super::{Named, Step, View, chosen, mics, only_measured, sources, word};
use crate::desk::{Desk, Now};
use crate::html;
use crate::trouble::Trouble;
use fairtake_compare::{
    CheckResult, ComparisonFindings, Distance, Findings, MatchBy, Outcome, Role, Settings, Standing, standing,
};
use fairtake_report::figure::{Corridor, FROM_HZ, Layout, TO_HZ, draw};
use maud::Markup;
use serde::{Deserialize, Serialize};

/// Bands per octave that are offered.
pub(crate) const SMOOTHINGS: [u32; 4] = [3, 6, 12, 24];
/// A stretch of the axis is never shown narrower than this, in octaves.
const NARROWEST_OCTAVES: f64 = 0.5;
/// So many distances are found before something else may come between.
const PAIRS_AT_ONCE: usize = 8;
/// A picture among several.
const SMALL: Layout = Layout {
    width: 420.0,
    letter: 11.0,
    spectra_db_per_decade: 100.0,
    difference_db_per_decade: 25.0,
    range_hz: (FROM_HZ, TO_HZ),
    readings: false,
};

/// The page.
#[derive(Debug, Serialize)]
pub(crate) struct ComparePage {
    pub sources: Vec<Named>,
    pub source: Option<String>,
    /// Microphones with takes of the source that are compared.
    pub mics: Vec<Named>,
    pub reference: Option<String>,
    pub against: Option<String>,
    pub settings: Settings,
    /// Stretch of the axis that is shown, in Hz.
    pub range_hz: (f64, f64),
    /// The pair; `None`: nothing to compare, for the reason given.
    pub found: Option<Found>,
    /// The folder holds measurements, and no take that is compared.
    pub only_measured: bool,
    pub why_nothing: Option<String>,
    /// What blind tests of the pair say: title and sentences.
    pub heard: Vec<(String, Vec<String>)>,
    /// How much of it is written down at once.
    #[serde(skip)]
    pub pictures: Pictures,
}

/// Which pictures are drawn, and whether the tables behind them come along.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(crate) enum Pictures {
    /// Whole page: one for each width, of which the style shows one; the tables too.
    #[default]
    Both,
    /// A script asked, on a wide screen: it fetches the tables when they are others than it has.
    Wide,
    /// The same on a narrow one.
    Narrow,
}

/// The pair that is looked at.
#[derive(Debug, Serialize)]
pub(crate) struct Found {
    /// Names for people, and what else the tables need.
    #[serde(skip)]
    pub findings: Findings,
    pub comparison: ComparisonFindings,
    /// Checks on the pair and its takes that are not fair.
    pub to_heed: Vec<CheckResult>,
    pub n_fair: usize,
    /// What would settle what is open.
    pub standing: Option<Standing>,
}

/// One of several pictures.
#[derive(Debug, Serialize)]
pub(crate) struct Other {
    pub against: Named,
    pub distance: Distance,
    #[serde(skip)]
    pub picture: String,
}

/// All microphones of a source: each against the reference, and how far apart each two are.
#[derive(Debug, Serialize)]
pub(crate) struct Others {
    pub mics: Vec<Named>,
    pub others: Vec<Other>,
    /// First and second by their place in `mics`.
    pub pairs: Vec<(usize, usize, Distance)>,
    /// Pictures and table as they are shown.
    pub html: String,
}

/// What the address may ask for.
#[derive(Debug, Default, Clone, Deserialize)]
pub(crate) struct CompareQuery {
    source: Option<String>,
    reference: Option<String>,
    against: Option<String>,
    #[serde(rename = "match")]
    match_by: Option<String>,
    margin: Option<String>,
    bands: Option<String>,
    from: Option<f64>,
    to: Option<f64>,
    #[serde(default)]
    picture: Pictures,
}

impl View for ComparePage {
    type Query = CompareQuery;
    const STEP: Step = Step::Compare;

    fn make(desk: &Desk, query: CompareQuery) -> Result<ComparePage, Trouble> {
        let now = desk.now()?;
        let settings = settings(desk, &now, &query)?;
        let sources = sources(&now);
        let source = chosen(query.source.as_ref(), &sources);
        let mics = source.as_ref().map_or_else(Vec::new, |s| compared_mics(&now, s));
        let reference = chosen(query.reference.as_ref(), &mics);
        let rest: Vec<Named> = mics.iter().filter(|m| Some(&m.key) != reference.as_ref()).cloned().collect();
        let against = chosen(query.against.as_ref(), &rest);
        let mut page = ComparePage {
            range_hz: range(&query),
            sources,
            source,
            mics,
            reference,
            against,
            settings,
            found: None,
            only_measured: only_measured(&now),
            why_nothing: None,
            heard: Vec::new(),
            pictures: query.picture,
        };
        match page.pair_asked() {
            None => page.why_nothing = Some(page.nothing()),
            Some((source, a, b)) => match found(desk, &now, &page.settings, (source, a, b)) {
                Ok(found) => {
                    let of_pair = crate::blind::heard(desk, &now)?
                        .into_iter()
                        .filter(|h| h.is_done() && h.is_of(&found.comparison));
                    page.heard = of_pair.map(|h| (h.title, h.score.says)).collect();
                    page.found = Some(found);
                }
                Err(e) => page.why_nothing = Some(format!("{}; {}", e.what, e.hint)),
            },
        }
        Ok(page)
    }

    fn html(&self) -> Markup {
        html::compare(self)
    }
}

impl ComparePage {
    fn pair_asked(&self) -> Option<(&str, &str, &str)> {
        Some((self.source.as_deref()?, self.reference.as_deref()?, self.against.as_deref()?))
    }

    fn nothing(&self) -> String {
        match (self.sources.len(), self.mics.len()) {
            (0, _) => "no source is logged yet: begin on the page Takes".into(),
            (_, 0) => "no take of this source is compared yet: assign some on the page Takes".into(),
            _ => "only one microphone has takes of this source: a second one is needed".into(),
        }
    }

    /// The signature picture with its readings, of one proportion.
    pub(crate) fn picture(&self, layout: Layout) -> Option<String> {
        let found = self.found.as_ref()?;
        let corridor = Corridor::new(&found.findings, &found.comparison);
        Some(draw(&corridor, &Layout { range_hz: self.range_hz, readings: true, ..layout }))
    }
}

/// Microphones with takes of a source that are compared.
pub(crate) fn compared_mics(now: &Now, source: &str) -> Vec<Named> {
    let takes = &now.loaded.takes;
    let has =
        |mic: &str| takes.iter().any(|t| t.source == source && t.mic == mic && t.role == Role::Compared);
    mics(now).into_iter().filter(|m| has(&m.key)).collect()
}

fn settings(desk: &Desk, now: &Now, query: &CompareQuery) -> Result<Settings, Trouble> {
    let mut settings = desk.settings(now);
    if let Some(text) = &query.match_by {
        let known: Option<MatchBy> = word(text);
        settings.match_by = known.ok_or_else(|| {
            Trouble::bad(format!("levels cannot be matched by `{text}`"), "choose one of those offered")
        })?;
    }
    if let Some(text) = query.margin.as_ref().filter(|t| !t.trim().is_empty()) {
        let margin: Option<f64> = text.trim().replace(',', ".").parse().ok();
        settings.margin_db = margin.filter(|m| (0.01..=60.0).contains(m)).ok_or_else(|| {
            Trouble::bad(format!("the margin cannot be `{text}`"), "type decibels between 0.01 and 60")
        })?;
    }
    if let Some(text) = &query.bands {
        let bands: Option<u32> = text.parse().ok();
        settings.bands_per_octave = bands.filter(|b| SMOOTHINGS.contains(b)).ok_or_else(|| {
            Trouble::bad(format!("`{text}` bands per octave are not offered"), "choose 3, 6, 12 or 24")
        })?;
    }
    Ok(settings)
}

/// The stretch of the axis that is asked for, inside the axis and never too narrow to read.
fn range(query: &CompareQuery) -> (f64, f64) {
    let (from, to) = (query.from.unwrap_or(FROM_HZ), query.to.unwrap_or(TO_HZ));
    let (from, to) = (from.clamp(FROM_HZ, TO_HZ), to.clamp(FROM_HZ, TO_HZ));
    let (from, to) = (from.min(to), from.max(to));
    let least = 2f64.powf(NARROWEST_OCTAVES / 2.0);
    let middle = (from * to).sqrt();
    if to / from >= least * least { (from, to) } else { (middle / least, middle * least) }
}

fn found(
    desk: &Desk,
    now: &Now,
    settings: &Settings,
    (source, a, b): (&str, &str, &str),
) -> Result<Found, Trouble> {
    let asked = Desk::asked(Some(source.into()), Some((a.into(), b.into())));
    let mut findings = (*desk.compare(now, settings, &asked)?).clone();
    findings.keep_own_words(&now.loaded.log.shootout);
    let comparison = findings.comparisons[0].clone();
    let of_pair = |c: &&CheckResult| {
        let takes = &findings.takes;
        let take = c.take.as_ref().and_then(|id| takes.iter().find(|t| t.id == *id));
        c.comparison.is_some() || take.is_some_and(|t| t.source == source && (t.mic == a || t.mic == b))
    };
    let here: Vec<&CheckResult> = findings.checks.iter().filter(of_pair).collect();
    let mut to_heed: Vec<CheckResult> =
        here.iter().filter(|c| c.outcome != Outcome::Fair).map(|c| (*c).clone()).collect();
    to_heed.sort_by_key(|c| std::cmp::Reverse(c.outcome));
    let standing = standing(&findings, source).into_iter().next();
    let n_fair = here.len() - to_heed.len();
    Ok(Found { comparison, to_heed, n_fair, standing, findings })
}

/// Each microphone of the page against its reference, and every pair.
pub(crate) fn others(desk: &Desk, query: CompareQuery) -> Result<Others, Trouble> {
    let now = desk.now()?;
    let settings = settings(desk, &now, &query)?;
    let source = chosen(query.source.as_ref(), &sources(&now));
    let source = source.ok_or_else(|| Trouble::missing("no source is logged yet"))?;
    let mics = compared_mics(&now, &source);
    let reference = chosen(query.reference.as_ref(), &mics);
    let mut others = Vec::new();
    for mic in mics.iter().filter(|m| Some(&m.key) != reference.as_ref()) {
        let Some(reference) = &reference else { break };
        let asked = Desk::asked(Some(source.clone()), Some((reference.clone(), mic.key.clone())));
        let findings = desk.compare(&now, &settings, &asked)?;
        let c = &findings.comparisons[0];
        let picture = draw(&Corridor::new(&findings, c), &SMALL);
        others.push(Other { against: mic.clone(), distance: c.distance(), picture });
    }
    let places: Vec<(usize, usize)> =
        (0..mics.len()).flat_map(|i| (i + 1..mics.len()).map(move |j| (i, j))).collect();
    let mut pairs = Vec::new();
    // Some at a time, so that what else is asked of the desk meanwhile comes between.
    for some in places.chunks(PAIRS_AT_ONCE) {
        let keys: Vec<(String, String)> =
            some.iter().map(|(i, j)| (mics[*i].key.clone(), mics[*j].key.clone())).collect();
        let found = desk.distances(&now, &settings, &source, &keys)?;
        pairs.extend(some.iter().zip(found).map(|((i, j), distance)| (*i, *j, distance)));
    }
    let html = html::others(&source, reference.as_deref(), &mics, &others, &pairs).into_string();
    Ok(Others { mics, others, pairs, html })
}
