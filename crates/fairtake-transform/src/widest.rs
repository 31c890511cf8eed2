//! The same code for the widest registers that the processor has: chosen as the program runs, so that one program serves all.

use pulp::{Arch, Simd, WithSimd};

/// Work on many samples. Implementations are `#[inline(always)]`, or they are compiled for the narrowest registers.
pub trait Work {
    /// What comes of it.
    type Out;

    /// Does it.
    fn done(self) -> Self::Out;

    /// Does it where multiplying and adding are one instruction: for work that can make use of that.
    #[inline(always)]
    fn done_fused(self) -> Self::Out
    where
        Self: Sized,
    {
        self.done()
    }
}

struct Job<W>(W);

impl<W: Work> WithSimd for Job<W> {
    type Output = W::Out;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> W::Out {
        // Registers of four f64 and more come with it.
        if S::F64_LANES >= 4 { self.0.done_fused() } else { self.0.done() }
    }
}

/// Does `work`, compiled for what this processor has.
pub fn widest<W: Work>(work: W) -> W::Out {
    Arch::new().dispatch(Job(work))
}
