//! How far listeners agree with themselves and with each other.

/// Exact chances are counted up to this many items: 2²¹ outcomes.
const MOST_COUNTED: usize = 7;

/// How consistent one listener's preferences are, who judged every pair once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Consistency {
    /// Triples of which none is the best: a over b, b over c, c over a.
    pub n_circular: u64,
    /// As many as there can be.
    pub most_circular: u64,
    /// 1: none, 0: as many as there can be.
    pub coefficient: f64,
    /// How often somebody who tosses a coin is at least as consistent; `None` beyond seven items, where it is not counted.
    pub chance: Option<f64>,
}

/// Consistency of a table of preferences: `preferred[i][j]` says that i was preferred to j.
///
/// `None` with fewer than three items, or where a pair was not judged exactly once.
///
/// # Source
/// Kendall and Babington Smith (1940), Biometrika 31: number of circular triads from the numbers of wins, coefficient of
/// consistence. Their distribution is counted here, by test as they print it (from memory) for four and five items.
pub fn consistency(preferred: &[Vec<bool>]) -> Option<Consistency> {
    let n = preferred.len();
    let once = (0..n).all(|i| preferred[i].len() == n && (0..i).all(|j| preferred[i][j] != preferred[j][i]));
    if n < 3 || !once {
        return None;
    }
    let wins: Vec<u64> =
        (0..n).map(|i| (0..n).filter(|j| *j != i && preferred[i][*j]).count() as u64).collect();
    let n_circular = n_circular(&wins);
    let m = n as u64;
    let most_circular = if n % 2 == 1 { (m * m * m - m) / 24 } else { (m * m * m - 4 * m) / 24 };
    Some(Consistency {
        n_circular,
        most_circular,
        coefficient: 1.0 - n_circular as f64 / most_circular as f64,
        chance: (n <= MOST_COUNTED).then(|| chance_of_at_most(n, n_circular)),
    })
}

/// n(n − 1)(2n − 1)/12 − ½·Σ wins².
fn n_circular(wins: &[u64]) -> u64 {
    let n = wins.len() as u64;
    let squares: u64 = wins.iter().map(|w| w * w).sum();
    (n * (n - 1) * (2 * n - 1) / 6 - squares) / 2
}

/// Share of all outcomes with so many circular triples or fewer.
fn chance_of_at_most(n: usize, n_most: u64) -> f64 {
    let pairs: Vec<(usize, usize)> = (0..n).flat_map(|i| (0..i).map(move |j| (i, j))).collect();
    let outcomes = 1u64 << pairs.len();
    let few = (0..outcomes).filter(|outcome| {
        let mut wins = [0u64; MOST_COUNTED];
        for (k, (i, j)) in pairs.iter().enumerate() {
            wins[if outcome >> k & 1 == 1 { *i } else { *j }] += 1;
        }
        n_circular(&wins[..n]) <= n_most
    });
    few.count() as f64 / outcomes as f64
}

/// Kendall's W: how far listeners put the same items in the same order, 0 to 1, ties shared.
///
/// Shape: one row per listener, one rating per item. `None` with fewer than two listeners or items, rows of different
/// length, or where nobody told any two items apart.
///
/// # Source
/// Kendall and Babington Smith (1939), with the correction for ties. Cross-checked with scipy's Friedman statistic in
/// `outside/listening.py`.
pub fn concordance(ratings: &[Vec<f64>]) -> Option<f64> {
    let (m, n) = (ratings.len(), ratings.first()?.len());
    if m < 2 || n < 2 || ratings.iter().any(|r| r.len() != n) {
        return None;
    }
    let ranked: Vec<(Vec<f64>, f64)> = ratings.iter().map(|r| ranks(r)).collect();
    let sums: Vec<f64> = (0..n).map(|i| ranked.iter().map(|(r, _)| r[i]).sum()).collect();
    let mean = sums.iter().sum::<f64>() / n as f64;
    let spread: f64 = sums.iter().map(|s| (s - mean).powi(2)).sum();
    let (m, n) = (m as f64, n as f64);
    let ties: f64 = ranked.iter().map(|(_, t)| t).sum();
    let most = m * m * (n * n * n - n) - m * ties;
    (most > 0.0).then(|| 12.0 * spread / most)
}

/// Ranks from 1, ties at their mean, and Σ (t³ − t) over tied groups.
fn ranks(values: &[f64]) -> (Vec<f64>, f64) {
    let rank = |x: f64| {
        let below = values.iter().filter(|v| **v < x).count() as f64;
        let same = values.iter().filter(|v| **v == x).count() as f64;
        (below + (same + 1.0) / 2.0, same)
    };
    let both: Vec<(f64, f64)> = values.iter().map(|x| rank(*x)).collect();
    // Each of t tied values adds t² − 1, together t³ − t.
    (both.iter().map(|(r, _)| *r).collect(), both.iter().map(|(_, same)| same * same - 1.0).sum())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A table in which a lower number is preferred, but for the pairs given.
    fn table(n: usize, turned: &[(usize, usize)]) -> Vec<Vec<bool>> {
        let prefers = |i: usize, j: usize| {
            i != j && ((i < j) != (turned.contains(&(i, j)) || turned.contains(&(j, i))))
        };
        (0..n).map(|i| (0..n).map(|j| prefers(i, j)).collect()).collect()
    }

    #[test]
    fn one_turned_pair_makes_circles() {
        assert_eq!(consistency(&table(4, &[])).map(|c| (c.n_circular, c.coefficient)), Some((0, 1.0)));
        // Last over first: every item between them makes one circle.
        let found = consistency(&table(5, &[(0, 4)])).expect("every pair once");
        assert_eq!((found.n_circular, found.most_circular), (3, 5));
        assert!((found.coefficient - 0.4).abs() < 1e-15);
        // Obvious twin: look at every triple.
        let t = table(6, &[(0, 5), (1, 3), (2, 4)]);
        let mut n = 0;
        for (i, j, k) in (0..6).flat_map(|i| (0..i).flat_map(move |j| (0..j).map(move |k| (i, j, k)))) {
            n += u64::from(t[i][j] == t[j][k] && t[j][k] == t[k][i]);
        }
        assert_eq!(consistency(&t).map(|c| c.n_circular), Some(n));
    }

    #[test]
    fn coin_tossers_are_as_consistent_as_counted() {
        // Exact: of 64 outcomes of four items 24 have no circle, of 1024 of five items 120.
        assert_eq!(consistency(&table(4, &[])).and_then(|c| c.chance), Some(24.0 / 64.0));
        assert_eq!(consistency(&table(5, &[])).and_then(|c| c.chance), Some(120.0 / 1024.0));
        assert_eq!(consistency(&table(8, &[])).and_then(|c| c.chance), None);
        assert_eq!(consistency(&[vec![false, true], vec![false, false]]), None);
        let mut not_judged = table(4, &[]);
        not_judged[0][1] = false;
        assert_eq!(consistency(&not_judged), None);
    }

    #[test]
    fn agreement_is_one_when_all_order_alike_and_zero_when_they_cancel() {
        assert_eq!(concordance(&[vec![10.0, 40.0, 90.0], vec![1.0, 2.0, 3.0]]), Some(1.0));
        assert_eq!(concordance(&[vec![1.0, 2.0, 3.0], vec![3.0, 2.0, 1.0]]), Some(0.0));
        assert_eq!(concordance(&[vec![5.0, 5.0], vec![7.0, 7.0]]), None);
        assert_eq!(concordance(&[vec![5.0, 6.0]]), None);
        // With ties, all alike again.
        assert_eq!(concordance(&[vec![1.0, 1.0, 3.0], vec![4.0, 4.0, 9.0]]), Some(1.0));
    }
}
