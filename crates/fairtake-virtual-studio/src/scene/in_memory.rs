//! The scene as takes and log, without files.

use super::{RATE_HZ, Scene, SceneTake};
use fairtake_compare::{ChainEntry, Mic, Playing, ReadError, Samples, Shootout, Source, StoredAs, Take};

/// Samples in memory.
struct Rendered(Vec<f32>);

impl Samples for Rendered {
    fn rate_hz(&self) -> u32 {
        RATE_HZ
    }
    fn frames(&self) -> u64 {
        self.0.len() as u64
    }
    fn read(&self, start: u64, out: &mut [f32]) -> Result<usize, ReadError> {
        let left = &self.0[(start as usize).min(self.0.len())..];
        let n = out.len().min(left.len());
        out[..n].copy_from_slice(&left[..n]);
        Ok(n)
    }
}

impl Scene {
    /// The takes, with their samples in memory.
    pub fn in_memory(&self) -> Vec<Take> {
        in_memory_all(&self.takes)
    }

    /// What the method needs of the log.
    pub fn shootout(&self) -> Shootout {
        shootout_of(&self.takes)
    }
}

pub(super) fn in_memory_all(takes: &[SceneTake]) -> Vec<Take> {
    takes.iter().map(in_memory).collect()
}

pub(super) fn shootout_of(takes: &[SceneTake]) -> Shootout {
    let mut log = Shootout::default();
    for take in takes {
        log.mics.insert(take.mic.clone(), Mic::default());
        let playing = if take.source.starts_with("drum") { Playing::Percussive } else { Playing::Sustained };
        log.sources.insert(take.source.clone(), Source { playing, ..Source::default() });
    }
    log
}

fn in_memory(t: &SceneTake) -> Take {
    Take {
        id: t.file.clone(),
        file: t.file.clone(),
        channel: 1,
        mic: t.mic.clone(),
        source: t.source.clone(),
        placement: t.placement,
        performance: t.performance,
        order: Some(t.order),
        position: t.position.clone(),
        role: t.role,
        chain: ChainEntry { gain_db: Some(t.gain_db), ..ChainEntry::default() },
        hand_set_events_s: None,
        keep_although_unfair: false,
        stored_as: StoredAs {
            format: "rendered".into(),
            bits: Some(24),
            lossy: false,
            sha256: t.file.clone().into(),
        },
        samples: Box::new(Rendered(t.samples.clone())),
    }
}
