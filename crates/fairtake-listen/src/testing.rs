//! Material and plans for tests.

use crate::material::{Excerpt, Material, Paired};
use crate::plan::{Asked, Plan};
use rand_chacha::ChaCha20Rng;
use rand_chacha::rand_core::SeedableRng;

pub(crate) fn rng(seed: u64) -> ChaCha20Rng {
    ChaCha20Rng::seed_from_u64(seed)
}

pub(crate) fn plan(asked: Asked, material: Material) -> Plan {
    Plan::new(asked, material).expect("a test")
}

fn excerpt(mic: &str, placement: u32, performance: u32, sound: u32) -> Excerpt {
    Excerpt { mic: mic.into(), placement, performance, sound, words: format!("hit {sound}") }
}

/// `n` sounds recorded at once by three microphones.
pub(crate) fn together(n: u32) -> Material {
    let mics = ["moorhen", "heron", "plover"];
    let excerpts = mics.iter().flat_map(|mic| (0..n).map(|sound| excerpt(mic, 1, 1, sound))).collect();
    Material { source: "drum".into(), paired: Paired::SameSound, excerpts, has_equal_spectra: false }
}

/// `n` hits in each of two placements of three microphones, all played again.
pub(crate) fn in_turn(n: u32) -> Material {
    let mut sound = 0;
    let mut excerpts = Vec::new();
    for (m, mic) in ["moorhen", "heron", "plover"].iter().enumerate() {
        for placement in 1..=2 {
            for _ in 0..n {
                excerpts.push(excerpt(mic, placement, 2 * m as u32 + placement, sound));
                sound += 1;
            }
        }
    }
    Material { source: "drum".into(), paired: Paired::PlayedAgain, excerpts, has_equal_spectra: false }
}
