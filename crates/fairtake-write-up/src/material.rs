//! What is written up: findings, and the sound they were made from as far as it is at hand.

use fairtake_bridge::Bridge;
use fairtake_calibrated::Measurements;
use fairtake_compare::{ComparisonFindings, Findings, PairDistance, Take, TakeMeasure};
use fairtake_report::Heard;

/// Findings with the takes and measures that are at hand.
#[derive(Clone, Copy)]
pub struct Material<'a> {
    /// What was found, with the user's own words.
    pub findings: &'a Findings,
    /// Takes that can be read.
    pub takes: &'a [Take],
    /// Their measures.
    pub measures: &'a [TakeMeasure],
    /// Takes that are gone since the findings were made: the file and why it cannot be read. Empty: all are at hand.
    pub gone: &'a [(String, String)],
    /// What blind tests showed.
    pub heard: &'a [Heard],
    /// How much of each difference is equalising; empty where takes are gone.
    pub bridges: &'a [Bridge],
    /// How far microphones are apart that the findings do not compare with each other; empty where takes are gone.
    pub distances: &'a [PairDistance],
    /// Microphones measured by themselves; `None`: the log has no take of that.
    pub measured: Option<&'a Measurements>,
}

impl Material<'_> {
    /// Sources on which something was compared, in the order of the findings.
    pub(crate) fn sources(&self) -> Vec<&str> {
        let mut out: Vec<&str> = Vec::new();
        for c in &self.findings.comparisons {
            if !out.contains(&c.source.as_str()) {
                out.push(&c.source);
            }
        }
        out
    }

    /// Which takes of a source are gone.
    pub(crate) fn gone_of(&self, source: &str) -> Vec<&str> {
        let of_source = |file: &str| self.findings.takes.iter().any(|t| t.file == file && t.source == source);
        self.gone.iter().map(|(file, _)| file.as_str()).filter(|file| of_source(file)).collect()
    }

    /// Name of a source for people.
    pub(crate) fn source_name<'f>(&'f self, source: &'f str) -> &'f str {
        self.findings.sources.iter().find(|s| s.id == source).map_or(source, |s| s.name.as_str())
    }

    /// Name of a microphone for people.
    pub(crate) fn mic_name<'f>(&'f self, mic: &'f str) -> &'f str {
        fairtake_report::page::mic_name(self.findings, mic)
    }

    /// A pair in words.
    pub(crate) fn pair_name(&self, c: &ComparisonFindings) -> String {
        fairtake_report::page::heading(self.findings, &c.reference, &c.against, &c.source)
    }
}
