//! Beats and bars of a take, and on which slot each stroke falls.
//!
//! A stroke lies on a slot, or on a member of a triplet, a sextuplet or a halved slot, whichever lies nearest to all strokes of its beat; the finer and
//! rarer divisions have to be better by a price. Within a beat strokes keep their order, and no two share a place (dynamic programming over the places;
//! the choice of divisions by cost is that of the beat-wise search in E. Cambouropoulos, "From MIDI to traditional musical notation", AAAI 2000).

use lesson::{Beats, Meter, Swing, swung};

/// Beats and bars in seconds.
#[derive(Clone, Debug, PartialEq)]
pub struct Grid {
    /// Times of beats, rising; at least two.
    beats: Vec<f64>,
    /// The beat that begins a bar.
    first: usize,
    pub meter: Meter,
    pub swing: Option<Swing>,
}

/// Where a stroke falls: so many beats (of the meter) from the first bar's start, exact.
pub type Place = Beats;

/// Half the distance at which a stroke is still taken as meant for its place, ms (common practice: amateurs play within 20 to 30 ms of a click).
const LOOSE_MS: f64 = 22.0;
/// What a swing that was heard has to be better by, over a whole take, in the price of a division.
const SWING_PRICE: f64 = 10.0;
/// The whole take is drawn to the grid by at most this.
const BIAS_MAX_S: f64 = 0.045;

/// A way to part a beat: places in it, and its price.
struct Division {
    parts: i64,
    price: f64,
}

impl Grid {
    /// A click: `bpm` beats a minute, a bar beginning at `from_s`, up to and past `until_s`.
    ///
    /// `None` where a number is none or out of all use.
    pub fn steady(bpm: f64, from_s: f64, until_s: f64, meter: Meter, swing: Option<Swing>) -> Option<Grid> {
        if !(20.0..=400.0).contains(&bpm) || !(0.0..86_400.0).contains(&until_s) || !(-3600.0..86_400.0).contains(&from_s) {
            return None;
        }
        let beat = 60.0 / bpm;
        let before = (from_s.max(0.0) / beat).ceil() as usize + 1;
        let after = ((until_s - from_s).max(0.0) / beat).ceil() as usize + 2;
        let beats = (0..before + after).map(|i| from_s + (i as f64 - before as f64) * beat).collect();
        Some(Grid { beats, first: before, meter, swing })
    }

    /// Beats that were heard or tapped, with the place in the list of one that begins a bar.
    ///
    /// `None` for fewer than two beats, times that do not rise, or a bar that is not among them.
    pub fn heard(beats: Vec<f64>, first: usize, meter: Meter, swing: Option<Swing>) -> Option<Grid> {
        let rising = beats.windows(2).all(|w| w[1] - w[0] > 0.05) && beats.iter().all(|b| b.is_finite());
        (beats.len() >= 2 && rising && first < beats.len()).then_some(Grid { beats, first, meter, swing })
    }

    /// The same bars to a click of `bpm`: its phase is the middle of what these beats say.
    pub(crate) fn straight(&self, bpm: f64, until_s: f64) -> Option<Grid> {
        let beat = 60.0 / bpm;
        // Where the first bar would begin by each beat.
        let mut starts: Vec<f64> = self.beats.iter().enumerate().map(|(i, b)| b - (i as f64 - self.first as f64) * beat).collect();
        starts.sort_by(f64::total_cmp);
        let (low, high) = (starts[starts.len() / 4], starts[starts.len() * 3 / 4]);
        // Beats that drift away from the click are no click's.
        (high - low < 0.15 * beat).then(|| Grid::steady(bpm, starts[starts.len() / 2], until_s, self.meter, self.swing)).flatten()
    }

    /// Slots in a beat, a slot being a sixteenth.
    pub fn slots_per_beat(&self) -> u32 {
        let slots = (u32::from(self.meter.count) * 16 / u32::from(self.meter.unit)) / self.meter.beats().max(1);
        slots.max(1)
    }

    /// Beats from the first bar's start, and how many of them a second holds there.
    fn position(&self, t: f64) -> (f64, f64) {
        let i = self.beats.partition_point(|b| *b <= t).clamp(1, self.beats.len() - 1) - 1;
        let (a, b) = (self.beats[i], self.beats[i + 1]);
        (i as f64 + (t - a) / (b - a) - self.first as f64, 1.0 / (b - a))
    }

    /// The time of so many beats from the first bar's start.
    pub fn time(&self, beats: f64) -> f64 {
        let at = beats + self.first as f64;
        let i = at.floor().clamp(0.0, (self.beats.len() - 2) as f64);
        let (a, b) = (self.beats[i as usize], self.beats[i as usize + 1]);
        a + (at - i) * (b - a)
    }

    /// Beats a minute in the middle of the list.
    pub fn bpm(&self) -> f64 {
        let mut steps: Vec<f64> = self.beats.windows(2).map(|w| w[1] - w[0]).collect();
        steps.sort_by(f64::total_cmp);
        60.0 / steps[steps.len() / 2]
    }

    /// The place of each onset (seconds, rising), and how far it lies from it (seconds, positive: late), with what all have in common taken out.
    pub fn places(&self, onsets: &[f64]) -> Vec<(Place, f64)> {
        self.cheapest(onsets).0
    }

    /// The same beats without their swing where the onsets (seconds, rising) lie as well, or nearly as well, on even slots: a swing is heard from where sound sets in between beats, and a
    /// rhythm that keeps coming back can sound like one.
    pub(crate) fn swung_as(self, onsets: &[f64]) -> Grid {
        let even = Grid { swing: None, ..self.clone() };
        if self.swing.is_some() && even.cheapest(onsets).1 > self.cheapest(onsets).1 + SWING_PRICE { self } else { even }
    }

    /// Places, distances and what they cost all in all.
    fn cheapest(&self, onsets: &[f64]) -> (Vec<(Place, f64)>, f64) {
        let mut bias = 0.0;
        let (mut found, mut cost) = (vec![], 0.0);
        for _ in 0..3 {
            (found, cost) = self.placed(onsets, bias);
            let mut off: Vec<f64> = found.iter().map(|f| f.1).collect();
            if off.is_empty() {
                break;
            }
            off.sort_by(f64::total_cmp);
            bias = (bias + off[off.len() / 2]).clamp(-BIAS_MAX_S, BIAS_MAX_S);
        }
        (found, cost)
    }

    fn placed(&self, onsets: &[f64], bias: f64) -> (Vec<(Place, f64)>, f64) {
        let slots = i64::from(self.slots_per_beat());
        let mut divisions = vec![Division { parts: slots, price: 0.0 }];
        if slots == 4 {
            divisions.push(Division { parts: 3, price: 5.0 });
            divisions.push(Division { parts: 6, price: 9.0 });
            divisions.push(Division { parts: 8, price: 9.0 });
        } else {
            divisions.push(Division { parts: 2 * slots, price: 9.0 });
        }
        let at: Vec<(f64, f64)> = onsets.iter().map(|t| self.position(t - bias)).collect();
        let early = 0.5 / slots as f64;
        let mut out: Vec<(Place, f64)> = Vec::with_capacity(onsets.len());
        let mut total = 0.0;
        let mut i = 0;
        while i < at.len() {
            let beat = (at[i].0 + early).floor();
            let n = at[i..].iter().take_while(|p| (p.0 + early).floor() <= beat).count().max(1);
            let inside: Vec<f64> = at[i..i + n].iter().map(|p| p.0 - beat).collect();
            let rate = at[i].1;
            let best = divisions
                .iter()
                .filter_map(|d| self.assign(&inside, beat as i64, d.parts, rate).map(|(cost, places)| (cost + d.price, d.parts, places)))
                .min_by(|a, b| a.0.total_cmp(&b.0));
            let taken = match best {
                Some((cost, parts, places)) => {
                    total += cost;
                    places.into_iter().map(|k| Beats::new(k, parts)).collect()
                }
                // More strokes than places: the first ones have theirs, the others share the last.
                None => (0..n as i64).map(|k| Beats::new(k.min(2 * slots - 1), 2 * slots)).collect::<Vec<_>>(),
            };
            for (k, place) in taken.into_iter().enumerate() {
                let place = place + Beats::from_integer(beat as i64);
                let off = (at[i + k].0 - self.swung_beats(place)) / rate;
                out.push((place, off));
            }
            i += n;
        }
        (out, total)
    }

    /// A place as it is played, in beats: swing moves it within its pair.
    fn swung_beats(&self, place: Place) -> f64 {
        let unit = self.meter.beat();
        let bar = Beats::from_integer(i64::from(self.meter.beats()));
        let start = bar * (place / bar).floor();
        let inside = (place - start) * unit;
        let unit = *unit.numer() as f64 / *unit.denom() as f64;
        *start.numer() as f64 / *start.denom() as f64 + swung(inside, self.meter.length(), self.swing) / unit
    }

    /// The cheapest rising places out of `parts` for onsets at `inside` (beats from the beat's start): squared distances over [`LOOSE_MS`]. `None` where
    /// there are more onsets than places.
    fn assign(&self, inside: &[f64], beat: i64, parts: i64, rate: f64) -> Option<(f64, Vec<i64>)> {
        let n = parts as usize;
        if inside.len() > n {
            return None;
        }
        let places: Vec<f64> = (0..parts).map(|k| self.swung_beats(Beats::from_integer(beat) + Beats::new(k, parts)) - beat as f64).collect();
        let cost = |i: usize, k: usize| {
            let ms = 1000.0 * (inside[i] - places[k]) / rate;
            (ms / LOOSE_MS).powi(2)
        };
        // best[i][k]: the first i onsets on places before k.
        let mut best = vec![vec![f64::INFINITY; n + 1]; inside.len() + 1];
        best[0] = vec![0.0; n + 1];
        for i in 1..=inside.len() {
            for k in 1..=n {
                best[i][k] = best[i][k - 1].min(best[i - 1][k - 1] + cost(i - 1, k - 1));
            }
        }
        let total = best[inside.len()][n];
        let (mut i, mut k, mut taken) = (inside.len(), n, vec![]);
        while i > 0 {
            if best[i][k] == best[i][k - 1] {
                k -= 1;
            } else {
                (i, k) = (i - 1, k - 1);
                taken.push(k as i64);
            }
        }
        taken.reverse();
        total.is_finite().then_some((total, taken))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FOUR: Meter = Meter { count: 4, unit: 4 };

    fn places(grid: &Grid, onsets: &[f64]) -> Vec<Place> {
        grid.places(onsets).iter().map(|p| p.0).collect()
    }

    #[test]
    fn sixteenths_played_loosely_and_late() {
        let grid = Grid::steady(96.0, 0.5, 20.0, FOUR, None).unwrap();
        let slot = 60.0 / 96.0 / 4.0;
        let wobble = [0.012, -0.015, 0.02, -0.018, 0.004];
        let slots = [0, 2, 3, 5, 6, 8, 11, 12, 14, 15, 16, 19, 21, 22, 24];
        let onsets: Vec<f64> = slots.iter().zip(wobble.iter().cycle()).map(|(s, w)| 0.5 + 0.02 + f64::from(*s) * slot + w).collect();
        assert_eq!(places(&grid, &onsets), slots.map(|s| Beats::new(i64::from(s), 4)));
    }

    #[test]
    fn triplets_and_halved_slots() {
        let grid = Grid::steady(90.0, 0.0, 20.0, FOUR, None).unwrap();
        let wanted = [(0, 1), (1, 3), (2, 3), (1, 1), (5, 4), (11, 8), (3, 2), (7, 4), (2, 1)].map(|(a, b)| Beats::new(a, b));
        let onsets: Vec<f64> = wanted.iter().map(|p| (*p.numer() as f64 / *p.denom() as f64) * 60.0 / 90.0 + 0.001).collect();
        assert_eq!(places(&grid, &onsets), wanted);
    }

    #[test]
    fn swung_sixteenths_are_no_triplets() {
        let swing = Swing { percent: 62.0, unit: Beats::new(1, 4) };
        let grid = Grid::steady(92.0, 0.0, 20.0, FOUR, Some(swing)).unwrap();
        let onsets: Vec<f64> = (0..16).map(|k| grid.time(grid.swung_beats(Beats::new(k, 4)))).collect();
        assert_eq!(places(&grid, &onsets), (0..16).map(|k| Beats::new(k, 4)).collect::<Vec<_>>());
        assert!(grid.places(&onsets).iter().all(|p| p.1.abs() < 1e-9));
    }

    #[test]
    fn a_swing_that_nobody_plays_is_dropped() {
        let heard = Swing { percent: 66.0, unit: Beats::new(1, 2) };
        let grid = Grid::steady(95.0, 0.0, 20.0, FOUR, Some(heard)).unwrap();
        // Third and fourth sixteenths in turns, and the same a little late; then what is swung indeed.
        let straight: Vec<f64> = (0..8).flat_map(|b| [4 * b + 2 + b % 2, 4 * b + 4]).map(|k| grid.time(f64::from(k) / 4.0) + 0.01).collect();
        assert_eq!(grid.clone().swung_as(&straight).swing, None);
        let swung: Vec<f64> = (0..16).map(|k| grid.time(grid.swung_beats(Beats::new(k, 2)))).collect();
        assert_eq!(grid.clone().swung_as(&swung).swing, Some(heard));
        assert_eq!(grid.swung_as(&[]).swing, None);
    }

    #[test]
    fn dotted_beats_have_six_slots() {
        let grid = Grid::steady(60.0, 1.0, 20.0, Meter { count: 6, unit: 8 }, None).unwrap();
        assert_eq!(grid.slots_per_beat(), 6);
        let onsets = [1.0, 1.0 + 1.0 / 3.0, 1.5, 2.0 + 1.0 / 6.0];
        assert_eq!(places(&grid, &onsets), [Beats::new(0, 1), Beats::new(1, 3), Beats::new(1, 2), Beats::new(7, 6)]);
    }

    #[test]
    fn more_strokes_than_any_division_holds() {
        let grid = Grid::steady(60.0, 0.0, 20.0, FOUR, None).unwrap();
        let onsets: Vec<f64> = (0..40).map(|k| f64::from(k) * 0.01).collect();
        assert_eq!(grid.places(&onsets).len(), 40);
        assert!(Grid::steady(f64::NAN, 0.0, 1.0, FOUR, None).is_none());
        assert!(Grid::heard(vec![1.0, 1.0], 0, FOUR, None).is_none());
        assert!(Grid::heard(vec![], 0, FOUR, None).is_none());
    }
}
