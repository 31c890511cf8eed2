//! Measure: data sheets of the folder's microphones, from recordings of a loudspeaker, a calibrator and silence.

use super::{Step, View};
use crate::desk::Desk;
use crate::html;
use crate::trouble::Trouble;
use fairtake_calibrated::Measurements;
use maud::Markup;
use serde::{Deserialize, Serialize};

/// The page.
#[derive(Debug, Serialize)]
pub(crate) struct MeasurePage {
    /// What was measured; `None`: no take of a measurement is logged.
    pub measurements: Option<Measurements>,
    /// What the log cannot do with, where it has such takes.
    pub trouble: Option<String>,
}

/// The address asks for nothing.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct MeasureQuery {}

impl View for MeasurePage {
    type Query = MeasureQuery;
    const STEP: Step = Step::Measure;

    fn make(desk: &Desk, _: MeasureQuery) -> Result<MeasurePage, Trouble> {
        if desk.folder().log()?.bench.takes.is_empty() {
            return Ok(MeasurePage { measurements: None, trouble: None });
        }
        match desk.measurements() {
            Ok(measurements) => {
                Ok(MeasurePage { measurements: Some((*measurements).clone()), trouble: None })
            }
            Err(e) => {
                Ok(MeasurePage { measurements: None, trouble: Some(format!("{}; {}", e.what, e.hint)) })
            }
        }
    }

    fn html(&self) -> Markup {
        html::measure(self)
    }
}
