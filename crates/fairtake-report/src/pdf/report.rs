//! The report as a sequence of blocks, in the order of the page.

use super::PdfError;
use super::blocks::{BODY, SMALL, STRONG, outcome, verdict};
use super::flow::{Flow, QUIET, Style};
use super::letters::Letters;
use super::sheets;
use super::tags::{NodeId, Role};
use crate::content::{self, Cell, Heeded, Kind, Table};
use crate::figure::{Corridor, Layout, printed};
use crate::heard::{self, Heard};
use crate::sheet;
use fairtake_bridge::{Bridge, in_words, sentences};
use fairtake_calibrated::Measurements;
use fairtake_compare::{ComparisonFindings, Findings, Outcome};

/// Of one kind of caution this many are spelt out; the table in the appendix has all.
const SPELT_OUT: usize = 2;

/// The picture: as wide as what is set, in px of 2/3 point, so that lines and letters have the weight of the text.
const LAYOUT: Layout = Layout { width: 730.0, letter: 11.6, ..Layout::WIDE };

const ASIDE: Style = Style { colour: QUIET, ..BODY };

/// A last page of a part that is less full than this is not worth its paper, where closer rows save it.
const WORTH_A_PAGE: f32 = 0.2;

/// What stands beside the findings.
#[derive(Clone, Copy)]
pub(super) struct Beside<'b> {
    /// What blind tests showed.
    pub heard: &'b [Heard],
    /// How much is equalising.
    pub bridges: &'b [Bridge],
    /// Microphones measured by themselves.
    pub measured: Option<&'b Measurements>,
}

/// Where a part of the report ends.
struct End {
    /// Number of its pages.
    n_pages: usize,
    /// How full the last one is.
    filled: f32,
}

/// What is said where letters have been replaced.
const IN_BRACKETS: &str = "In brackets: Unicode numbers of letters that this document's fonts lack.";

/// Lays the report out. `note`: say that letters have been replaced.
///
/// Parts whose last page would be nearly empty are set closer, and stay so where that saves the page.
pub(super) fn lay<'a>(
    letters: &'a Letters,
    findings: &Findings,
    beside: Beside,
    note: bool,
) -> Result<Flow<'a>, PdfError> {
    let n_parts = findings.comparisons.len() + sheet_headings(beside).len() + 1;
    let (loose, ends) = lay_parts(letters, (findings, beside), note, &vec![false; n_parts])?;
    let wasteful = |e: &End| e.n_pages > 1 && e.filled < WORTH_A_PAGE;
    let mut tight: Vec<bool> = ends.iter().map(wasteful).collect();
    if !tight.contains(&true) {
        return Ok(loose);
    }
    let (closer, closer_ends) = lay_parts(letters, (findings, beside), note, &tight)?;
    let saved: Vec<bool> = ends.iter().zip(&closer_ends).map(|(a, b)| b.n_pages < a.n_pages).collect();
    if saved == tight {
        return Ok(closer);
    }
    tight = saved;
    Ok(lay_parts(letters, (findings, beside), note, &tight)?.0)
}

fn lay_parts<'a>(
    letters: &'a Letters,
    (findings, beside): (&Findings, Beside),
    note: bool,
    tight: &[bool],
) -> Result<(Flow<'a>, Vec<End>), PdfError> {
    let mut flow = Flow::new(letters);
    let mut ends = Vec::new();
    flow.said(None, "Fairtake report", SMALL);
    flow.heading(None, 1, &content::title(findings));
    flow.said(None, &content::compared(findings), BODY);
    if note {
        flow.said(None, IN_BRACKETS, ASIDE);
    }
    let (n_pairs, of_sheets) = (findings.comparisons.len(), sheet_headings(beside));
    if n_pairs + of_sheets.len() > 1 {
        let of_pairs = findings.comparisons.iter().map(|c| heading(findings, c));
        let list: Vec<(String, usize)> =
            of_pairs.chain(of_sheets.iter().cloned()).enumerate().map(|(i, said)| (said, i)).collect();
        flow.space(4.0);
        flow.contents(&list);
    }
    fairness(&mut flow, findings);
    for (i, tight) in tight.iter().enumerate() {
        flow.fresh_page();
        flow.tight = *tight;
        let first = flow.pages.len();
        match (findings.comparisons.get(i), beside.measured) {
            (Some(c), _) => pair(&mut flow, findings, beside, c)?,
            (None, Some(measured)) if i < n_pairs + of_sheets.len() => {
                sheets::part(&mut flow, measured, i - n_pairs)?;
            }
            (None, _) => {
                heard_elsewhere(&mut flow, findings, beside.heard);
                appendix(&mut flow, findings);
            }
        }
        ends.push(End { n_pages: flow.pages.len() + 1 - first, filled: flow.filled() });
    }
    Ok((flow, ends))
}

fn sheet_headings(beside: Beside) -> Vec<String> {
    beside.measured.map(sheets::headings).unwrap_or_default()
}

/// Lays data sheets out with nothing beside them. `note`: as in [`lay`].
pub(super) fn lay_sheets<'a>(
    letters: &'a Letters,
    measured: &Measurements,
    note: bool,
) -> Result<Flow<'a>, PdfError> {
    let mut flow = Flow::new(letters);
    flow.said(None, "Fairtake data sheets", SMALL);
    flow.heading(None, 1, &sheet::title(measured));
    flow.said(None, &sheet::conditions(measured), BODY);
    if note {
        flow.said(None, IN_BRACKETS, ASIDE);
    }
    let headings = sheets::headings(measured);
    if headings.len() > 1 {
        let list: Vec<(String, usize)> = headings.iter().cloned().zip(0..).collect();
        flow.space(4.0);
        flow.contents(&list);
    }
    for number in 0..headings.len() {
        flow.fresh_page();
        sheets::part(&mut flow, measured, number)?;
    }
    flow.settle();
    Ok(flow)
}

fn heading(findings: &Findings, c: &ComparisonFindings) -> String {
    content::heading(findings, &c.reference, &c.against, &c.source)
}

fn fairness(flow: &mut Flow, findings: &Findings) {
    let section = Some(flow.tags.add(None, Role::Section));
    flow.heading(section, 2, "Is it fair?");
    flow.said(section, &content::standing(findings), BODY);
    let groups = content::heeded(findings);
    if groups.is_empty() {
        return;
    }
    let list = flow.tags.add(section, Role::List);
    for group in &groups {
        let more = more(group);
        let mut said = vec![(group.name.as_str(), STRONG)];
        said.extend(group.found.iter().take(SPELT_OUT).map(|f| (f.as_str(), BODY)));
        said.extend(more.as_deref().map(|m| (m, BODY)));
        said.push((group.advice.as_str(), ASIDE));
        flow.marked(list, outcome(group.outcome), &said);
    }
}

fn more(group: &Heeded) -> Option<String> {
    let n = group.found.len().saturating_sub(SPELT_OUT);
    (n > 0).then(|| format!("And {n} more; all are listed in the appendix."))
}

fn pair(
    flow: &mut Flow,
    findings: &Findings,
    beside: Beside,
    c: &ComparisonFindings,
) -> Result<(), PdfError> {
    let section = Some(flow.tags.add(None, Role::Section));
    flow.targets.push(flow.entries.len());
    flow.heading(section, 2, &heading(findings, c));
    flow.terms(section, &content::made(findings, c));

    flow.heading(section, 3, "Findings");
    if c.findings.is_empty() {
        flow.said(section, "None that the takes support.", ASIDE);
    } else {
        let list = flow.tags.add(section, Role::List);
        for f in &c.findings {
            flow.marked(list, verdict(f.verdict), &[(&format!("{}.", f.text), BODY)]);
        }
    }
    let tests = heard::of_pair(c, beside.heard);
    if !tests.is_empty() {
        flow.heading(section, 3, "Heard blind");
        tests.into_iter().for_each(|test| blind(flow, section, test));
    }
    if let Some(text) = &c.own_words {
        flow.heading(section, 3, "In the user's own words");
        for line in text.lines().filter(|l| !l.trim().is_empty()) {
            flow.quoted(section, line);
        }
    }

    let mut corridor = Corridor::new(findings, c);
    for name in [&mut corridor.reference.name, &mut corridor.against.name, &mut corridor.description] {
        *name = flow.settable(name);
    }
    let figure = flow.tags.add(section, Role::Figure(corridor.description.clone()));
    let caption = flow.tags.add(section, Role::Caption);
    let words = flow.settable(&content::caption(findings, c, ""));
    flow.space(12.0);
    flow.picture(printed(&corridor, &LAYOUT)?, (figure, caption), &words, SMALL);

    flow.heading(section, 3, "Regions");
    if c.regions.is_empty() {
        flow.said(section, "None that the takes support.", ASIDE);
    } else {
        flow.table(section, &content::regions(c));
    }
    flow.heading(section, 3, "Levels");
    flow.table(section, &content::levels(findings, c));
    flow.heading(section, 3, "Captured range, peaks and notches");
    match content::features(findings, c) {
        Some(table) => flow.table(section, &table),
        None => flow.said(section, "None that the takes support.", ASIDE),
    }
    if let Some(a) = &c.alignment {
        flow.heading(section, 3, "Time and transfer");
        flow.said(section, content::LEFT_OVER, SMALL);
        flow.terms(section, &content::alignment(a));
    }
    if let Some(table) = content::budget(c).filter(|t| !t.rows.is_empty()) {
        flow.heading(section, 3, "Uncertainty budget");
        flow.table(section, &table);
    }
    if let Some(bridge) = beside.bridges.iter().find(|b| b.is_of(c)) {
        flow.heading(section, 3, "How much is equalising?");
        equalising(flow, section, findings, bridge);
    }
    Ok(())
}

/// What an equaliser carries, and how it is set.
fn equalising(flow: &mut Flow, section: Option<NodeId>, findings: &Findings, bridge: &Bridge) {
    let name = |key: &str| content::mic_name(findings, key).to_string();
    for line in sentences(bridge, name) {
        flow.said(section, &format!("{}.", crate::bridge::capital(&line)), BODY);
    }
    let from = name(&bridge.from);
    let gain = crate::words::signed(bridge.equaliser.gain_db);
    flow.said(section, &format!("The equaliser on {from}: gain of all {gain} dB."), STRONG);
    for band in &bridge.equaliser.bands {
        flow.said(section, &format!("{}.", crate::bridge::capital(&in_words(band))), BODY);
    }
}

/// What a blind test showed, and what that does not say.
fn blind(flow: &mut Flow, section: Option<NodeId>, test: &Heard) {
    flow.said(section, &test.title, ASIDE);
    for line in &test.score.says {
        flow.said(section, line, BODY);
    }
    for set in &test.equalisers {
        flow.said(section, &format!("{set}."), BODY);
    }
    if !test.score.does_not_say.is_empty() {
        flow.said(section, "What that does not say:", STRONG);
        for line in &test.score.does_not_say {
            flow.said(section, line, BODY);
        }
    }
}

/// Blind tests of more than two microphones, or of a pair that is not compared here.
fn heard_elsewhere(flow: &mut Flow, findings: &Findings, heard: &[Heard]) {
    let is_told = |h: &&Heard| findings.comparisons.iter().any(|c| h.is_of(c));
    let others: Vec<&Heard> = heard.iter().filter(|h| h.is_done() && !is_told(h)).collect();
    if others.is_empty() {
        return;
    }
    let section = Some(flow.tags.add(None, Role::Section));
    flow.heading(section, 2, "Heard blind");
    others.into_iter().for_each(|test| blind(flow, section, test));
}

/// Some columns of a table.
fn part(table: &Table, shown: impl Fn(usize) -> bool) -> Table {
    let of =
        |row: &Vec<Cell>| row.iter().enumerate().filter(|(i, _)| shown(*i)).map(|(_, c)| c.clone()).collect();
    Table {
        caption: table.caption.clone(),
        columns: table
            .columns
            .iter()
            .enumerate()
            .filter(|(i, _)| shown(*i))
            .map(|(_, c)| c.clone())
            .collect(),
        rows: table.rows.iter().map(of).collect(),
    }
}

fn appendix(flow: &mut Flow, findings: &Findings) {
    let section = Some(flow.tags.add(None, Role::Section));
    flow.heading(section, 2, "How it was computed");
    for said in content::METHOD.iter().chain([&content::ABOUT]) {
        flow.said(section, said, BODY);
    }
    flow.heading(section, 3, "Settings");
    flow.terms(section, &content::settings(findings));
    flow.heading(section, 3, "Checks");
    let fair: Vec<String> = content::fair(findings).iter().map(|(name, n)| format!("{name} {n}")).collect();
    if !fair.is_empty() {
        flow.said(section, &format!("Fair, with how often: {}.", fair.join(", ")), BODY);
    }
    let heeded = content::every_check(findings, |c| c.outcome != Outcome::Fair);
    if !heeded.rows.is_empty() {
        flow.table(section, &heeded);
    }
    flow.heading(section, 3, "Takes");
    // In two parts: all columns side by side would be too narrow to be read.
    let takes = content::takes(findings);
    let first = takes.columns.iter().position(|c| c.kind == Kind::Number && c.name.contains("dB"));
    let split = first.unwrap_or(takes.columns.len());
    flow.table(section, &part(&takes, |i| i < split));
    flow.table(section, &part(&takes, |i| i == 0 || i >= split));
}
