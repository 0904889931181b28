//! The transform that everything here is heard through: that of `wave`, the same bits on every machine.

pub use wave::fft::{Fft, RealFft, hann};
