//! Weights of the marks, in their order in `evidence`.
//!
//! Tuned by `checks/names/tune.py` on the comping annotations of players 00 and 01 of GuitarSet (Q. Xi, R. Bittner, J. Pauwels, X. Ye,
//! J. P. Bello, ISMIR 2018, CC BY 4.0); do not edit by hand.

use super::MARKS;

#[rustfmt::skip]
pub(super) const WEIGHTS: [f64; MARKS] = [
    1.045, 2.242, 1.275, 0.726, -0.242, -0.250, -0.867, -1.552, -0.533, 0.266,
    -0.982, -0.113, -0.837, -0.069, -0.108, -1.488, -2.774, -0.961, -1.887, 1.589,
    -0.138, 0.845, -0.291, 0.240, -0.037, -0.119, -0.263, 0.434, 0.031, 0.332,
    -0.054, 1.768, 0.055, 0.744, -0.001, 0.517, -0.795, 0.891, 1.886, 0.605,
    -0.327, 0.012, 0.486, -0.192, -0.327, -1.048, -0.238, -0.412, -0.779, -0.479,
    0.086, -0.164, -0.729,
];
