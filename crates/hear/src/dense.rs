//! Inputs times weights: where the time of the small networks goes.

/// `first`, and added to it each input times its row of weights (`[in][out]`), in that order. Inlined, so that it has a part in [`wave::lanes`].
#[inline(always)]
pub(crate) fn added<const N: usize>(first: &[f32; N], weights: &[f32], inputs: &[f32]) -> [f32; N] {
    let mut sums = *first;
    for (value, row) in inputs.iter().zip(weights.as_chunks::<N>().0) {
        for i in 0..N {
            sums[i] += value * row[i];
        }
    }
    sums
}
