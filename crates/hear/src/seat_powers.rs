//! How much of a stretch of sound comes from each seat, from the covariance of the two channels.
//!
//! # Method
//! Each seat is a Gaussian source with known gains a and unknown power v in the stretch, beside sound from everywhere of power d: the covariance is
//! Σ v a aᵀ + d I / 2 (E. Vincent, S. Arberet, R. Gribonval, "Underdetermined instantaneous audio source separation via local Gaussian modeling",
//! ICA 2009). The powers of the greatest likelihood by multiplicative steps, v ← v √(aᵀ Σ⁻¹ R Σ⁻¹ a / aᵀ Σ⁻¹ a) (C. Févotte, J. Idier,
//! "Algorithms for nonnegative matrix factorization with the β-divergence", Neural Computation 23(9), 2011, for this likelihood), from equal
//! powers on. Determinants and inverses are written as sums over pairs of seats, without differences, so that single precision suffices.

use crate::seats::gains;
use std::ops::Add;

/// Energy on the left, on the right, and the real part of what they have in common.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Covariance {
    pub left: f32,
    pub right: f32,
    pub cross: f32,
}

impl Add for Covariance {
    type Output = Covariance;

    fn add(self, o: Covariance) -> Covariance {
        Covariance { left: self.left + o.left, right: self.right + o.right, cross: self.cross + o.cross }
    }
}

/// Most seats at once; further ones are left out.
pub(crate) const MOST: usize = 8;
/// Beside all else there is this much of everywhere, of the stretch's energy.
const FLOOR: f32 = 1e-5;

/// The seats that sound can come from.
pub(crate) struct Directions {
    pub gains: Vec<[f32; 2]>,
    pub everywhere: bool,
    /// The sine of the angle between two seats, squared where it stands for a pair.
    across: [[f32; MOST]; MOST],
}

/// Powers of the seats, and of everywhere behind the last one.
pub(crate) type Powers = [f32; MOST + 1];

/// A model of a stretch: what is needed of its covariance's inverse.
struct Inverse {
    /// The inverse times the determinant, applied to each seat's gains.
    seen: [[f32; 2]; MOST],
    /// aᵀ Σ⁻¹ a times the determinant.
    own: [f32; MOST],
    determinant: f32,
    /// The covariance itself.
    sum: [f32; 3],
}

impl Directions {
    pub fn new(azimuths: &[f64], everywhere: bool) -> Directions {
        let gains: Vec<[f32; 2]> = azimuths.iter().take(MOST).map(|a| gains(*a)).collect();
        let mut across = [[0.0; MOST]; MOST];
        for (i, a) in gains.iter().enumerate() {
            for (j, b) in gains.iter().enumerate() {
                across[i][j] = a[0] * b[1] - a[1] * b[0];
            }
        }
        Directions { gains, everywhere, across }
    }

    fn inverse(&self, v: &Powers) -> Inverse {
        let n = self.gains.len();
        let room = FLOOR + 0.5 * v[MOST];
        let mut out = Inverse { seen: [[0.0; 2]; MOST], own: [0.0; MOST], determinant: room * room, sum: [room, room, 0.0] };
        for i in 0..n {
            let a = self.gains[i];
            let (mut x, mut y, mut own) = (room * a[0], room * a[1], room);
            for j in 0..n {
                // The adjoint of b bᵀ is its turn by a quarter; it sees of a what lies across.
                let (b, c) = (self.gains[j], self.across[j][i]);
                x -= v[j] * c * b[1];
                y += v[j] * c * b[0];
                own += v[j] * c * c;
            }
            out.seen[i] = [x, y];
            out.own[i] = own;
            for j in 0..i {
                out.determinant += v[i] * v[j] * self.across[i][j] * self.across[i][j];
            }
            out.determinant += room * v[i];
            out.sum[0] += v[i] * a[0] * a[0];
            out.sum[1] += v[i] * a[1] * a[1];
            out.sum[2] += v[i] * a[0] * a[1];
        }
        out
    }

    /// The power of each seat, and of everywhere, in a stretch; all nought for silence.
    pub fn powers(&self, stretch: Covariance, steps: usize) -> Powers {
        let mut v: Powers = [0.0; MOST + 1];
        let (n, all) = (self.gains.len(), stretch.left + stretch.right);
        if n == 0 || !(all > 1e-20 && all < 1e20) {
            return v;
        }
        let r = Covariance { left: stretch.left / all, right: stretch.right / all, cross: stretch.cross / all };
        let equal = 1.0 / (n + usize::from(self.everywhere)) as f32;
        v[..n].fill(equal);
        if self.everywhere {
            v[MOST] = equal;
        }
        for _ in 0..steps {
            let inverse = self.inverse(&v);
            let determinant = inverse.determinant;
            let mut next = v;
            for i in 0..n {
                let [x, y] = inverse.seen[i];
                let asked = (r.left * x * x + r.right * y * y + 2.0 * r.cross * x * y).max(0.0);
                next[i] = v[i] * (asked / (inverse.own[i] * determinant)).sqrt();
            }
            if self.everywhere {
                let [a, b, c] = inverse.sum;
                let asked = (r.left * (b * b + c * c) + r.right * (a * a + c * c) - 2.0 * r.cross * c * (a + b)).max(0.0);
                next[MOST] = v[MOST] * (asked / ((a + b) * determinant)).sqrt();
            }
            v = next;
        }
        v.map(|p| p * all)
    }

    /// What of a stretch comes from the seats marked in `wanted`, by Wiener's filter: a matrix to be applied to both channels, row by row.
    pub fn filter(&self, powers: &Powers, all: f32, wanted: &[bool]) -> [f32; 4] {
        if !(all > 1e-20 && all < 1e20) {
            return [0.0; 4];
        }
        let v = powers.map(|p| p / all);
        let inverse = self.inverse(&v);
        let mut out = [0.0f32; 4];
        for (i, _) in wanted.iter().enumerate().take(self.gains.len()).filter(|(_, w)| **w) {
            let (a, [x, y], p) = (self.gains[i], inverse.seen[i], v[i] / inverse.determinant);
            out[0] += p * a[0] * x;
            out[1] += p * a[0] * y;
            out[2] += p * a[1] * x;
            out[3] += p * a[1] * y;
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sum(parts: &[(f64, f32)], room: f32) -> Covariance {
        let mut c = Covariance { left: room / 2.0, right: room / 2.0, cross: 0.0 };
        for (azimuth, power) in parts {
            let [l, r] = gains(*azimuth);
            c = c + Covariance { left: power * l * l, right: power * r * r, cross: power * l * r };
        }
        c
    }

    #[test]
    fn powers_of_three_seats_and_of_two_with_a_room_are_found() {
        let v = Directions::new(&[-0.6, 0.0, 0.6], false).powers(sum(&[(-0.6, 2.0), (0.0, 5.0), (0.6, 1.0)], 0.0), 400);
        for (found, want) in v.iter().zip([2.0, 5.0, 1.0]) {
            assert!((found - want).abs() < 0.1, "{v:?}");
        }
        let v = Directions::new(&[-1.0, 0.3], true).powers(sum(&[(-1.0, 3.0), (0.3, 4.0)], 1.0), 400);
        assert!((v[0] - 3.0).abs() < 0.1 && (v[1] - 4.0).abs() < 0.1 && (v[MOST] - 1.0).abs() < 0.1, "{v:?}");
    }

    #[test]
    fn a_seat_alone_gets_all() {
        for azimuth in [-1.0, 0.0, 1.0] {
            let v = Directions::new(&[-1.0, 0.0, 1.0], false).powers(sum(&[(azimuth, 7.0)], 0.0), 60);
            let own = [-1.0, 0.0, 1.0].iter().position(|a| *a == azimuth).unwrap();
            assert!(v[own] > 6.7, "{azimuth}: {v:?}");
        }
    }

    #[test]
    fn the_filters_of_all_seats_add_up_to_leaving_all_as_it_is() {
        let directions = Directions::new(&[-0.5, 0.1, 0.8], false);
        let c = sum(&[(-0.5, 2.0), (0.1, 1.0), (0.8, 0.5)], 0.0);
        let m = directions.filter(&directions.powers(c, 50), c.left + c.right, &[true, true, true]);
        for (found, want) in m.iter().zip([1.0, 0.0, 0.0, 1.0]) {
            assert!((found - want).abs() < 1e-3, "{m:?}");
        }
        // One seat's filter takes another seat's own sound out when there are only two.
        let two = Directions::new(&[-0.5, 0.5], false);
        let m = two.filter(&[1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0], 2.0, &[true, false]);
        let [l, r] = gains(0.5);
        assert!((m[0] * l + m[1] * r).abs() < 1e-3 && (m[2] * l + m[3] * r).abs() < 1e-3, "{m:?}");
    }

    #[test]
    fn silence_has_no_power() {
        assert_eq!(Directions::new(&[0.0], true).powers(Covariance::default(), 10), [0.0; MOST + 1]);
    }
}
