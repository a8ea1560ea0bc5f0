//! Work on many pixels or scores at once, by the widest vectors that the processor has.

/// Does `work`, compiled for AVX2 where the processor has it: programs are built for processors
/// without it, and a loop over pixels takes half the time with it.
pub fn widely<R>(work: impl FnOnce() -> R) -> R {
    #[cfg(target_arch = "x86_64")]
    {
        #[target_feature(enable = "avx2")]
        fn with_avx2<R>(work: impl FnOnce() -> R) -> R {
            work()
        }
        if is_x86_feature_detected!("avx2") {
            // SAFETY: the processor has it.
            return unsafe { with_avx2(work) };
        }
    }
    work()
}
