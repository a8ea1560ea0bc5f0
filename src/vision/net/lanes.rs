//! Several numbers at once: with AVX-512 or AVX2 where the processor has them, else as the
//! compiler can.

/// Some numbers that are worked on at once.
pub(super) trait Lanes: Copy {
    const COUNT: usize;

    /// # Safety
    /// The processor has these lanes, here and below; `from` leads to `COUNT` numbers.
    unsafe fn load(from: *const f32) -> Self;

    /// # Safety
    /// `to` leads to `COUNT` numbers.
    unsafe fn store(self, to: *mut f32);

    /// # Safety
    /// See [`Self::load`].
    unsafe fn all(value: f32) -> Self;

    /// `self + a * b`.
    ///
    /// # Safety
    /// See [`Self::load`].
    unsafe fn plus_product(self, a: Self, b: Self) -> Self;

    /// # Safety
    /// See [`Self::load`].
    unsafe fn plus(self, other: Self) -> Self;

    /// The larger of each number and 0.
    ///
    /// # Safety
    /// See [`Self::load`].
    unsafe fn positive(self) -> Self;
}

/// Lanes on any processor.
#[derive(Clone, Copy)]
struct Plain([f32; 4]);

impl Lanes for Plain {
    const COUNT: usize = 4;

    #[inline(always)]
    unsafe fn load(from: *const f32) -> Self {
        // SAFETY: the caller's.
        Self(unsafe { from.cast::<[f32; 4]>().read_unaligned() })
    }

    #[inline(always)]
    unsafe fn store(self, to: *mut f32) {
        // SAFETY: the caller's.
        unsafe { to.cast::<[f32; 4]>().write_unaligned(self.0) };
    }

    #[inline(always)]
    unsafe fn all(value: f32) -> Self {
        Self([value; 4])
    }

    #[inline(always)]
    unsafe fn plus_product(self, a: Self, b: Self) -> Self {
        // Rounded once, as the other lanes do, where the processor can by all means; where it may not, that
        // would be a call for each number.
        Self(std::array::from_fn(|i| {
            match cfg!(target_arch = "aarch64") {
                true => a.0[i].mul_add(b.0[i], self.0[i]),
                false => self.0[i] + a.0[i] * b.0[i],
            }
        }))
    }

    #[inline(always)]
    unsafe fn plus(self, other: Self) -> Self {
        Self(std::array::from_fn(|i| self.0[i] + other.0[i]))
    }

    #[inline(always)]
    unsafe fn positive(self) -> Self {
        Self(self.0.map(|v| v.max(0.0)))
    }
}

#[cfg(target_arch = "x86_64")]
mod x86 {
    use super::{Job, Lanes};
    use std::arch::x86_64::*;

    macro_rules! lanes {
        ($name:ty, $count:expr, $load:ident, $store:ident, $all:ident, $fma:ident, $add:ident, $max:ident, $zero:ident) => {
            impl Lanes for $name {
                const COUNT: usize = $count;

                #[inline(always)]
                unsafe fn load(from: *const f32) -> Self {
                    // SAFETY: the caller's, here and below.
                    unsafe { $load(from) }
                }

                #[inline(always)]
                unsafe fn store(self, to: *mut f32) {
                    // SAFETY: see above.
                    unsafe { $store(to, self) };
                }

                #[inline(always)]
                unsafe fn all(value: f32) -> Self {
                    // SAFETY: see above.
                    unsafe { $all(value) }
                }

                #[inline(always)]
                unsafe fn plus_product(self, a: Self, b: Self) -> Self {
                    // SAFETY: see above.
                    unsafe { $fma(a, b, self) }
                }

                #[inline(always)]
                unsafe fn plus(self, other: Self) -> Self {
                    // SAFETY: see above.
                    unsafe { $add(self, other) }
                }

                #[inline(always)]
                unsafe fn positive(self) -> Self {
                    // SAFETY: see above.
                    unsafe { $max(self, $zero()) }
                }
            }
        };
    }

    lanes!(
        __m256,
        8,
        _mm256_loadu_ps,
        _mm256_storeu_ps,
        _mm256_set1_ps,
        _mm256_fmadd_ps,
        _mm256_add_ps,
        _mm256_max_ps,
        _mm256_setzero_ps
    );
    lanes!(
        __m512,
        16,
        _mm512_loadu_ps,
        _mm512_storeu_ps,
        _mm512_set1_ps,
        _mm512_fmadd_ps,
        _mm512_add_ps,
        _mm512_max_ps,
        _mm512_setzero_ps
    );

    #[target_feature(enable = "avx512f,avx2,fma")]
    pub fn run_512<J: Job>(job: &mut J) {
        // SAFETY: this function is compiled for processors with these lanes. Twelve pixels by two
        // blocks fill 24 of the 32 registers.
        unsafe { job.run::<__m512, 4, 2, 1, 8>() };
    }

    #[target_feature(enable = "avx2,fma")]
    pub fn run_256<J: Job>(job: &mut J) {
        // SAFETY: as above. Six pixels by one block of two vectors fill 12 of the 16 registers.
        unsafe { job.run::<__m256, 2, 1, 2, 4>() };
    }
}

/// Something to be worked out by any lanes.
pub(super) trait Job: Sized {
    /// `G` times three pixels by `B` blocks of `H` vectors at a time, or `T` pixels of one vector
    /// where each channel is for itself.
    ///
    /// # Safety
    /// The processor has these lanes; a block is `H` vectors; the job's sizes fit.
    unsafe fn run<L: Lanes, const G: usize, const B: usize, const H: usize, const T: usize>(
        &mut self,
    );
}

/// A way to do a job.
type Way<J> = unsafe fn(&mut J);

/// Does a job the fastest way.
///
/// # Safety
/// The job's sizes fit.
pub(super) unsafe fn run(job: &mut impl Job) {
    let way = ways().into_iter().flatten().next();
    // SAFETY: sizes are the caller's, and the processor has the lanes of all that `ways` names.
    unsafe { way.expect("there is one for every processor")(job) };
}

/// The ways to do a job that this processor has, the fastest first.
pub(super) fn ways<J: Job>() -> [Option<Way<J>>; 3] {
    // SAFETY: every processor has these lanes; the caller answers for the sizes. Three pixels by a
    // block of four vectors.
    let anywhere: Way<J> = |job| unsafe { job.run::<Plain, 1, 1, 4, 2>() };
    #[cfg(target_arch = "x86_64")]
    {
        let has_fma = is_x86_feature_detected!("fma") && is_x86_feature_detected!("avx2");
        let wide = has_fma && is_x86_feature_detected!("avx512f");
        [
            wide.then_some(x86::run_512 as Way<J>),
            has_fma.then_some(x86::run_256 as Way<J>),
            Some(anywhere),
        ]
    }
    #[cfg(not(target_arch = "x86_64"))]
    [Some(anywhere), None, None]
}
