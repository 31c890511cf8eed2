//! Student's t distribution, with the normal distribution as its limit.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Beyond this many degrees of freedom the normal distribution serves: statrs' own t quantile loses digits there.
const NORMAL_FROM_DF: f64 = 1e5;

/// Quantile of Student's t at probability `p` with `df` degrees of freedom (fractional and infinite ones too).
///
/// # Source
/// statrs; checked against GUM Table G.2 values in `reference/11_student_t.csv`.
pub fn t_quantile(p: f64, df: f64) -> f64 {
    if df < NORMAL_FROM_DF {
        StudentsT::new(0.0, 1.0, df.max(0.1)).expect("positive degrees of freedom").inverse_cdf(p)
    } else {
        Normal::new(0.0, 1.0).expect("a unit normal exists").inverse_cdf(p)
    }
}
