//! What a loudspeaker is made to play: a description that is enough to render the same samples again.

mod error;
mod form;
mod mark;
mod noise;
mod render;
mod sweep;

pub use error::ExcitationError;
pub use form::{Form, Kind};
pub(crate) use mark::{Mark, N_BITS, Role, SYNC_S, bit_chirp, sync};
pub(crate) use render::Layout;
pub(crate) use sweep::Sweep;

use serde::{Deserialize, Serialize};

/// An excitation whose description was checked. In a log and in JSON it is its [`Form`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Form", into = "Form")]
pub struct Excitation {
    form: Form,
}

impl Excitation {
    /// Checks a description.
    ///
    /// # Errors
    /// With the value that is out of range and what to write instead.
    pub fn new(form: Form) -> Result<Excitation, ExcitationError> {
        form.check()?;
        Ok(Excitation { form })
    }

    /// What it was described as.
    pub fn form(&self) -> &Form {
        &self.form
    }

    /// Sampling rate in Hz.
    pub fn rate_hz(&self) -> u32 {
        self.form.rate_hz
    }

    /// The samples of the whole, full scale ±1: silence, mark, every level so often as it is repeated, each followed by a pause,
    /// mark, silence. The same description renders the same samples.
    pub fn render(&self) -> Vec<f32> {
        render::render(self)
    }

    /// Length of the whole in seconds.
    pub fn total_s(&self) -> f64 {
        Layout::of(self).n_frames as f64 / f64::from(self.rate_hz())
    }

    /// How long each pass truly lasts, in seconds: a synchronised sweep has not every length.
    pub fn pass_s(&self) -> f64 {
        match self.sweep() {
            Some(sweep) => sweep.seconds(),
            None => self.form.seconds,
        }
    }

    /// The sixteen bits that its marks carry: by them another excitation is told from this one.
    pub fn code(&self) -> u16 {
        mark::code_of(&self.form.canonical())
    }

    /// Peak level of the loudest pass in dBFS: nothing in the file is above it.
    pub fn peak_dbfs(&self) -> f64 {
        self.form.levels_dbfs.iter().copied().fold(f64::NEG_INFINITY, f64::max)
    }

    /// The sweep, where it is one.
    pub(crate) fn sweep(&self) -> Option<Sweep> {
        (self.form.kind == Kind::Sweep).then(|| Sweep::new(&self.form))
    }
}

impl TryFrom<Form> for Excitation {
    type Error = ExcitationError;

    fn try_from(form: Form) -> Result<Excitation, ExcitationError> {
        Excitation::new(form)
    }
}

impl From<Excitation> for Form {
    fn from(excitation: Excitation) -> Form {
        excitation.form
    }
}

#[cfg(test)]
mod tests;
