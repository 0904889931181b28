//! The way a note's pitch takes: bends, slides over the frets, hammered and pulled beginnings, vibrato.

/// Vibrato: how often a second.
const VIBRATO_HZ: f64 = 5.4;
/// It begins after this long and is full after twice as long, seconds.
const VIBRATO_AFTER_S: f64 = 0.16;
/// No bend takes longer than this to arrive, seconds.
const BEND_S: f64 = 0.22;
/// No slide takes longer than this, seconds.
const SLIDE_S: f64 = 0.16;

/// Pitch over time, in semitones from where the note's name says, straight between points.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Course {
    /// Seconds from the onset, rising, and semitones. Before the first and after the last point the pitch stands.
    points: Vec<(f64, f64)>,
    /// Swing of the vibrato to either side, semitones.
    vibrato: f64,
}

impl Course {
    /// The pitch at `t_s` seconds from the onset.
    pub fn at(&self, t_s: f64) -> f64 {
        let i = self.points.partition_point(|p| p.0 <= t_s);
        let level = match (i.checked_sub(1).map(|i| self.points[i]), self.points.get(i).copied()) {
            (Some((t0, a)), Some((t1, b))) => a + (b - a) * (t_s - t0) / (t1 - t0),
            (Some((_, a)), None) | (None, Some((_, a))) => a,
            (None, None) => 0.0,
        };
        level + self.vibrato_at(t_s)
    }

    fn vibrato_at(&self, t_s: f64) -> f64 {
        if self.vibrato == 0.0 || t_s <= VIBRATO_AFTER_S {
            return 0.0;
        }
        let t = t_s - VIBRATO_AFTER_S;
        self.vibrato * (t / VIBRATO_AFTER_S).min(1.0) * libm::sin(std::f64::consts::TAU * VIBRATO_HZ * t)
    }

    /// Whether the pitch stands still from `t_s` on.
    pub fn rests_from(&self, t_s: f64) -> bool {
        self.vibrato == 0.0 && self.points.last().is_none_or(|p| p.0 <= t_s)
    }

    /// Whether the pitch is the same all through `from_s..to_s`.
    pub fn rests_in(&self, from_s: f64, to_s: f64) -> bool {
        if self.vibrato != 0.0 && to_s > VIBRATO_AFTER_S {
            return false;
        }
        let i = self.points.partition_point(|p| p.0 <= from_s);
        match (i.checked_sub(1).map(|i| self.points[i]), self.points.get(i)) {
            (_, None) => true,
            (None, Some(next)) => next.0 >= to_s,
            (Some(last), Some(next)) => last.1 == next.1 && next.0 >= to_s,
        }
    }

    /// Where the pitch stands last, vibrato left aside.
    pub fn last(&self) -> f64 {
        self.points.last().map_or(0.0, |p| p.1)
    }

    /// Adds vibrato of so many semitones to either side.
    pub fn shake(&mut self, semitones: f64) {
        self.vibrato = semitones;
    }

    /// Moves evenly and softly from where the pitch stands to `to`, arriving at `arrive_s`, having left at `leave_s` or later.
    pub fn bend(&mut self, leave_s: f64, arrive_s: f64, to: f64) {
        let from = self.last();
        let leave = leave_s.max(arrive_s - BEND_S).max(self.end_s());
        self.glide(leave, arrive_s, (from, to));
    }

    /// From one pitch to the other without a bend in the way: a string whose length changes abruptly sounds as if it were struck.
    fn glide(&mut self, leave_s: f64, arrive_s: f64, pitches: (f64, f64)) {
        self.push(leave_s, pitches.0);
        const STEPS: u32 = 8;
        for i in 1..=STEPS {
            let u = f64::from(i) / f64::from(STEPS);
            self.push(leave_s + (arrive_s - leave_s) * u, pitches.0 + (pitches.1 - pitches.0) * u * u * (3.0 - 2.0 * u));
        }
    }

    /// Slides fret by fret from where the pitch stands to `to`, arriving at `arrive_s`, having left at `leave_s` or later. Each fret is heard: the
    /// finger stops the string behind it, then the next.
    pub fn slide(&mut self, leave_s: f64, arrive_s: f64, to: f64) {
        let from = self.last();
        let frets = libm::round((to - from).abs()).max(1.0);
        let leave = leave_s.max(arrive_s - SLIDE_S.min(0.05 + 0.03 * frets)).max(self.end_s());
        let step_s = (arrive_s - leave) / frets;
        let mut t = leave;
        for i in 1..=frets as u32 {
            let here = self.last();
            let there = from + (to - from) * f64::from(i) / frets;
            self.glide(t + step_s * 0.3, t + step_s, (here, there));
            t += step_s;
        }
    }

    /// Begins at `from` and is at the written pitch after `s` seconds.
    pub fn begin(&mut self, from: f64, s: f64) {
        self.points = vec![(0.0, from), (s, 0.0)];
    }

    /// Stands at `at` from the beginning.
    pub fn begin_at(&mut self, at: f64) {
        self.points = vec![(0.0, at)];
    }

    fn end_s(&self) -> f64 {
        self.points.last().map_or(0.0, |p| p.0)
    }

    fn push(&mut self, t_s: f64, semitones: f64) {
        match self.points.last_mut() {
            Some(last) if t_s <= last.0 => last.1 = semitones,
            _ => self.points.push((t_s, semitones)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bends_arrive_when_they_should_and_let_down() {
        let mut c = Course::default();
        c.bend(0.0, 0.5, 2.0);
        c.bend(0.5, 1.0, 0.0);
        assert_eq!((c.at(0.0), c.at(0.2)), (0.0, 0.0));
        assert!(c.at(0.4) > 0.5 && c.at(0.4) < 2.0);
        assert_eq!(c.at(0.5), 2.0);
        assert_eq!(c.at(0.7), 2.0);
        assert_eq!(c.at(1.5), 0.0);
        assert!(c.rests_from(1.0) && !c.rests_from(0.9));
        assert!(c.rests_in(0.0, 0.25) && c.rests_in(0.55, 0.7) && !c.rests_in(0.7, 0.9));
    }

    #[test]
    fn slides_stop_at_every_fret() {
        let mut c = Course::default();
        c.slide(0.0, 0.2, 3.0);
        let seen: Vec<f64> = (0..200).map(|i| c.at(f64::from(i) * 0.001)).collect();
        for fret in [0.0, 1.0, 2.0] {
            let stays = seen.iter().filter(|s| (**s - fret).abs() < 1e-9).count();
            assert!(stays > 10, "{fret}: {stays}");
        }
        assert_eq!(c.at(0.2), 3.0);
    }

    #[test]
    fn a_bend_that_is_there_from_the_beginning() {
        let mut c = Course::default();
        c.begin_at(2.0);
        assert_eq!((c.at(0.0), c.at(3.0)), (2.0, 2.0));
        c.bend(0.3, 0.6, 0.0);
        assert_eq!((c.at(0.2), c.at(0.6)), (2.0, 0.0));
    }

    #[test]
    fn vibrato_begins_late_and_stays_in_its_bounds() {
        let mut c = Course::default();
        c.shake(0.2);
        assert_eq!(c.at(0.1), 0.0);
        let most = (0..2000).map(|i| c.at(f64::from(i) * 0.001)).fold(0.0, f64::max);
        assert!(most > 0.19 && most <= 0.2);
        assert!(!c.rests_from(5.0) && c.rests_in(0.0, 0.1) && !c.rests_in(0.0, 0.3));
    }
}
