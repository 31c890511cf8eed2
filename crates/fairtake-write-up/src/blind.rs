//! Numbers in place of names: which microphone is which, and in what order they play, is drawn.

use fairtake_audition::Moment;
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

/// From what everything blind is drawn. It stands in the key and nowhere else: who had it could draw again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Draw {
    /// The seed.
    pub seed: u64,
}

/// What was drawn for one source.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Drawn {
    /// Number of each part, from 1, the same in all moments.
    pub numbers: Vec<usize>,
    /// Order of playing, one list of parts per moment.
    pub orders: Vec<Vec<usize>>,
}

impl Draw {
    /// Draws for a source: `place` keeps the draws of several apart.
    pub(crate) fn of(self, place: usize, n_parts: usize, n_moments: usize) -> Drawn {
        let mut random = ChaCha8Rng::seed_from_u64(self.seed);
        random.set_stream(place as u64);
        let mut shuffled = || {
            let mut order: Vec<usize> = (0..n_parts).collect();
            // Fisher and Yates: every order is as likely as any other.
            for i in (1..n_parts).rev() {
                order.swap(i, random.random_range(0..=i));
            }
            order
        };
        let numbers = shuffled().into_iter().map(|i| i + 1).collect();
        Drawn { numbers, orders: (0..n_moments).map(|_| shuffled()).collect() }
    }
}

/// The same moments with parts that are equally long to the frame: a frame more or less would tell who it is.
pub(crate) fn equally_long(mut moments: Vec<Moment>) -> Vec<Moment> {
    for m in &mut moments {
        let shortest = m.parts.iter().map(|p| p.stretch.frames).min().unwrap_or(0);
        m.parts.iter_mut().for_each(|p| p.stretch.frames = shortest);
    }
    moments
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashMap;

    #[test]
    fn every_order_is_drawn_about_as_often_and_the_same_seed_draws_the_same() {
        let mut seen: HashMap<Vec<usize>, u32> = HashMap::new();
        for seed in 0..6000 {
            let drawn = Draw { seed }.of(0, 3, 2);
            assert_eq!(drawn, Draw { seed }.of(0, 3, 2));
            *seen.entry(drawn.numbers).or_default() += 1;
            for order in drawn.orders {
                *seen.entry(order).or_default() += 1;
            }
        }
        // Numbers count from 1 and orders from 0: six of each; 1000 and 2000 expected, six standard deviations allowed.
        assert_eq!(seen.len(), 12);
        assert!(seen.iter().all(|(k, n)| {
            let expected: f64 = if k.contains(&0) { 2000.0 } else { 1000.0 };
            (f64::from(*n) - expected).abs() < 6.0 * (expected * 5.0 / 6.0).sqrt()
        }));
        // Sources do not share a draw: some differ.
        assert!((0..20).any(|seed| Draw { seed }.of(0, 3, 1) != Draw { seed }.of(1, 3, 1)));
    }
}
