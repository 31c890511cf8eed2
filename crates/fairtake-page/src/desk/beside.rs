//! What the desk computes beside comparisons: equaliser bridges, and measurements of microphones by themselves.

use super::{Bridged, Desk, MOST_RESULTS, Now, set};
use crate::trouble::Trouble;
use crate::views::bridged;
use fairtake_audition::{LeftOver, left_over};
use fairtake_bridge::{Bridge, MOST_BRIDGED, USUAL_LIMITS, Wanted, bridge};
use fairtake_calibrated::{Measurements, measure};
use fairtake_compare::{ComparisonFindings, Findings, compare_remembering, each_in_parallel};
use std::sync::{Arc, OnceLock};

impl Desk {
    /// Bridges one microphone to another on a source; what was bridged before is not fitted again.
    pub(crate) fn bridge(
        &self,
        now: &Now,
        (source, from, to): (&str, &str, &str),
        wanted: &Wanted,
    ) -> Result<Arc<Bridged>, Trouble> {
        let settings = self.settings(now);
        let asked = Desk::asked(Some(source.into()), Some((from.into(), to.into())));
        let key = format!("{}\n{settings:?}\n{asked:?}\n{wanted:?}", now.contents);
        let takes = &now.loaded.takes;
        let measured = {
            let mut work = self.work();
            if let Some(known) = work.bridges.get(&key) {
                return Ok(known.clone());
            }
            let log = &now.loaded.log.shootout;
            let measured = compare_remembering(takes, log, &settings, &asked, &mut work.remembered);
            set(&self.inner.progress, None);
            measured?
        };
        // Fitting and taking away need nothing of the desk: what else is asked of it meanwhile is answered.
        let made = bridge(&measured.tables[0], [source, from, to], &settings, wanted)
            .map_err(|e| Trouble::bad(&e, e.hint()))?;
        let made = Arc::new(Bridged {
            findings: Arc::new(measured.findings),
            measures: measured.measures,
            bridge: made,
            left: OnceLock::new(),
        });
        let mut work = self.work();
        work.bridges.retain(|key, _| key.starts_with(&now.contents));
        if work.bridges.len() >= MOST_RESULTS {
            work.bridges.clear();
        }
        work.bridges.insert(key, made.clone());
        Ok(made)
    }

    /// What is left when the one microphone of a bridge is taken from the other; found once.
    pub(crate) fn left(&self, now: &Now, of: &Bridged) -> Result<Option<LeftOver>, Trouble> {
        if let Some(known) = of.left.get() {
            return Ok(*known);
        }
        let left = left_over(&now.loaded.takes, &of.measures, &of.findings, &of.bridge)?;
        Ok(*of.left.get_or_init(|| left))
    }

    /// The bridges of all comparisons that have one; of many comparisons none is bridged unasked.
    pub(crate) fn bridges(&self, now: &Now, findings: &Findings) -> Result<Vec<Bridge>, Trouble> {
        if findings.comparisons.len() > MOST_BRIDGED {
            return Ok(Vec::new());
        }
        let one = |c: &ComparisonFindings| {
            let pair = (c.source.as_str(), c.reference.as_str(), c.against.as_str());
            // What cannot be bridged has no bridge.
            bridged(self, now, pair, USUAL_LIMITS).ok().map(|b| b.bridge.clone())
        };
        // They do not wait for each other.
        Ok(each_in_parallel(&findings.comparisons, one).into_iter().flatten().collect())
    }

    /// Measures what the log lists for that; anew where the log or a file that it names changed.
    pub(crate) fn measurements(&self) -> Result<Arc<Measurements>, Trouble> {
        let bench = self.inner.folder.load_bench()?;
        let key = format!("{bench:?}");
        if let Some((of, known)) = &self.work().measured
            && *of == key
        {
            return Ok(known.clone());
        }
        let measured = Arc::new(measure(&bench, env!("CARGO_PKG_VERSION")));
        self.work().measured = Some((key, measured.clone()));
        Ok(measured)
    }
}
