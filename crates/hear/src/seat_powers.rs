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

/// Powers of L stretches beside each other, so that a processor works on all of them at once; each comes out as it would alone.
pub(crate) type PowersOf<const L: usize> = [[f32; L]; MOST + 1];

/// A model of L stretches: what is needed of their covariances' inverses.
struct Inverse<const L: usize> {
    /// The inverse times the determinant, applied to each seat's gains.
    seen: [[[f32; L]; 2]; MOST],
    /// aᵀ Σ⁻¹ a times the determinant.
    own: [[f32; L]; MOST],
    determinant: [f32; L],
    /// The covariance itself.
    sum: [[f32; L]; 3],
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

    fn inverse<const L: usize>(&self, v: &PowersOf<L>) -> Inverse<L> {
        let n = self.gains.len();
        let room: [f32; L] = v[MOST].map(|r| FLOOR + 0.5 * r);
        let mut out = Inverse { seen: [[[0.0; L]; 2]; MOST], own: [[0.0; L]; MOST], determinant: room.map(|r| r * r), sum: [room, room, [0.0; L]] };
        for i in 0..n {
            let a = self.gains[i];
            let (mut x, mut y, mut own) = (room.map(|r| r * a[0]), room.map(|r| r * a[1]), room);
            for (j, b) in self.gains.iter().enumerate() {
                // The adjoint of b bᵀ is its turn by a quarter; it sees of a what lies across.
                let c = self.across[j][i];
                for l in 0..L {
                    x[l] -= v[j][l] * c * b[1];
                    y[l] += v[j][l] * c * b[0];
                    own[l] += v[j][l] * c * c;
                }
            }
            out.seen[i] = [x, y];
            out.own[i] = own;
            for j in 0..i {
                for l in 0..L {
                    out.determinant[l] += v[i][l] * v[j][l] * self.across[i][j] * self.across[i][j];
                }
            }
            for l in 0..L {
                out.determinant[l] += room[l] * v[i][l];
                out.sum[0][l] += v[i][l] * a[0] * a[0];
                out.sum[1][l] += v[i][l] * a[1] * a[1];
                out.sum[2][l] += v[i][l] * a[0] * a[1];
            }
        }
        out
    }

    /// The power of each seat, and of everywhere, in a stretch; all nought for silence.
    pub fn powers(&self, stretch: Covariance, steps: usize) -> Powers {
        self.powers_of(&[stretch], steps).map(|[p]| p)
    }

    /// Of several stretches.
    pub fn powers_of<const L: usize>(&self, stretches: &[Covariance; L], steps: usize) -> PowersOf<L> {
        let mut v: PowersOf<L> = [[0.0; L]; MOST + 1];
        let n = self.gains.len();
        // A stretch of nothing goes along as one of 1, and gets nothing.
        let all = stretches.map(|s| if sounds(s.left + s.right) { s.left + s.right } else { 1.0 });
        if n == 0 {
            return v;
        }
        let (mut left, mut right, mut cross) = ([0.0; L], [0.0; L], [0.0; L]);
        for l in 0..L {
            (left[l], right[l], cross[l]) = (stretches[l].left / all[l], stretches[l].right / all[l], stretches[l].cross / all[l]);
        }
        let equal = 1.0 / (n + usize::from(self.everywhere)) as f32;
        v[..n].fill([equal; L]);
        if self.everywhere {
            v[MOST] = [equal; L];
        }
        for _ in 0..steps {
            let inverse = self.inverse(&v);
            let determinant = inverse.determinant;
            for i in 0..n {
                let [x, y] = inverse.seen[i];
                for l in 0..L {
                    let asked = (left[l] * x[l] * x[l] + right[l] * y[l] * y[l] + 2.0 * cross[l] * x[l] * y[l]).max(0.0);
                    v[i][l] *= (asked / (inverse.own[i][l] * determinant[l])).sqrt();
                }
            }
            if self.everywhere {
                let [a, b, c] = inverse.sum;
                for l in 0..L {
                    let asked = (left[l] * (b[l] * b[l] + c[l] * c[l]) + right[l] * (a[l] * a[l] + c[l] * c[l]) - 2.0 * cross[l] * c[l] * (a[l] + b[l])).max(0.0);
                    v[MOST][l] *= (asked / ((a[l] + b[l]) * determinant[l])).sqrt();
                }
            }
        }
        for row in &mut v {
            for l in 0..L {
                row[l] = if sounds(stretches[l].left + stretches[l].right) { row[l] * all[l] } else { 0.0 };
            }
        }
        v
    }

    /// What of stretches comes from the seats marked in `wanted`, by Wiener's filter: for each a matrix to be applied to both channels, row by row. `all` is the stretches' energy.
    pub fn filter<const L: usize>(&self, powers: &PowersOf<L>, all: &[f32; L], wanted: &[bool]) -> [[f32; L]; 4] {
        let safe = all.map(|a| if sounds(a) { a } else { 1.0 });
        let mut v = *powers;
        for row in &mut v {
            for l in 0..L {
                row[l] /= safe[l];
            }
        }
        let inverse = self.inverse(&v);
        let mut out = [[0.0f32; L]; 4];
        for (i, _) in wanted.iter().enumerate().take(self.gains.len()).filter(|(_, w)| **w) {
            let (a, [x, y]) = (self.gains[i], inverse.seen[i]);
            for l in 0..L {
                let p = v[i][l] / inverse.determinant[l];
                out[0][l] += p * a[0] * x[l];
                out[1][l] += p * a[0] * y[l];
                out[2][l] += p * a[1] * x[l];
                out[3][l] += p * a[1] * y[l];
            }
        }
        for row in &mut out {
            for l in 0..L {
                row[l] = if sounds(all[l]) { row[l] } else { 0.0 };
            }
        }
        out
    }
}

/// Whether there is energy, and no more than any sound has.
fn sounds(all: f32) -> bool {
    all > 1e-20 && all < 1e20
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
        let m = directions.filter(&directions.powers_of(&[c], 50), &[c.left + c.right], &[true, true, true]);
        for ([found], want) in m.iter().zip([1.0, 0.0, 0.0, 1.0]) {
            assert!((found - want).abs() < 1e-3, "{m:?}");
        }
        // One seat's filter takes another seat's own sound out when there are only two.
        let two = Directions::new(&[-0.5, 0.5], false);
        let m = two.filter(&[1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0].map(|p| [p]), &[2.0], &[true, false]).map(|[m]| m);
        let [l, r] = gains(0.5);
        assert!((m[0] * l + m[1] * r).abs() < 1e-3 && (m[2] * l + m[3] * r).abs() < 1e-3, "{m:?}");
    }

    #[test]
    fn silence_has_no_power() {
        assert_eq!(Directions::new(&[0.0], true).powers(Covariance::default(), 10), [0.0; MOST + 1]);
    }
    #[test]
    fn stretches_beside_each_other_come_out_as_alone() {
        let directions = Directions::new(&[-0.5, 0.1, 0.8], true);
        let all = [sum(&[(-0.5, 2.0), (0.1, 1.0)], 0.1), Covariance::default(), sum(&[(0.8, 3e-9)], 0.0), sum(&[(0.1, 40.0), (0.8, 1.0)], 2.0)];
        let together = directions.powers_of(&all, 7);
        let filters = directions.filter(&together, &all.map(|c| c.left + c.right), &[true, false, false]);
        for (l, c) in all.iter().enumerate() {
            assert_eq!(together.map(|row| row[l]), directions.powers(*c, 7), "{c:?}");
            let alone = directions.filter(&directions.powers_of(&[*c], 7), &[c.left + c.right], &[true, false, false]);
            assert_eq!(filters.map(|row| row[l]), alone.map(|row| row[0]), "{c:?}");
        }
        assert_eq!(filters.map(|row| row[1]), [0.0; 4]);
    }
}
