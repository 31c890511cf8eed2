//! Data sheets of measured microphones: each begins a page, with the lines and pictures of the [sheet](crate::sheet).

use super::PdfError;
use super::blocks::SMALL;
use super::flow::Flow;
use super::tags::{NodeId, Role};
use crate::figure::{Layout, draw_noise, draw_polar, draw_response, set_for_print};
use crate::sheet::{self, lines, pairs};
use fairtake_calibrated::sheet::MatchedPair;
use fairtake_calibrated::{DataSheet, Measurements};

/// A curve as wide as what is set, of px that make its letters as large as the small print.
const LAYOUT: Layout = Layout { width: 800.0, letter: 13.0, ..Layout::WIDE };

/// A polar diagram is no wider than this share of what is set.
const POLAR_SHARE: f64 = 0.62;

/// What is measured is told no wider than this.
const TERM: f32 = 215.0;

/// Headings of the sheets, and of the pairs where there are any: what [`part`] sets, each on a page of its own.
pub(super) fn headings(m: &Measurements) -> Vec<String> {
    let pairs = (!m.pairs.is_empty()).then(|| pairs::TITLE.to_string());
    m.sheets.iter().map(|s| heading(&s.name)).chain(pairs).collect()
}

fn heading(name: &str) -> String {
    format!("Data sheet: {name}")
}

/// Part `number` of those that [`headings`] names.
pub(super) fn part(flow: &mut Flow, m: &Measurements, number: usize) -> Result<(), PdfError> {
    let section = Some(flow.tags.add(None, Role::Section));
    flow.targets.push(flow.entries.len());
    match m.sheets.get(number) {
        Some(one) => data_sheet(flow, section, m, one),
        None => {
            flow.heading(section, 2, pairs::TITLE);
            flow.said(section, pairs::MEANT, SMALL);
            let told = |pair: &MatchedPair| {
                let said = pairs::words(pair);
                let value = said.whole();
                (said.names, value)
            };
            flow.terms(section, &m.pairs.iter().map(told).collect::<Vec<_>>());
            Ok(())
        }
    }
}

fn data_sheet(
    flow: &mut Flow,
    section: Option<NodeId>,
    m: &Measurements,
    sheet: &DataSheet,
) -> Result<(), PdfError> {
    flow.heading(section, 2, &heading(&sheet.name));
    flow.said(section, &sheet::conditions(m), SMALL);
    let name = &flow.settable(&sheet.name);
    let response = sheet.response.found.as_ref();
    let response = response.and_then(|r| Some((draw_response(name, r, &LAYOUT)?, sheet::of_response(r))));
    let polar = sheet.direction.found.as_ref();
    let polar = polar.and_then(|d| Some((draw_polar(name, d)?, sheet::of_direction(d))));
    let noise = sheet.noise.found.as_ref();
    let noise = noise.and_then(|n| Some((draw_noise(name, n, &LAYOUT)?, sheet::OF_NOISE.to_string())));
    for part in lines::parts(sheet).iter().filter(|p| !sheet::is_empty(p)) {
        flow.heading(section, 3, part.title);
        match part.title {
            lines::RESPONSE => picture(flow, section, &response, 1.0)?,
            lines::DIRECTION => picture(flow, section, &polar, POLAR_SHARE)?,
            lines::NOISE => picture(flow, section, &noise, 1.0)?,
            _ => {}
        }
        if let Some(table) = &part.table {
            flow.table(section, table);
        }
        let list: Vec<(String, String)> =
            part.lines.iter().map(|line| (line.what.clone(), line.value.clone())).collect();
        if !list.is_empty() {
            flow.terms_in(section, &list, SMALL, TERM);
        }
        for remark in &part.remarks {
            flow.said(section, &format!("{remark}."), SMALL);
        }
    }
    Ok(())
}

fn picture(
    flow: &mut Flow,
    section: Option<NodeId>,
    drawn: &Option<(String, String)>,
    share: f64,
) -> Result<(), PdfError> {
    let Some((svg, caption)) = drawn else { return Ok(()) };
    let drawing = set_for_print(svg, share)?;
    let caption = flow.settable(caption);
    let figure = flow.tags.add(section, Role::Figure(caption.clone()));
    let of_caption = flow.tags.add(section, Role::Caption);
    flow.space(4.0);
    flow.picture(drawing, (figure, of_caption), &caption, SMALL);
    flow.space(6.0);
    Ok(())
}
