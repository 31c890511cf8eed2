//! Fair draws from a generator whose next value nobody can foretell.

use rand_chacha::rand_core::CryptoRng;

/// One of `n` with equal chances, exactly: values that would favour the first few are drawn again.
///
/// # Panics
/// If there is nothing to draw from.
pub(crate) fn one_of(n: usize, rng: &mut impl CryptoRng) -> usize {
    assert!(n > 0, "nothing to draw from");
    let n = n as u64;
    let fair = u64::MAX - u64::MAX % n;
    loop {
        let drawn = rng.next_u64();
        if drawn < fair {
            return (drawn % n) as usize;
        }
    }
}

/// An entry of a slice.
pub(crate) fn among<'a, T>(all: &'a [T], rng: &mut impl CryptoRng) -> &'a T {
    &all[one_of(all.len(), rng)]
}

/// Any order of the entries with equal chances (Fisher and Yates).
pub(crate) fn shuffle<T>(all: &mut [T], rng: &mut impl CryptoRng) {
    for i in (1..all.len()).rev() {
        all.swap(i, one_of(i + 1, rng));
    }
}

/// Half of `n` places on one side, half on the other, the odd one on either, in any order.
pub(crate) fn balanced_sides(n: usize, rng: &mut impl CryptoRng) -> Vec<bool> {
    let first = one_of(2, rng);
    let mut sides: Vec<bool> = (0..n).map(|i| (i + first).is_multiple_of(2)).collect();
    shuffle(&mut sides, rng);
    sides
}

/// 256 bits in hexadecimal digits.
pub(crate) fn nonce(rng: &mut impl CryptoRng) -> String {
    let mut bytes = [0u8; 32];
    rng.fill_bytes(&mut bytes);
    hex(&bytes)
}

pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_chacha::ChaCha20Rng;
    use rand_chacha::rand_core::SeedableRng;

    #[test]
    fn draws_are_even_and_orders_too() {
        let mut rng = ChaCha20Rng::seed_from_u64(1);
        let mut n = [0u32; 3];
        (0..30_000).for_each(|_| n[one_of(3, &mut rng)] += 1);
        // Four standard errors of a share of one third are 330.
        assert!(n.iter().all(|k| k.abs_diff(10_000) < 330), "{n:?}");
        let mut firsts = [0u32; 4];
        for _ in 0..20_000 {
            let mut order = [0, 1, 2, 3];
            shuffle(&mut order, &mut rng);
            firsts[order[0]] += 1;
        }
        assert!(firsts.iter().all(|k| k.abs_diff(5000) < 250), "{firsts:?}");
    }

    #[test]
    fn sides_are_balanced_whatever_their_number() {
        let mut rng = ChaCha20Rng::seed_from_u64(2);
        for n in 0..20 {
            let left = balanced_sides(n, &mut rng).iter().filter(|s| **s).count();
            assert!(left.abs_diff(n - left) <= 1, "{left} of {n}");
        }
    }
}
