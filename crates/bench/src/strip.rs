//! A strip of the record under a finding: what sounds, row by row of half semitones, with the written notes drawn over it and the heard ones ringed.
//!
//! # Method
//! Spectra of Hann windows of 186 ms every 23 ms; the power of each bin is laid where the bin's own phase says that it comes from (F. Auger and P. Flandrin, "Improving
//! the readability of time-frequency and time-scale representations by the reassignment method", IEEE Trans. Signal Processing 43(5), 1995, along the frequency
//! alone), so that a low note is one line and not a smear. Rows follow the record's own pitch reference. Ink in six steps of 7 dB under the strip's loudest row.

use check::{Checked, Finding, FindingKind, Score, ScoreNote};
use lesson::{Kind, Passage};
use maud::{Markup, PreEscaped, html};
use std::f64::consts::TAU;
use wave::fft::{Fft, hann};
use wave::{Buffer, Seconds};

const RATE_HZ: u32 = 22_050;
const SIZE: usize = 4_096;
const HOP: usize = 512;
/// Rows a semitone.
const FINE: i32 = 2;
const LEVELS: usize = 6;
const STEP_DB: f32 = 7.0;
/// Longest stretch that is drawn, seconds.
const LONGEST_S: f64 = 12.0;

/// Height of a semitone, margins and width of the drawing, in its own units.
const SEMITONE: f64 = 10.0;
const LEFT: f64 = 34.0;
const TOP: f64 = 8.0;
const RIGHT: f64 = 8.0;
const FOOT: f64 = 22.0;
const WIDTH: f64 = 720.0;

/// Where written time lies in the record.
pub struct Clock<'a> {
    grid: &'a [(f64, f64)],
    start_s: f64,
    stretch: f64,
}

impl<'a> Clock<'a> {
    pub fn of(checked: &'a Checked) -> Clock<'a> {
        Clock { grid: &checked.grid, start_s: checked.starts_s.first().copied().unwrap_or(0.0), stretch: checked.stretch }
    }

    /// Seconds of the record at written seconds from the passage's beginning.
    pub fn heard(&self, written_s: f64) -> f64 {
        let after = self.grid.partition_point(|g| g.0 <= written_s);
        match (after.checked_sub(1).and_then(|i| self.grid.get(i)), self.grid.get(after)) {
            (Some(a), Some(b)) if b.0 > a.0 => a.1 + (b.1 - a.1) * (written_s - a.0) / (b.0 - a.0),
            (Some(a), _) => a.1 + (written_s - a.0) * self.stretch,
            (None, Some(b)) => b.1 - (b.0 - written_s) * self.stretch,
            (None, None) => self.start_s + written_s * self.stretch,
        }
    }
}

/// The bars that are played for a finding, as indices from and to (not held any more), and where they begin in the record, the end last. Its own bar and the nearer
/// neighbour, so that it lies in the middle.
pub fn bars_around(passage: &Passage, checked: &Checked, finding: &Finding) -> (usize, usize, Vec<f64>) {
    let own = passage.bars.iter().position(|b| b.number == finding.bar).unwrap_or(0);
    let late = passage.bars.get(own).is_some_and(|b| finding.beat - 1.0 > f64::from(b.meter.beats()) / 2.0 - 0.01);
    let (from, to) = match (late && own + 1 < passage.bars.len(), own) {
        (true, _) => (own, own + 2),
        (false, 0) => (0, passage.bars.len().min(2)),
        (false, _) => (own - 1, own + 1),
    };
    let (starts, clock) = (passage.bar_starts(), Clock::of(checked));
    (from, to, starts.get(from..=to).unwrap_or_default().iter().map(|s| clock.heard(*s)).collect())
}

/// The strip of the bar in which a finding shows, a beat more on either side. A record that is silent there gives a strip without ink.
pub fn strip(passage: &Passage, checked: &Checked, finding: &Finding, record: &Buffer) -> Markup {
    let score = Score::of(passage);
    let clock = Clock::of(checked);
    let index = passage.bars.iter().position(|b| b.number == finding.bar).unwrap_or(0);
    let Some(bar) = score.bars.get(index) else { return html! {} };
    let beat = bar.length_s / bar.beats.max(1.0);
    let (from, to) = ((clock.heard(bar.start_s - beat)).max(0.0), clock.heard(bar.start_s + bar.length_s + beat).min(record.duration().0));
    let to = to.min(from + LONGEST_S);
    if to <= from {
        return html! { p.quiet { "The record is over there." } };
    }
    let own = score.parts.iter().position(|p| Some(&p.name) == finding.part.as_ref());
    let notes_of = |n: usize| score.parts[n].notes.iter().filter(|n| {
        let at = clock.heard(n.at_s);
        at < to && at + n.length_s * checked.stretch > from
    });
    // Of a fault that no part has alone, all pitched parts are drawn as its own.
    let chosen: Vec<usize> = (0..score.parts.len()).filter(|n| own.map_or(score.parts[*n].is_pitched(), |o| o == *n)).collect();
    let shown: Vec<&ScoreNote> = chosen.iter().flat_map(|n| notes_of(*n)).collect();
    let heard: Vec<(f64, i32)> = own.and_then(|o| checked.parts.get(o)).map_or(vec![], |p| {
        let better = p.notes.iter().filter(|n| !n.waved).filter_map(|n| n.better.map(|b| (n.time_s, b)));
        better.chain(p.unwritten.iter().map(|u| (u.time_s, u.midi))).filter(|h| (from..to).contains(&h.0)).collect()
    });
    let pitches = shown.iter().filter(|n| !n.unpitched).map(|n| n.midi).chain(heard.iter().map(|h| h.1)).chain(finding.suggested.filter(|_| !matches!(finding.kind, FindingKind::Whole(_))));
    let (mut low, mut high) = pitches.fold((i32::MAX, i32::MIN), |(l, h), m| (l.min(m), h.max(m)));
    if low > high {
        (low, high) = (45, 64);
    }
    (low, high) = ((low - 3).max(20), (high + 4).min(112));
    while high - low < 19 {
        (low, high) = ((low - 1).max(20), high + 1);
    }
    let rows = ((high - low + 1) * FINE) as usize;
    let cells = sounding(record, from, to, low, rows, checked.cents.unwrap_or(0.0));
    let columns = cells.len().max(1);
    let (plot_w, plot_h) = (WIDTH - LEFT - RIGHT, f64::from(high - low + 1) * SEMITONE);
    let x = |t: f64| LEFT + ((t - from) / (to - from)).clamp(0.0, 1.0) * plot_w;
    // The middle of a pitch's rows.
    let y = |midi: i32| TOP + (f64::from(high - midi) + 0.5) * SEMITONE;
    let height = TOP + plot_h + FOOT;
    let n1 = |v: f64| format!("{:.1}", v);
    let name = |midi: i32| check::note_name(score.key, midi);
    let is_it = |n: &ScoreNote| {
        finding.part.is_some() && score.bars.get(n.bar).is_some_and(|b| b.number == finding.bar) && n.slot == finding.slot && (finding.string.is_none() || n.place.map(|p| p.0) == finding.string) && finding.written.is_none_or(|w| w == n.midi || n.unpitched)
    };
    let label = format!("What sounds in the record around bar {}, with the written notes as boxes and the heard ones ringed", finding.bar);
    let named: Vec<i32> = shown.iter().filter(|n| !n.unpitched).map(|n| n.midi).chain(heard.iter().map(|h| h.1)).collect();
    html! {
        svg.strip viewBox={ "0 0 " (WIDTH) " " (n1(height)) } role="img" aria-label=(label) {
            rect.ground x=(LEFT) y=(TOP) width=(n1(plot_w)) height=(n1(plot_h)) {}
            g.sounds shape-rendering="crispEdges" transform={ "translate(" (LEFT) " " (TOP) ") scale(" (format!("{:.4} {:.4}", plot_w / columns as f64, SEMITONE / f64::from(FINE))) ")" } {
                (PreEscaped(ink(&cells, rows)))
            }
            @for m in low..=high {
                @let natural = matches!(m.rem_euclid(12), 0 | 2 | 4 | 5 | 7 | 9 | 11);
                @if named.contains(&m) { text.pitch.named x=(LEFT - 5.0) y=(n1(y(m) + 3.4)) text-anchor="end" { (name(m)) } }
                @else if natural && !named.contains(&(m - 1)) && !named.contains(&(m + 1)) { text.pitch x=(LEFT - 5.0) y=(n1(y(m) + 3.2)) text-anchor="end" { (name(m)) } }
            }
            @for b in &score.bars {
                @for k in 0..b.beats.ceil().max(1.0) as u32 {
                    @let at = clock.heard(b.start_s + f64::from(k) * b.length_s / b.beats.max(1.0));
                    @if (from - 1e-6..to).contains(&at) {
                        line.beat.bar[k == 0] x1=(n1(x(at))) x2=(n1(x(at))) y1=(TOP) y2=(n1(TOP + plot_h + 4.0)) {}
                        text.place x=(n1(x(at) + 3.0)) y=(n1(TOP + plot_h + 15.0)) { (b.number) "." (k + 1) }
                    }
                }
            }
            @for n in (0..score.parts.len()).filter(|n| !chosen.contains(n) && score.parts[*n].is_pitched()).flat_map(notes_of) {
                @if !n.unpitched && (low..=high).contains(&n.midi) {
                    @let at = clock.heard(n.at_s);
                    line.others x1=(n1(x(at))) x2=(n1(x(at + n.length_s * checked.stretch))) y1=(n1(y(n.midi))) y2=(n1(y(n.midi))) {}
                }
            }
            @for n in &shown {
                @let at = clock.heard(n.at_s);
                @if n.unpitched {
                    text.scratch.it[is_it(n)] x=(n1(x(at))) y=(n1(TOP + plot_h - 3.0)) text-anchor="middle" { "x" }
                } @else {
                    @let wide = (x(at + n.length_s * checked.stretch) - x(at)).max(3.0);
                    rect.written.it[is_it(n)] x=(n1(x(at))) y=(n1(y(n.midi) - SEMITONE / 2.0)) width=(n1(wide)) height=(SEMITONE) rx="2" {}
                    @if let Some((s, f)) = n.place { text.fret x=(n1(x(at) + 2.5)) y=(n1(y(n.midi) + 3.2)) { (s) ":" (f) } }
                }
            }
            @for (t, m) in &heard { ellipse.heard cx=(n1(x(*t) + 7.0)) cy=(n1(y(*m))) rx="9" ry="6.5" {} }
            @if finding.part.is_some() && !matches!(finding.kind, FindingKind::Whole(_)) {
                @let at = x(finding.time_s);
                path.here d=(format!("M{0:.1} {1:.1}l-5 8h10z", at, TOP + plot_h + 0.5)) {}
                @if let Some(m) = finding.suggested.filter(|m| (low..=high).contains(m)) {
                    ellipse.heard.it cx=(n1(at + 7.0)) cy=(n1(y(m))) rx="10" ry="7.5" {}
                    text.said x=(n1(at + 20.0)) y=(n1(y(m) + 3.6)) { (name(m)) }
                }
            }
        }
    }
}

/// What the parts of the strip mean, in words.
pub fn legend(passage: &Passage, finding: &Finding) -> String {
    let drums = passage.parts.iter().any(|p| Some(&p.name) == finding.part.as_ref() && p.kind == Kind::Drums);
    let boxes = if drums { "x: a written stroke" } else { "boxes: written notes, by string and fret; x: a scratch" };
    format!("ink: all that sounds in the record; {boxes}; heavy: what the finding speaks of; rings: heard; grey lines: written in other parts; figures at the foot: bar and beat")
}

/// Level of ink, 0 to [`LEVELS`], of each row (from the top) in each column of time.
fn sounding(record: &Buffer, from: f64, to: f64, low: i32, rows: usize, cents: f64) -> Vec<Vec<u8>> {
    let edge = SIZE as f64 / f64::from(RATE_HZ);
    let start = (from - edge).max(0.0);
    let cut = record.slice_time(Seconds(start)..Seconds(to + edge)).mono();
    let Ok(heard) = wave::resample(&cut, RATE_HZ) else { return vec![] };
    let samples = heard.channel(0);
    let columns = (((to - from) * f64::from(RATE_HZ) / HOP as f64).ceil() as usize).max(1);
    let window = hann(SIZE);
    let slope: Vec<f32> = (0..SIZE).map(|n| (TAU / 2.0 / SIZE as f64 * (TAU * n as f64 / SIZE as f64).sin()) as f32).collect();
    let (mut fft, mut re, mut im) = (Fft::new(SIZE), vec![0f32; SIZE], vec![0f32; SIZE]);
    let reference = 440.0 * 2f64.powf(cents / 1200.0);
    let mut power = vec![vec![0f32; rows]; columns];
    for (c, column) in power.iter_mut().enumerate() {
        let middle = ((from - start) * f64::from(RATE_HZ)) as i64 + (c * HOP) as i64;
        for n in 0..SIZE {
            let at = middle - SIZE as i64 / 2 + n as i64;
            let s = usize::try_from(at).ok().and_then(|i| samples.get(i)).copied().filter(|s| s.is_finite()).unwrap_or(0.0);
            (re[n], im[n]) = (s * window[n], s * slope[n]);
        }
        fft.forward(&mut re, &mut im);
        for k in 4..SIZE / 2 {
            // Both real signals out of one transform.
            let (zr, zi, yr, yi) = (re[k], im[k], re[SIZE - k], im[SIZE - k]);
            let (xr, xi) = ((zr + yr) / 2.0, (zi - yi) / 2.0);
            let (dr, di) = ((zi + yi) / 2.0, (yr - zr) / 2.0);
            let p = xr * xr + xi * xi;
            if p <= 1e-12 {
                continue;
            }
            let turned = f64::from((di * xr - dr * xi) / p);
            let hz = (TAU * k as f64 / SIZE as f64 - turned) * f64::from(RATE_HZ) / TAU;
            if hz < 20.0 {
                continue;
            }
            let midi = 69.0 + 12.0 * (hz / reference).log2();
            let row = ((midi - f64::from(low) + 0.5) * f64::from(FINE)).floor();
            if row >= 0.0 && row < rows as f64 {
                column[rows - 1 - row as usize] += p;
            }
        }
    }
    let most = power.iter().flatten().copied().fold(0f32, f32::max);
    if most < 1e-6 {
        return vec![vec![0; rows]; columns];
    }
    let level = |p: f32| {
        let under = 10.0 * (most / p.max(1e-20)).log10() / STEP_DB;
        (LEVELS as f32 - under).ceil().clamp(0.0, LEVELS as f32) as u8
    };
    power.into_iter().map(|column| column.into_iter().map(level).collect()).collect()
}

/// The levels as one path each, a run of columns of one level as one box.
fn ink(cells: &[Vec<u8>], rows: usize) -> String {
    let mut paths = vec![String::new(); LEVELS];
    for row in 0..rows {
        let mut c = 0;
        while c < cells.len() {
            let level = cells[c][row];
            let end = (c..cells.len()).find(|e| cells[*e][row] != level).unwrap_or(cells.len());
            if level > 0 {
                let w = end - c;
                paths[usize::from(level) - 1].push_str(&format!("M{c} {row}h{w}v1h-{w}z"));
            }
            c = end;
        }
    }
    paths.iter().enumerate().filter(|(_, d)| !d.is_empty()).map(|(l, d)| format!("<path class=\"level-{}\" d=\"{d}\"/>", l + 1)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(midi: f64, cents: f64, seconds: f64) -> Buffer {
        let hz = 440.0 * 2f64.powf((midi - 69.0) / 12.0 + cents / 1200.0);
        Buffer::from_mono(48_000, (0..(48_000.0 * seconds) as usize).map(|n| 0.3 * (TAU * hz * n as f64 / 48_000.0).sin() as f32).collect()).unwrap()
    }

    /// Rows that carry the most ink, as pitches.
    fn darkest(cells: &[Vec<u8>], low: i32, rows: usize) -> f64 {
        let middle = &cells[cells.len() / 2];
        let most = *middle.iter().max().unwrap();
        let at: Vec<usize> = (0..rows).filter(|r| middle[*r] == most).collect();
        f64::from(low) - 0.25 + (rows - 1 - at[at.len() / 2]) as f64 / f64::from(FINE)
    }

    #[test]
    fn a_tone_lies_in_its_own_row_low_ones_too() {
        for midi in [28, 40, 41, 55, 64, 79] {
            let cells = sounding(&tone(f64::from(midi) + 0.1, 0.0, 1.0), 0.2, 0.8, 20, 160, 0.0);
            let found = darkest(&cells, 20, 160);
            assert!((found - (f64::from(midi) + 0.25)).abs() < 0.01, "{midi}: {found}");
            // A pure tone is one line: no ink of the upper levels a semitone away.
            let middle = &cells[cells.len() / 2];
            let inked = middle.iter().filter(|l| usize::from(**l) >= LEVELS - 2).count();
            assert!(inked <= 3, "{midi}: {inked} rows");
        }
    }

    #[test]
    fn rows_follow_the_records_pitch() {
        // 40 cents flat lies in the row below, and in its own where the reference is known.
        let flat = tone(60.1, -40.0, 1.0);
        assert!(darkest(&sounding(&flat, 0.2, 0.8, 40, 80, 0.0), 40, 80) < 60.0);
        assert!((darkest(&sounding(&flat, 0.2, 0.8, 40, 80, -40.0), 40, 80) - 60.25).abs() < 0.01);
    }

    #[test]
    fn silence_has_no_ink_and_runs_are_boxes() {
        let none = sounding(&Buffer::silence(48_000, 2, 48_000).unwrap(), 0.0, 1.0, 40, 40, 0.0);
        assert!(none.iter().flatten().all(|l| *l == 0) && !none.is_empty());
        assert_eq!(ink(&none, 40), "");
        assert_eq!(ink(&[vec![0, 6], vec![2, 6], vec![2, 0]], 2), "<path class=\"level-2\" d=\"M1 0h2v1h-2z\"/><path class=\"level-6\" d=\"M0 1h2v1h-2z\"/>");
    }

    #[test]
    fn written_time_follows_the_grid_and_goes_on_beyond_it() {
        let checked = Checked { grid: vec![(0.0, 10.0), (1.0, 11.5), (2.0, 12.5)], stretch: 1.25, ..Checked::default() };
        let clock = Clock::of(&checked);
        for (written, heard) in [(0.0, 10.0), (0.5, 10.75), (1.5, 12.0), (2.0, 12.5), (4.0, 15.0), (-1.0, 8.75)] {
            assert!((clock.heard(written) - heard).abs() < 1e-9, "{written}");
        }
        let bare = Checked { starts_s: vec![3.0], stretch: 1.0, ..Checked::default() };
        assert_eq!(Clock::of(&bare).heard(2.0), 5.0);
    }
}
