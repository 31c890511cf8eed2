//! The signature picture, the difference corridor: what it shows, apart from how it is drawn.
//!
//! One frequency axis. Above, both average spectra with their 10–90 % range over events; below, the difference with
//! its pointwise and simultaneous 95 % bands around zero, the margin as a lane; at the foot the verdict strip.

mod bridge;
mod canvas;
mod error;
mod font;
mod key;
mod layout;
mod many;
mod many_sheet;
mod moving;
mod noise;
mod plot;
mod polar;
mod print;
mod proportions;
mod response;
mod sheet;
mod still;
mod strip;
mod svg;
mod theme;

pub use bridge::draw_bridge;
pub use error::FigureError;
pub use key::{Part, Sample, key};
pub use layout::Layout;
pub use many::{Many, png_of_many, svg_of_many};
pub use moving::{Frames, MOST_FRAMES, Moving, State};
pub use noise::draw_noise;
pub use polar::{draw_polar, may_be_reflected};
pub(crate) use print::{Printed, font_files, printed, set_for_print};
pub use proportions::Decade;
pub use response::draw_response;
pub use still::{Letters, Png, Still, png, reveal, svg};
pub use svg::{draw, patterns};
pub use theme::Theme;

use crate::words;
use fairtake_compare::{Band, Claim, ComparisonFindings, Findings, Playing, Verdict};

/// Lowest and highest frequency of the axis in Hz.
pub const FROM_HZ: f64 = 20.0;
/// Highest frequency of the axis in Hz.
pub const TO_HZ: f64 = 20_000.0;

/// A microphone in a picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Voice {
    /// Name for people.
    pub name: String,
    /// Its hue, the same in every picture of one result: index into the set of hues.
    pub hue: usize,
}

/// A stretch of the verdict strip.
#[derive(Debug, Clone, PartialEq)]
pub struct Segment {
    /// Lower edge in Hz.
    pub from_hz: f64,
    /// Upper edge in Hz.
    pub to_hz: f64,
    /// Verdict.
    pub verdict: Verdict,
    /// Mean difference in dB; `None` where nothing is known.
    pub difference_db: Option<f64>,
    /// Lower bound of it in dB.
    pub low_db: Option<f64>,
    /// Upper bound in dB.
    pub high_db: Option<f64>,
}

/// Which microphone of a pair is heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Heard {
    /// The reference.
    Reference,
    /// The one that is compared with it.
    Against,
}

/// A step of showing a corridor one after the other; the axes are the same in all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Step {
    /// The reference's spectrum alone.
    Reference,
    /// The other one's alone.
    Against,
    /// Both spectra.
    Both,
    /// The difference too.
    Difference,
    /// The verdict strip too: the whole corridor.
    Verdicts,
}

impl Step {
    /// In the order of showing.
    pub const ALL: [Step; 5] = [Step::Reference, Step::Against, Step::Both, Step::Difference, Step::Verdicts];
}

/// What of a corridor is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Shown {
    reference: bool,
    against: bool,
    difference: bool,
    verdicts: bool,
    heard: Option<Heard>,
    /// Whether there is room for light behind the bands.
    lights: bool,
}

impl Shown {
    const ALL: Shown = Shown {
        reference: true,
        against: true,
        difference: true,
        verdicts: true,
        heard: None,
        lights: false,
    };

    fn until(step: Step) -> Shown {
        Shown {
            reference: step != Step::Against,
            against: step != Step::Reference,
            difference: matches!(step, Step::Difference | Step::Verdicts),
            verdicts: step == Step::Verdicts,
            ..Shown::ALL
        }
    }
}

/// The description of one difference corridor.
#[derive(Debug, Clone, PartialEq)]
pub struct Corridor {
    /// Title of the shootout; `None` for bare files.
    pub title: Option<String>,
    /// Name of what was recorded; `None` for bare files, which have nothing to name.
    pub source: Option<String>,
    /// What is shown, in words, for those who cannot see it.
    pub description: String,
    /// The reference microphone.
    pub reference: Voice,
    /// The other one.
    pub against: Voice,
    /// Half-width of the lane in dB.
    pub margin_db: f64,
    /// What the spectra's levels are relative to.
    pub unit: String,
    /// Gain by which the spectrum of *against* is shown raised, in dB.
    pub match_gain_db: f64,
    /// Whether that gain is known; where it is not, the spectrum is shown as it is.
    pub match_gain_known: bool,
    /// What the intervals speak about.
    pub claim: Claim,
    /// Whether the interval that is widened by what re-placing is assumed to do is drawn too.
    pub widened: bool,
    /// Bands, low to high.
    pub bands: Vec<Band>,
    /// Verdict strip, low to high.
    pub segments: Vec<Segment>,
}

impl Corridor {
    /// The picture of one comparison. `findings` gives names, and the order that fixes the hues.
    pub fn new(findings: &Findings, c: &ComparisonFindings) -> Corridor {
        let voice = |id: &str| Voice {
            name: findings.mics.iter().find(|m| m.id == id).map_or(id.to_string(), |m| m.name.clone()),
            hue: findings.mics.iter().position(|m| m.id == id).unwrap_or(0),
        };
        let (reference, against) = (voice(&c.reference), voice(&c.against));
        let sustained = findings
            .takes
            .iter()
            .any(|t| t.source == c.source && t.mic == c.reference && t.playing == Playing::Sustained);
        let count = |v: Verdict| c.regions.iter().filter(|r| r.verdict == v).count();
        let description = format!(
            "Difference corridor: {} minus {} over frequency; regions different: {}, alike: {}, undecided: {}. The table \
             of regions holds the numbers.",
            against.name,
            reference.name,
            count(Verdict::Different),
            count(Verdict::Alike),
            count(Verdict::Undecided)
        );
        let source = findings.sources.iter().find(|s| s.id == c.source).map(|s| s.name.clone());
        Corridor {
            title: findings.title.clone(),
            source: source.filter(|_| findings.title.is_some()),
            description,
            reference,
            against,
            margin_db: c.margin_db,
            unit: if sustained { "dB re full scale²" } else { "dB re full scale² · s" }.to_string(),
            match_gain_db: c.level_match.gain_db.unwrap_or(0.0),
            match_gain_known: c.level_match.gain_db.is_some(),
            claim: c.claim,
            widened: c.claim == Claim::TheseTakes && c.bands.iter().any(|b| b.conditional.is_some()),
            bands: c.bands.clone(),
            segments: c
                .regions
                .iter()
                .map(|r| Segment {
                    from_hz: r.from_hz,
                    to_hz: r.to_hz,
                    verdict: r.verdict,
                    difference_db: r.difference_db,
                    low_db: r.low_db,
                    high_db: r.high_db,
                })
                .collect(),
        }
    }

    /// Bottom and top of the difference axis in dB: whole threes, at least 6 and at most 24 to each side.
    fn difference_db(&self) -> (f64, f64) {
        let shown = self
            .bands
            .iter()
            .filter(|b| b.verdict != Verdict::OutOfRange)
            .flat_map(|b| [b.low_db, b.high_db, b.difference_db])
            .flatten();
        let (low, high) =
            shown.fold((-self.margin_db, self.margin_db), |(l, h), v| (f64::min(l, v), f64::max(h, v)));
        let whole = |v: f64| ((v / 3.0).ceil() * 3.0).clamp(6.0, 24.0);
        (-whole(-low), whole(high))
    }

    /// Bottom and top of the spectra's axis in dB, whole tens: 70 dB below the strongest band at most.
    fn spectra_db(&self) -> (f64, f64) {
        let shown = self
            .bands
            .iter()
            .flat_map(|b| [b.reference_db, b.against_db.map(|v| v + self.match_gain_db)])
            .flatten();
        let (low, high) =
            shown.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (f64::min(l, v), f64::max(h, v)));
        if !high.is_finite() {
            return (-60.0, 0.0);
        }
        let top = (high / 10.0).ceil() * 10.0;
        let bottom = (low / 10.0).floor() * 10.0;
        (bottom.clamp(top - 70.0, top - 40.0), top)
    }
}

/// The numbers of one band in words, as a cursor reads them out.
pub fn reading(c: &Corridor, band: &Band) -> String {
    let db = |v: Option<f64>| format!("{} dB", words::number(v));
    let level = |name: &str, v: Option<f64>| format!("{name} {}", db(v));
    if band.verdict == Verdict::OutOfRange {
        return format!("{}: out of range", words::hertz(band.centre_hz));
    }
    // The three numbers of a reading agree as stated.
    let raised = band.against_db.map(|v| v + c.match_gain_db);
    let against = words::agreeing(band.reference_db, raised, band.difference_db);
    let interval = band.simultaneous_low_db.zip(band.simultaneous_high_db);
    format!(
        "{}: {}, {}, difference {} dB ({}), {}",
        words::hertz(band.centre_hz),
        level(&c.reference.name, band.reference_db),
        level(&c.against.name, against),
        band.difference_db.map_or("unknown".into(), words::signed),
        interval.map_or("interval unknown".into(), |(low, high)| format!(
            "95 % of all bands at once: {}",
            words::interval(low, high)
        )),
        words::verdict(band.verdict)
    )
}
