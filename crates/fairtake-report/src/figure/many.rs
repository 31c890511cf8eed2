//! All microphones of one source in one picture: what it shows, apart from where it lies ([`many_sheet`](super::many_sheet)).

use super::many_sheet::ManySheet;
use super::still::{Document, Png, encoded_still};
use super::{Corridor, FigureError, Still, Voice, canvas::escaped, font};
use crate::words;
use fairtake_compare::{Distance, Findings, PairDistance};

/// Shares of a picture's usual letters, large ones and not, below which its letters do not go to make room for many
/// microphones: on a telephone 360 px wide, a square of 1080 px has letters of 8 px in large, of 3 px in usual ones.
const LEAST_SHARE: [f64; 2] = [0.40, 0.62];

/// Each step in search of the largest letters for which there is room.
const SMALLER: f64 = 0.96;

/// Every microphone of a source against the reference, and how far apart each two are.
#[derive(Debug, Clone, PartialEq)]
pub struct Many {
    /// Title of the shootout.
    pub title: Option<String>,
    /// Name of what was recorded.
    pub source: String,
    /// What is shown, in words.
    pub description: String,
    /// The microphones, the reference first.
    pub voices: Vec<Voice>,
    /// Each of the others against the reference, in the order of `voices`.
    pub corridors: Vec<Corridor>,
    /// Distances of two, by their places in `voices`, the smaller one first; those that are known.
    pub distances: Vec<(usize, usize, Distance)>,
}

impl Many {
    /// The picture of a source. `None` where fewer than three microphones were compared on it: two have a picture of their own.
    ///
    /// Distances from the reference are those of the findings; those of other pairs are taken from `distances`, as far as they are
    /// there.
    pub fn new(findings: &Findings, source: &str, distances: &[PairDistance]) -> Option<Many> {
        let of_source: Vec<_> = findings.comparisons.iter().filter(|c| c.source == source).collect();
        let reference = of_source.first()?.reference.clone();
        let against: Vec<_> = of_source.into_iter().filter(|c| c.reference == reference).collect();
        if against.len() < 2 {
            return None;
        }
        let corridors: Vec<Corridor> = against.iter().map(|c| Corridor::new(findings, c)).collect();
        let keys: Vec<&str> =
            std::iter::once(reference.as_str()).chain(against.iter().map(|c| c.against.as_str())).collect();
        let from_reference = against.iter().enumerate().map(|(i, c)| (0, i + 1, c.distance()));
        let of_others = distances.iter().filter(|d| d.source == source).filter_map(|d| {
            let place = |mic: &str| keys.iter().position(|k| *k == mic);
            let (a, b) = (place(&d.first)?, place(&d.second)?);
            (a.min(b) > 0 && a != b).then_some((a.min(b), a.max(b), d.distance))
        });
        let voices: Vec<Voice> = std::iter::once(corridors[0].reference.clone())
            .chain(corridors.iter().map(|c| c.against.clone()))
            .collect();
        let source = findings.sources.iter().find(|s| s.id == source).map_or(source, |s| &s.name).to_string();
        Some(Many {
            title: findings.title.clone(),
            description: format!(
                "{} microphones on {source}: each against {} over frequency, and how far apart each two are.",
                voices.len(),
                voices[0].name
            ),
            source,
            distances: from_reference.chain(of_others).collect(),
            voices,
            corridors,
        })
    }

    /// Distance of two microphones by their places, where it is known.
    pub(super) fn distance(&self, i: usize, j: usize) -> Option<&Distance> {
        self.distances.iter().find(|(a, b, _)| (*a, *b) == (i.min(j), i.max(j))).map(|d| &d.2)
    }

    /// Whether more is known than how far each is from the reference.
    pub(super) fn has_pairs(&self) -> bool {
        self.distances.iter().any(|(a, _, _)| *a > 0)
    }

    /// Bottom and top of the axis that all differences share, in dB.
    pub(super) fn difference_db(&self) -> (f64, f64) {
        let spans = self.corridors.iter().map(Corridor::difference_db);
        spans.fold((0.0, 0.0), |(l, h), (low, high)| (f64::min(l, low), f64::max(h, high)))
    }

    /// Bottom and top of the axis that all spectra share, in dB.
    pub(super) fn spectra_db(&self) -> (f64, f64) {
        let spans = self.corridors.iter().map(Corridor::spectra_db);
        let (low, high) =
            spans.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), (low, high)| (l.min(low), h.max(high)));
        (low.max(high - 70.0), high)
    }

    /// With texts that the figure's fonts hold; letters that they lack.
    fn drawable(&self) -> (Many, Vec<char>) {
        let mut replaced = Vec::new();
        let mut many = self.clone();
        let of_corridors =
            many.corridors.iter_mut().flat_map(|c| [&mut c.reference.name, &mut c.against.name]);
        let names = many.voices.iter_mut().map(|v| &mut v.name).chain(of_corridors);
        for text in names.chain([&mut many.source]).chain(&mut many.title) {
            *text = font::drawable(text, &mut replaced);
        }
        (many, replaced)
    }

    /// The largest letters for which there is room, and the sheet in them.
    fn laid(&self, still: &Still, note: Option<&str>) -> Result<(ManySheet, f64), FigureError> {
        let usual_px = still.letter_px()?;
        let is_large = still.letters == super::Letters::Large;
        let least_px = (usual_px * LEAST_SHARE[usize::from(is_large)]).max(Still::LEAST_LETTER_PX);
        let mut letter_px = usual_px;
        while letter_px >= least_px {
            let scale = letter_px / super::sheet::LETTER;
            let size = (f64::from(still.width) / scale, f64::from(still.height) / scale);
            if let Some(sheet) = ManySheet::new(self, size, note) {
                return Ok((sheet, scale));
            }
            letter_px *= SMALLER;
        }
        Err(FigureError::TooMany { n_mics: self.voices.len(), asked: (still.width, still.height) })
    }

    fn document(&self, still: &Still, note: Option<&str>) -> Result<Document, FigureError> {
        let (sheet, scale) = self.laid(still, note)?;
        Ok(Document { still: *still, scale, description: escaped(&self.description), body: sheet.draw(self) })
    }
}

/// Mean and least distance in words.
pub(super) fn apart(d: &Distance) -> String {
    match (d.mean_db, d.at_least_db) {
        (Some(mean), Some(least)) => {
            format!("{} dB apart, at least {}", words::number(Some(mean)), words::number(Some(least)))
        }
        (Some(mean), None) => format!("{} dB apart", words::number(Some(mean))),
        _ => "nothing known".to_string(),
    }
}

/// All microphones of a source as an SVG file of the asked size; [`Still::step`] and [`Still::decade`] have no say in it.
///
/// # Errors
/// [`FigureError::TooSmall`], [`FigureError::TooLarge`], or [`FigureError::TooMany`] where not all can be drawn so that they
/// can be read.
pub fn svg_of_many(many: &Many, still: &Still) -> Result<String, FigureError> {
    Ok(many.document(still, None)?.svg(font::embedded(), false))
}

/// The same as a PNG file.
///
/// # Errors
/// As [`svg_of_many`]; [`FigureError::Drawing`] is a defect.
pub fn png_of_many(many: &Many, still: &Still) -> Result<Png, FigureError> {
    let (drawn, replaced) = many.drawable();
    let note = (!replaced.is_empty()).then_some(super::still::IN_BRACKETS);
    let pixels = drawn.document(still, note)?.pixels(false)?;
    Ok(Png { bytes: encoded_still(still, pixels)?, replaced })
}
