//! How the takes of a pair were made, and why that is assumed. Method: docs/methods/designs.md.

use crate::compare::Comparison;
use crate::recognise::{HowShared, SharedPair};
use crate::{Design, Settings, Shootout, Take, TakeMeasure};

/// What is assumed of one pair of microphones.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Assumed {
    /// How the takes were made.
    pub design: Design,
    /// Why, in words.
    pub reason: String,
    /// False where it cannot be told whether they were recorded at once: then nothing is said of time and polarity.
    pub told: bool,
    /// Coherence of the noise between what is played, where bare files were recognised by it.
    pub noise_coherence: Option<f64>,
}

/// The reason given when the user states the design.
pub(crate) const STATED: &str = "stated by the user";

type Measured<'a> = (&'a Take, &'a TakeMeasure);

/// The design of a pair: stated, logged, or recognised.
pub(crate) fn assumed(
    a: &[Measured],
    b: &[Measured],
    witness: &[Measured],
    shootout: &Shootout,
    settings: &Settings,
    asked: &Comparison,
) -> Assumed {
    let known = |design, reason: &str| Assumed {
        design,
        reason: reason.to_string(),
        told: true,
        noise_coherence: None,
    };
    if let Some(design) = settings.design_override {
        return known(design, STATED);
    }
    let source = a.first().map(|(t, _)| t.source.as_str()).unwrap_or_default();
    if shootout.sources.get(source).is_some_and(|s| s.replayed) {
        return known(Design::Replayed, "the log says that one recording was played back for every take");
    }
    let shared = a.iter().all(|(t, _)| b.iter().any(|(o, _)| o.performance == t.performance));
    match (shared, &asked.recognised) {
        (true, Some(recognised)) => {
            let found =
                a.iter().find_map(|(x, _)| b.iter().find_map(|(y, _)| recognised.between(&x.id, &y.id)));
            found.map_or_else(indirectly, of_pair)
        }
        (true, None) => known(Design::Together, "the log gives both microphones the same performances"),
        (false, Some(_)) => known(Design::InTurn, "the files do not hold the same performance"),
        (false, None) if !witness.is_empty() => {
            known(Design::InTurnWithWitness, "the log has a witness beside every take")
        }
        (false, None) => known(Design::InTurn, "the log gives the microphones different performances"),
    }
}

/// Two files that hold the performance of a third, but were not found in each other.
fn indirectly() -> Assumed {
    Assumed {
        design: Design::Together,
        reason: "both files hold the performance of a third one, but do not show that of each other; whether they \
                 were recorded at once cannot be told"
            .to_string(),
        told: false,
        noise_coherence: None,
    }
}

fn of_pair(pair: &SharedPair) -> Assumed {
    Assumed {
        design: if pair.how == HowShared::Replayed { Design::Replayed } else { Design::Together },
        reason: pair.reason.clone(),
        told: pair.how != HowShared::Unclear,
        noise_coherence: pair.noise_coherence,
    }
}
