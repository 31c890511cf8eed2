//! Tables as CSV, with every number as it was computed. What is not known is an empty field.

use crate::words;
use fairtake_compare::{ComparisonFindings, Estimate, Findings, PairDistance, Verdict};
use std::fmt::Write;

/// Name and text of every table: takes, levels, bands, regions, and edges, peaks and notches.
pub fn tables(findings: &Findings) -> [(&'static str, String); 5] {
    [
        ("takes", takes(findings)),
        ("levels", levels(findings)),
        ("bands", bands(findings)),
        ("regions", regions(findings)),
        ("features", features(findings)),
    ]
}

/// How far each two microphones are apart, on sources with more than two.
pub fn distances(all: &[PairDistance]) -> String {
    let mut out = String::from(
        "source,first,second,mean_db,at_least_db,different_octaves,alike_octaves,undecided_octaves\n",
    );
    for PairDistance { source, first, second, distance: d } in all {
        row(&mut out)
            .text(source)
            .text(first)
            .text(second)
            .number(d.mean_db)
            .number(d.at_least_db)
            .number(Some(d.different_octaves))
            .number(Some(d.alike_octaves))
            .number(Some(d.undecided_octaves))
            .end();
    }
    out
}

/// One row of a table in the making.
struct Row<'o>(&'o mut String, bool);

impl Row<'_> {
    fn text(mut self, text: &str) -> Self {
        self.comma();
        let quoted = text.contains([',', '"', '\n', '\r']);
        // Spreadsheets take a text that begins so for a formula.
        let guarded = text.starts_with(['=', '+', '-', '@']);
        let text = if guarded { format!("'{text}") } else { text.to_string() };
        if quoted {
            let _ = write!(self.0, "\"{}\"", text.replace('"', "\"\""));
        } else {
            self.0.push_str(&text);
        }
        self
    }

    fn number(mut self, value: Option<f64>) -> Self {
        self.comma();
        if let Some(v) = value {
            let _ = write!(self.0, "{v}");
        }
        self
    }

    /// The word that is shown everywhere.
    fn verdict(self, verdict: Option<Verdict>) -> Self {
        self.text(verdict.map_or("", words::verdict))
    }

    fn comma(&mut self) {
        if std::mem::replace(&mut self.1, true) {
            self.0.push(',');
        }
    }

    fn end(self) {
        self.0.push('\n');
    }
}

fn row(out: &mut String) -> Row<'_> {
    Row(out, false)
}

/// Which comparison a row is of.
const OF: &str = "source,reference,against";

fn of<'o>(out: &'o mut String, c: &ComparisonFindings) -> Row<'o> {
    row(out).text(&c.source).text(&c.reference).text(&c.against)
}

fn takes(findings: &Findings) -> String {
    let mut out = String::from(
        "take,file,sha256,channel,sample_rate_hz,frames,format,mic,source,placement,performance,role,gain_db,events,\
         sample_peak_dbfs,true_peak_dbtp,rms_dbfs,file_loudness_lufs,noise_dbfs,noise_dbfs_a\n",
    );
    for t in &findings.takes {
        row(&mut out)
            .text(&t.id)
            .text(&t.file)
            .text(&t.sha256)
            .number(Some(f64::from(t.channel)))
            .number(Some(f64::from(t.sample_rate_hz)))
            .number(Some(t.frames as f64))
            .text(&t.format)
            .text(&t.mic)
            .text(&t.source)
            .number(Some(f64::from(t.placement)))
            .number(Some(f64::from(t.performance)))
            .text(words::role(t.role))
            .number(t.gain_db)
            .number(Some(f64::from(t.events)))
            .number(t.sample_peak_dbfs)
            .number(t.true_peak_dbtp)
            .number(t.rms_dbfs)
            .number(t.file_loudness_lufs)
            .number(t.noise_dbfs)
            .number(t.noise_dbfs_a)
            .end();
    }
    out
}

fn levels(findings: &Findings) -> String {
    let mut out = format!("{OF},measure,reference_value,against_value,difference,low,high,verdict\n");
    for c in &findings.comparisons {
        let mut put = |measure: &str, reference: Option<f64>, against: Option<f64>, d: &Estimate| {
            of(&mut out, c)
                .text(measure)
                .number(reference)
                .number(against)
                .number(d.estimate)
                .number(d.low)
                .number(d.high)
                .verdict(d.verdict)
                .end();
        };
        let l = &c.levels;
        for (measure, m) in [
            ("sample_peak_dbfs", &l.sample_peak_dbfs),
            ("true_peak_dbtp", &l.true_peak_dbtp),
            ("rms_dbfs", &l.rms_dbfs),
            ("loudness_lufs", &l.loudness_lufs),
        ] {
            put(measure, m.reference.event_mean, m.against.event_mean, &m.difference_db);
        }
        if let Some(d) = &l.loudness_at_equal_gain_db {
            put("loudness_at_equal_gain_db", None, None, d);
        }
        for (measure, m) in [
            ("noise_dbfs", &c.noise.plain_dbfs),
            ("noise_dbfs_a", &c.noise.a_weighted_dbfs),
            ("noise_dbfs_bs468", &c.noise.bs468_dbfs),
        ] {
            put(measure, m.reference, m.against, &m.difference_db);
        }
        let e = &c.events;
        for (measure, m) in [("attack_s", &e.attack_s), ("decay_s", &e.decay_s), ("crest_db", &e.crest_db)] {
            if let Some(m) = m {
                put(measure, m.reference, m.against, &m.difference);
            }
        }
    }
    out
}

fn bands(findings: &Findings) -> String {
    let mut out = format!(
        "{OF},from_hz,to_hz,reference_db,against_db,difference_db,low_db,high_db,simultaneous_low_db,simultaneous_high_db,\
         snr_db,verdict\n"
    );
    for c in &findings.comparisons {
        for b in &c.bands {
            of(&mut out, c)
                .number(Some(b.from_hz))
                .number(Some(b.to_hz))
                .number(b.reference_db)
                .number(b.against_db)
                .number(b.difference_db)
                .number(b.low_db)
                .number(b.high_db)
                .number(b.simultaneous_low_db)
                .number(b.simultaneous_high_db)
                .number(b.snr_db)
                .verdict(Some(b.verdict))
                .end();
        }
    }
    out
}

fn regions(findings: &Findings) -> String {
    let mut out = format!("{OF},from_hz,to_hz,difference_db,low_db,high_db,verdict\n");
    for c in &findings.comparisons {
        for r in &c.regions {
            of(&mut out, c)
                .number(Some(r.from_hz))
                .number(Some(r.to_hz))
                .number(r.difference_db)
                .number(r.low_db)
                .number(r.high_db)
                .verdict(Some(r.verdict))
                .end();
        }
    }
    out
}

fn features(findings: &Findings) -> String {
    let mut out = format!("{OF},kind,of,hz,low_hz,high_hz,db,prominence_db\n");
    for c in &findings.comparisons {
        for f in &c.features {
            for (mic, at) in [(&c.reference, &f.reference), (&c.against, &f.against)] {
                let Some(at) = at else { continue };
                of(&mut out, c)
                    .text(words::feature(f.kind))
                    .text(mic)
                    .number(Some(at.hz))
                    .number(Some(at.low_hz))
                    .number(Some(at.high_hz))
                    .number(at.db)
                    .number(at.prominence_db)
                    .end();
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_field_stays_one_field_whatever_it_holds() {
        let mut out = String::new();
        row(&mut out).text("a,\"b\"\nc").number(None).text("=1+1").number(Some(-0.5)).end();
        assert_eq!(out, "\"a,\"\"b\"\"\nc\",,'=1+1,-0.5\n");
    }
}
