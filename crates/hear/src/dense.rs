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

/// The same of two, whose sums need not wait for each other.
#[inline(always)]
pub(crate) fn added_to_two<const K: usize, const N: usize>([a, b]: [[f32; N]; 2], weights: &[f32], inputs: [&[f32; K]; 2]) -> [[f32; N]; 2] {
    let (mut a, mut b) = (a, b);
    for ((row, x), y) in weights.as_chunks::<N>().0.iter().zip(inputs[0]).zip(inputs[1]) {
        for i in 0..N {
            a[i] += x * row[i];
            b[i] += y * row[i];
        }
    }
    [a, b]
}
