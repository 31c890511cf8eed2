//! The second visit: events and the gaps between them, once it is known where they lie.

use super::stream::Streamed;
use super::{Stretch, gaps, steady_length};
use crate::parallel::in_parallel_with;
use crate::{EventMeasure, FileLevels, LeftOut, Playing, ReadError, Role, Take, TakeDefects, TakeMeasure};
use fairtake_signal::bands::BandSet;
use fairtake_signal::levels::{energy, sample_peak};
use fairtake_signal::loudness::gated_loudness;
use fairtake_signal::spectrum::BandSpectrum;
use fairtake_signal::true_peak::TruePeak;
use fairtake_signal::units::{amplitude_db, power_db};

/// Below this a level is shown as this: 24 bits hold nothing quieter.
const QUIETEST_DB: f64 = -200.0;
/// Clipped: this many samples in a row at full scale.
const CLIPPED_RUN: usize = 3;
/// So many events are one piece of work: few enough that no thread waits long for another at the end.
const EVENTS_AT_ONCE: usize = 8;

/// One take, and what is to be measured of it.
pub(super) struct Visit<'a> {
    pub take: &'a Take,
    pub streamed: &'a Streamed,
    pub playing: Playing,
    pub stretches: Vec<Stretch>,
    pub bands: BandSet,
    /// Those of the bands.
    pub spans_hz: Vec<(f64, f64)>,
}

/// A piece of work.
enum Part<'a> {
    Gaps(&'a Visit<'a>),
    Events(&'a Visit<'a>, &'a [Stretch]),
}

/// What comes of it.
enum Found {
    Gaps(gaps::Gaps),
    Events(Vec<Event>),
}

/// An event, its energy per band, and its true peak.
type Event = (EventMeasure, Vec<f64>, f64);

/// Visits all takes; whichever thread is free takes the next piece.
pub(super) fn measured(visits: &[Visit]) -> Result<Vec<TakeMeasure>, ReadError> {
    // A take's gaps are the largest piece: first.
    let mut parts: Vec<Part> = visits.iter().map(Part::Gaps).collect();
    for visit in visits {
        parts.extend(visit.stretches.chunks(EVENTS_AT_ONCE).map(|some| Part::Events(visit, some)));
    }
    let mut found = in_parallel_with(&parts, Room::default, |room, part| match part {
        Part::Gaps(visit) => visit.gaps().map(Found::Gaps),
        Part::Events(visit, some) => {
            some.iter().map(|stretch| room.event(visit, stretch)).collect::<Result<_, _>>().map(Found::Events)
        }
    })?
    .into_iter();
    let gaps: Vec<gaps::Gaps> = found
        .by_ref()
        .take(visits.len())
        .map(|f| match f {
            Found::Gaps(gaps) => gaps,
            Found::Events(_) => gaps::Gaps::default(),
        })
        .collect();
    Ok(visits
        .iter()
        .zip(gaps)
        .map(|(visit, gaps)| {
            let n_parts = visit.stretches.len().div_ceil(EVENTS_AT_ONCE);
            let events = found.by_ref().take(n_parts).flat_map(|f| match f {
                Found::Events(events) => events,
                Found::Gaps(_) => Vec::new(),
            });
            visit.measure(gaps, events)
        })
        .collect())
}

impl Visit<'_> {
    fn gaps(&self) -> Result<gaps::Gaps, ReadError> {
        match self.take.role {
            Role::RoomTone => gaps::room_tone(self.take, self.streamed, &self.bands),
            _ => gaps::gaps(self.take, self.streamed, self.playing, &self.stretches, &self.bands),
        }
    }

    fn measure(&self, gaps: gaps::Gaps, found: impl Iterator<Item = Event>) -> TakeMeasure {
        let (mut events, mut band_energy, mut true_peak) = (Vec::new(), Vec::new(), 0f64);
        for (event, row, peak) in found {
            events.push(event);
            band_energy.extend(row);
            true_peak = true_peak.max(peak);
        }
        let streamed = self.streamed;
        TakeMeasure {
            take: self.take.id.clone(),
            playing: self.playing,
            rate_hz: self.take.samples.rate_hz(),
            file: FileLevels {
                sample_peak: streamed.levels.peak,
                true_peak: true_peak.max(streamed.levels.peak),
                mean_square: streamed.mean_square(),
                dc: streamed.dc(),
                loudness_lufs: gated_loudness(&streamed.k_tenths),
            },
            events,
            band_energy,
            n_bands: self.bands.len(),
            noise: gaps.noise,
            defects: TakeDefects { in_samples: streamed.defects, hum: gaps.hum },
        }
    }
}

/// Room of one thread for events.
#[derive(Default)]
struct Room {
    samples: Vec<f32>,
    meter: TruePeak,
    /// For the rate that was met last.
    spectrum: Option<(u32, BandSpectrum)>,
}

impl Room {
    fn event(&mut self, visit: &Visit, stretch: &Stretch) -> Result<Event, ReadError> {
        let source = &visit.take.samples;
        let rate_hz = source.rate_hz();
        let cut_off = stretch.end > source.frames() || stretch.end <= stretch.start;
        self.samples.resize(stretch.end.saturating_sub(stretch.start).max(1) as usize, 0.0);
        let n = source.read(stretch.start.min(source.frames()), &mut self.samples)?;
        let samples = &self.samples[..n];
        let true_peak = self.meter.of(samples);
        let of_rate = self.spectrum.take().filter(|(hz, _)| *hz == rate_hz);
        let (_, spectrum) = self
            .spectrum
            .insert(of_rate.unwrap_or_else(|| (rate_hz, BandSpectrum::new(rate_hz, &visit.bands))));
        let row = match visit.playing {
            Playing::Sustained => {
                spectrum.steady_power(samples, steady_length(rate_hz)).map(|(power, _)| power)
            }
            _ => Some(spectrum.event_energy(samples)),
        };
        let row = row.unwrap_or_else(|| vec![0.0; visit.bands.len()]);
        let peak = sample_peak(samples);
        let left_out = if cut_off {
            Some(LeftOut::CutOff)
        } else if clipped(samples, peak) {
            Some(LeftOut::Clipped)
        } else {
            None
        };
        let rate = f64::from(rate_hz);
        let n = samples.len().max(1) as f64;
        let or_quietest = |db: Option<f64>| db.unwrap_or(QUIETEST_DB);
        let k_energy = visit.streamed.k_energy(stretch.start, stretch.end);
        // A hit's loudness is its energy over 0.4 s (BS.1770 defines none for so short a sound); a block's is its own.
        let loudness_s = if visit.playing == Playing::Sustained { n / rate } else { 0.4 };
        let middle: f64 = visit
            .spans_hz
            .iter()
            .zip(&row)
            .filter(|((from, to), _)| (300.0..3000.0).contains(&(from * to).sqrt()))
            .map(|(_, e)| e)
            .sum();
        let (attack_s, decay_s) = match visit.playing {
            Playing::Sustained => (None, None),
            _ => visit.streamed.shape(stretch, rate),
        };
        let event = EventMeasure {
            start_s: stretch.start as f64 / rate,
            onset_s: stretch.onset as f64 / rate,
            end_s: stretch.end as f64 / rate,
            left_out,
            sample_peak_db: or_quietest(amplitude_db(peak)),
            true_peak_db: or_quietest(amplitude_db(true_peak)),
            rms_db: or_quietest(power_db(energy(samples) / n)),
            loudness_db: or_quietest(power_db(k_energy / rate / loudness_s)) - 0.691,
            midrange_db: or_quietest(power_db(middle)),
            attack_s,
            decay_s,
        };
        Ok((event, row, true_peak))
    }
}

fn clipped(samples: &[f32], peak: f64) -> bool {
    // The greatest integer value of 16 bits is the coarsest full scale.
    let full = 32_767.0 / 32_768.0;
    // Most events reach nowhere near it, which is quicker to see.
    peak >= f64::from(full) && samples.windows(CLIPPED_RUN).any(|w| w.iter().all(|x| x.abs() >= full))
}
