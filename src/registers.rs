//! Registers as wide as the processor has them, for loops over many numbers.
#![expect(
    clippy::inline_always,
    reason = "what is not inlined into a loop is not worked on several numbers at a time"
)]

/// Runs `work` with the widest registers that the processor has.
///
/// What `work` calls has to be `#[inline(always)]` to gain from it.
#[inline(always)]
pub(crate) fn widest<T>(work: impl FnOnce() -> T) -> T {
    struct Work<F>(F);
    impl<T, F: FnOnce() -> T> pulp::WithSimd for Work<F> {
        type Output = T;
        #[inline(always)]
        fn with_simd<S: pulp::Simd>(self, _: S) -> T {
            (self.0)()
        }
    }
    pulp::Arch::new().dispatch(Work(work))
}
