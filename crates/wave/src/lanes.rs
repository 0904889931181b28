//! Plain loops on lanes as wide as the processor has, with the same bits on every machine.
//!
//! The compiler works on several numbers at once where a loop does the same to each. How many, it can only know when the program is built, unless the
//! loop is compiled again for wider lanes and chosen when it runs. Nothing else changes: what is done to each number, and in which order numbers are added
//! up, stands in the loop, and no product and sum is fused into one rounding.

use rten_simd::{Isa, SimdOp};

/// Runs `work`, compiled for each width of lanes that there is. Whatever `work` calls must be inlined (`#[inline(always)]`, itself too) to have a part in it.
///
/// ```
/// let mut doubled = [1.0f32, 2.0, 3.0];
/// wave::lanes::widest(#[inline(always)] || doubled.iter_mut().for_each(|v| *v *= 2.0));
/// assert_eq!(doubled, [2.0, 4.0, 6.0]);
/// ```
pub fn widest<T>(work: impl FnOnce() -> T) -> T {
    struct Work<F>(F);
    impl<T, F: FnOnce() -> T> SimdOp for Work<F> {
        type Output = T;

        #[inline(always)]
        fn eval<I: Isa>(self, _: I) -> T {
            (self.0)()
        }
    }
    Work(work).dispatch()
}
