//! Where each written stroke lies in a stretch of record.
//!
//! # Method
//! Record and score are brought to the same features, chroma and the chroma of what begins (S. Ewert, M. Müller and P. Grosche, "High resolution audio synchronization using
//! chroma onset features", ICASSP 2009). A search over start and tempo gives a straight line, a path near it whose tempo changes by little follows the drift, and a
//! Viterbi path over the strokes puts each on a rise of its own partials, kept together by how far apart they are written. What comes out are two
//! things: the strokes' own times, and the grid: a smooth curve through them that carries written to heard time.

use crate::score::Score;
use crate::spectra::{Lens, Panorama, Place, RATE_HZ, Sound};

/// A frame of the coarse features, samples.
const HOP: usize = 512;
const SIZE: usize = 4_096;
/// A frame of the onset features, samples (5.8 ms), and their window.
const FINE: usize = 128;
const FINE_SIZE: usize = 1_024;
const FINE_BINS: usize = 300;
const DIMS: usize = 25;

/// Where the score lies.
#[derive(Clone, Debug)]
pub(crate) struct Alignment {
    /// For each group of written notes that begin together: written and heard seconds, rising.
    pub strokes: Vec<Stroke>,
    /// Points of the grid: written and heard seconds, rising.
    pub grid: Vec<(f64, f64)>,
    /// How alike record and score are along the path, beside how alike they are elsewhere: 0 chance, 1 and more sure.
    pub sure: f64,
    /// Semitones that the record lies above the score.
    pub semitones: i32,
    /// Heard length over written length.
    pub stretch: f64,
    /// Onsets that are heard, seconds, and how strong.
    pub onsets: Vec<(f64, f32)>,
}

/// Written notes that begin together, over all parts.
#[derive(Clone, Debug)]
pub(crate) struct Stroke {
    pub written_s: f64,
    pub heard_s: f64,
    /// How strong an onset was found there: 1 is usual in this record, 0 none.
    pub strength: f32,
}

impl Alignment {
    /// Heard time of a written time.
    pub fn heard(&self, written_s: f64) -> f64 {
        line(&self.grid, written_s)
    }

    /// Written time of a heard time.
    pub fn written(&self, heard_s: f64) -> f64 {
        let turned: Vec<(f64, f64)> = self.grid.iter().map(|(w, h)| (*h, *w)).collect();
        line(&turned, heard_s)
    }

    /// The share of strokes on an onset.
    pub fn found(&self) -> f64 {
        self.strokes.iter().filter(|s| s.strength > 0.25).count() as f64 / self.strokes.len().max(1) as f64
    }

    /// The strokes written at other times in the same order, as when the score was swung for the search.
    pub fn written_at(mut self, score: &Score) -> Option<Alignment> {
        let times = groups(score);
        if times.len() != self.strokes.len() {
            return None;
        }
        self.strokes.iter_mut().zip(times).for_each(|(s, t)| s.written_s = t);
        Some(self)
    }

    /// The stroke written at a time.
    pub fn stroke(&self, written_s: f64) -> Option<&Stroke> {
        let n = self.strokes.partition_point(|s| s.written_s < written_s - 1e-4);
        self.strokes.get(n).filter(|s| (s.written_s - written_s).abs() < 2e-3)
    }
}

/// A straight line between points, on beyond the first and last by the slope of the ends.
fn line(points: &[(f64, f64)], x: f64) -> f64 {
    match points {
        [] => x,
        [one] => one.1 + x - one.0,
        _ => {
            let n = points.partition_point(|p| p.0 <= x).clamp(1, points.len() - 1);
            let (a, b) = (points[n - 1], points[n]);
            if b.0 - a.0 < 1e-9 { a.1 } else { a.1 + (x - a.0) * (b.1 - a.1) / (b.0 - a.0) }
        }
    }
}

/// What is known beforehand.
#[derive(Clone, Debug, Default)]
pub(crate) struct Known {
    /// Where in the sound the passage should begin, seconds, and how far off that may be.
    pub start_s: f64,
    pub start_within_s: f64,
    /// Points of the grid that the teacher fixed: written and heard seconds. One fixes the start, more the tempo too.
    pub pins: Vec<(f64, f64)>,
    /// Semitones that the record lies above the score, where that is not to be looked for.
    pub turned: Option<usize>,
}

/// A sound as the alignment sees it: made once, however often a score is laid along it.
pub(crate) struct Seen {
    features: Features,
    pub fine: Fine,
    onsets: Vec<(f64, f32)>,
    cents: f64,
    end_s: f64,
}

impl Seen {
    /// `cents` is the record's pitch against concert pitch.
    pub fn new(sound: &Sound, cents: f64) -> Seen {
        let mut features = record_features(sound, cents);
        features.truncate((sound.end_s * f64::from(RATE_HZ) / HOP as f64) as usize + 2);
        let fine = Fine::new(sound);
        let onsets = fine.onsets();
        Seen { features, fine, onsets, cents, end_s: sound.end_s }
    }
}

/// Aligns a score with a sound. `None` where the score has no notes.
pub(crate) fn align(seen: &Seen, score: &Score, known: &Known) -> Option<Alignment> {
    let groups = groups(score);
    if groups.is_empty() {
        return None;
    }
    let Seen { fine, onsets, cents, end_s, .. } = seen;
    let seconds = HOP as f64 / f64::from(RATE_HZ);
    let written = score_features(score, seconds);
    let coarse = if known.pins.len() > 1 {
        Coarse { grid: known.pins.clone(), semitones: 0, sure: 1.0, stretch: 1.0 }
    } else {
        coarse(seen, score, &groups, &written, known, seconds)
    };
    let fixed = known.pins.len() > 1;
    let rough: Vec<f64> = groups.iter().map(|w| line(&coarse.grid, *w)).collect();
    let strokes_near = |rough: &[f64]| -> Vec<Stroke> {
        let found = fine.place(score, &groups, rough, coarse.semitones, *cents, fixed);
        groups.iter().zip(found).map(|(w, (h, s))| Stroke { written_s: *w, heard_s: h, strength: s }).collect()
    };
    let mut strokes = strokes_near(&rough);
    if !fixed {
        // Once more from the curve through what was found: the warped path strays where little sounds.
        let clear: Vec<Stroke> = strokes.iter().filter(|s| s.strength > 0.25 && s.heard_s < *end_s).cloned().collect();
        if clear.len() >= 4 {
            let curve = smooth(&clear, score.length_s);
            let again = strokes_near(&groups.iter().map(|w| line(&curve, *w)).collect::<Vec<f64>>());
            let count = |all: &[Stroke]| all.iter().filter(|s| s.strength > 0.25).count();
            if count(&again) >= count(&strokes) {
                strokes = again;
            }
        }
    }
    // What lies behind the record's end says nothing of its time.
    let within: Vec<Stroke> = strokes.iter().filter(|s| s.heard_s < *end_s).cloned().collect();
    let grid = if fixed { coarse.grid } else { smooth(if within.is_empty() { &strokes } else { &within }, score.length_s) };
    let span = |g: &[(f64, f64)]| match (g.first(), g.last()) {
        (Some(a), Some(b)) if b.0 - a.0 > 0.5 => (b.1 - a.1) / (b.0 - a.0),
        _ => coarse.stretch,
    };
    let stretch = span(&grid);
    Some(Alignment { strokes, grid, sure: coarse.sure, semitones: coarse.semitones, stretch, onsets: onsets.clone() })
}

/// Times at which notes are written, over all parts.
fn groups(score: &Score) -> Vec<f64> {
    let mut groups: Vec<f64> = score.parts.iter().flat_map(|p| p.notes.iter().map(|n| n.at_s)).collect();
    groups.sort_by(f64::total_cmp);
    groups.dedup_by(|a, b| *a - *b < 1e-3);
    groups
}

/// Chroma (12), chroma of what begins (12), onset (1), frame by frame.
type Features = Vec<[f32; DIMS]>;

fn record_features(sound: &Sound, cents: f64) -> Features {
    let mut lens = Lens::new();
    let frames = sound.middle.len() / HOP + 1;
    let class: Vec<Option<usize>> = (0..=SIZE / 2)
        .map(|b| {
            let hz = b as f64 * f64::from(RATE_HZ) / SIZE as f64;
            (hz > 75.0 && hz < 2_100.0).then(|| ((12.0 * libm::log2(hz / 440.0) + 69.0 - cents / 100.0).round() as i64).rem_euclid(12) as usize)
        })
        .collect();
    let mut spectrum = Vec::new();
    let mut before = [0.0f32; 12];
    let mut out: Features = Vec::with_capacity(frames);
    let scale = (30.0 / sound.rms) as f32;
    for f in 0..frames {
        lens.look(sound, Place { seat: None }, (f * HOP) as i64 - (SIZE / 2) as i64, SIZE, &mut spectrum);
        let mut level = [0.0f32; 12];
        for (b, c) in class.iter().enumerate() {
            // Only peaks: between them a bin belongs to two notes.
            if let (Some(c), true) = (c, b > 0 && b < SIZE / 2 && spectrum[b] >= spectrum[b - 1] && spectrum[b] >= spectrum[b + 1]) {
                level[*c] += spectrum[b] * spectrum[b];
            }
        }
        let level = level.map(|l| libm::log1pf(scale * l.sqrt()));
        let mut row = [0.0f32; DIMS];
        row[..12].copy_from_slice(&level);
        for c in 0..12 {
            row[12 + c] = (level[c] - before[c]).max(0.0);
        }
        row[24] = row[12..24].iter().sum();
        before = level;
        out.push(row);
    }
    finish(&mut out);
    out
}

fn score_features(score: &Score, seconds: f64) -> Features {
    let frames = (score.length_s / seconds) as usize + 2;
    let mut out = vec![[0.0f32; DIMS]; frames];
    for part in &score.parts {
        for n in &part.notes {
            let first = (n.at_s / seconds).round() as usize;
            if n.unpitched || !part.is_pitched() {
                if let Some(row) = out.get_mut(first) {
                    row[24] += 0.5;
                }
                continue;
            }
            let last = ((n.at_s + n.length_s.max(0.1)) / seconds) as usize;
            for (f, row) in out.iter_mut().enumerate().take(last + 1).skip(first) {
                let fade = libm::expf(-(((f - first) as f64 * seconds) as f32) / 0.7);
                // The note, its twelfth and its seventeenth.
                for (d, w) in [(0, 1.0), (7, 0.3), (4, 0.12)] {
                    let c = (n.midi + d).rem_euclid(12) as usize;
                    row[c] += w * fade;
                    if f == first {
                        row[12 + c] += w;
                    }
                }
            }
            if let Some(row) = out.get_mut(first) {
                row[24] += 1.0;
            }
        }
    }
    for row in &mut out {
        for v in &mut row[..24] {
            *v = v.sqrt();
        }
        row[24] = row[24].min(3.0).sqrt();
    }
    finish(&mut out);
    out
}

/// Chroma to length 1 less its mean, onsets against the loudest usual ones, and all a little blurred.
fn finish(rows: &mut Features) {
    let percentile = |d: fn(&[f32; DIMS]) -> f32, rows: &Features| {
        let mut all: Vec<f32> = rows.iter().map(d).filter(|v| *v > 0.0).collect();
        all.sort_by(f32::total_cmp);
        all.get(all.len() * 9 / 10).copied().unwrap_or(1.0).max(1e-6)
    };
    let chroma_top = percentile(|r| r[..12].iter().map(|v| v * v).sum::<f32>().sqrt(), rows);
    let rise_top = percentile(|r| r[12..24].iter().map(|v| v * v).sum::<f32>().sqrt(), rows);
    let onset_top = percentile(|r| r[24], rows);
    for r in rows.iter_mut() {
        let norm = r[..12].iter().map(|v| v * v).sum::<f32>().sqrt();
        let mean = r[..12].iter().sum::<f32>() / 12.0;
        let silent = norm < 0.05 * chroma_top;
        r[..12].iter_mut().for_each(|v| *v = if silent { 0.0 } else { *v - mean });
        let norm = r[..12].iter().map(|v| v * v).sum::<f32>().sqrt().max(1e-6);
        r[..12].iter_mut().for_each(|v| *v /= norm);
        r[12..24].iter_mut().for_each(|v| *v = (*v / rise_top).min(1.5));
        r[24] = (r[24] / onset_top).min(1.5);
    }
    let sharp = rows.clone();
    for (f, r) in rows.iter_mut().enumerate() {
        for d in 12..DIMS {
            let at = |n: usize| sharp.get(n).map_or(0.0, |s| s[d]);
            r[d] = 0.5 * at(f) + 0.25 * (at(f + 1) + if f > 0 { at(f - 1) } else { 0.0 });
        }
    }
}

/// How alike two frames are, with the record's chroma turned down by so many semitones.
fn alike(heard: &[f32; DIMS], written: &[f32; DIMS], semitones: usize) -> f32 {
    let mut sum = 0.0;
    for c in 0..12 {
        let h = (c + semitones) % 12;
        sum += heard[h] * written[c] + 0.7 * heard[12 + h] * written[12 + c];
    }
    sum + 0.5 * heard[24] * written[24]
}

struct Coarse {
    grid: Vec<(f64, f64)>,
    semitones: i32,
    sure: f64,
    stretch: f64,
}

fn coarse(seen: &Seen, score: &Score, groups: &[f64], written: &Features, known: &Known, seconds: f64) -> Coarse {
    let heard = &seen.features;
    let (start, within) = match known.pins.first() {
        Some((w, h)) => (h - w, 0.02),
        None => (known.start_s, known.start_within_s),
    };
    let written_fit: f64 = written.iter().map(|r| f64::from(alike(r, r, 0))).sum::<f64>() / written.len().max(1) as f64;
    // Every second frame will do to find the line.
    let mean = |offset: f64, stretch: f64, semitones: usize| -> f64 {
        let (mut sum, mut count, mut inside) = (0.0f64, 0, 0);
        for (w, row) in written.iter().enumerate().step_by(2) {
            let h = (offset / seconds + w as f64 * stretch).round();
            count += 1;
            if let Some(frame) = (h >= 0.0).then(|| heard.get(h as usize)).flatten() {
                sum += f64::from(alike(frame, row, semitones));
                inside += 1;
            }
        }
        // What lies beyond the record says little against a place, but a place with little in it is none.
        let outside = f64::from(count - inside) / f64::from(count.max(1));
        if 3 * inside < count { -1.0 } else { sum / f64::from(inside) * (1.0 - 0.6 * outside) }
    };
    let steps = (within / seconds / 2.0).ceil() as i64;
    let mut best = (f64::MIN, start, 1.0, 0usize);
    let mut all = Vec::new();
    for (semitones, tempi) in [(0usize, 14i32), (1, 4), (2, 4), (11, 4), (10, 4)].into_iter().filter(|s| known.turned.is_none_or(|t| t == s.0)) {
        for step in -tempi..=tempi {
            let stretch = libm::exp(f64::from(step) * 0.006);
            for s in -steps..=steps {
                let offset = start + s as f64 * 2.0 * seconds;
                let fit = mean(offset, stretch, semitones);
                if step == 0 {
                    all.push(fit);
                }
                // Another pitch or tempo than the written one has to be clearly better.
                let weighed = fit - fit.abs() * (if semitones == 0 { 0.0 } else { 0.12 } + 0.004 * f64::from(i32::abs(step)).min(4.0) + 0.02 * (offset - start).abs());
                if weighed > best.0 {
                    best = (weighed, offset, stretch, semitones);
                }
            }
        }
        // A good fit as written: no other pitch is asked for.
        all.sort_by(f64::total_cmp);
        if semitones == 0 && best.0 > 3.0 * all[all.len() / 2].max(0.02 * written_fit) && best.0 > 0.4 * written_fit {
            break;
        }
    }
    let (_, offset, stretch, turned) = best;
    all.sort_by(f64::total_cmp);
    let usual = all[all.len() / 2];
    let (path, _) = follow(seen, score, groups, written, offset / seconds, stretch, turned);
    let inside: Vec<f64> = written
        .iter()
        .enumerate()
        .filter_map(|(w, row)| {
            let h = line(&path, w as f64).round();
            (h >= 0.0).then(|| heard.get(h as usize)).flatten().map(|f| f64::from(alike(f, row, turned)))
        })
        .collect();
    let along = inside.iter().sum::<f64>() / inside.len().max(1) as f64;
    let sure = (along - usual.max(0.0)) / (written_fit - usual.max(0.0)).max(1e-6);
    let grid = path.iter().map(|(w, h)| (w * seconds, h * seconds)).collect();
    let semitones = if turned > 6 { turned as i32 - 12 } else { turned as i32 };
    Coarse { grid, semitones, sure, stretch }
}

/// Half a second of written frames, over which the tempo counts as even.
const EVEN: usize = 22;
/// Steps of half a frame by which the record may lie off the straight line (0.51 s), and by which it may move against it over an even stretch (2.3 % of the tempo each).
const OFF: i64 = 44;
const MOVES: i64 = 5;
/// What a frame's fit and a group's onset weigh; what a change of tempo by one step costs, squared for more, and what a tempo off the line. Tried on renders of players 00 and 01 written
/// at a tempo that wanders: half and double of each do as well.
const FIT: f64 = 0.4;
const ONSET: f64 = 3.0;
const CHANGE: f64 = 0.5;
const AWAY: f64 = 0.02;

/// The likeliest path near the straight line `offset + stretch * w` (frames): even stretches whose tempo changes by little from one to the next, for players do not jump
/// by a stroke where one chord is struck again and again. Written and heard frames, the ends of the stretches; and what the path is worth.
fn follow(seen: &Seen, score: &Score, groups: &[f64], written: &Features, offset: f64, stretch: f64, semitones: usize) -> (Vec<(f64, f64)>, f64) {
    let (heard, fine) = (&seen.features, &seen.fine);
    let turned = if semitones > 6 { semitones as i32 - 12 } else { semitones as i32 };
    const PLACES: usize = 2 * OFF as usize + 1;
    const TEMPI: usize = 2 * MOVES as usize + 1;
    let line = |w: f64| offset + w * stretch;
    // How well each written frame fits in each place.
    let fits: Vec<[f32; PLACES]> = written
        .iter()
        .enumerate()
        .map(|(w, row)| {
            let first = (line(w as f64) - OFF as f64 / 2.0).floor();
            // Beyond the record all places are alike.
            let at = |h: f64| (h >= 0.0).then(|| heard.get(h as usize)).flatten().map_or(0.5, |f| alike(f, row, semitones));
            let whole: Vec<f32> = (0..OFF + 2).map(|n| at(first + n as f64)).collect();
            std::array::from_fn(|d| {
                let x = line(w as f64) + (d as f64 - OFF as f64) / 2.0 - first;
                let (n, part) = (x as usize, x.fract() as f32);
                whole[n] * (1.0 - part) + whole[(n + 1).min(whole.len() - 1)] * part
            })
        })
        .collect();
    // How clearly each group begins in each place, within a fine frame or two, counted to its written frame.
    let seconds = HOP as f64 / f64::from(RATE_HZ);
    let per = HOP as f64 / FINE as f64;
    let mut onsets: Vec<(usize, f64, Vec<f32>)> = Vec::new();
    for g in groups {
        let begins = Begins::of(score, *g, turned, seen.cents);
        let w = g / seconds;
        let middle = ((line(w) * per) + BIAS_S * f64::from(RATE_HZ) / FINE as f64).round() as i64;
        let reach = (OFF as f64 / 2.0 * per) as i64 + 2;
        let raw: Vec<f32> = (-reach..=reach).map(|d| fine.begins(&begins, middle + d)).collect();
        let near: Vec<f32> = (0..raw.len()).map(|n| (n.saturating_sub(2)..(n + 3).min(raw.len())).map(|m| raw[m] * [0.55, 0.85, 1.0, 0.85, 0.55][m + 2 - n]).fold(0.0, f32::max)).collect();
        onsets.push((w.floor() as usize, w, near));
    }
    let onset_at = |near: &[f32], off_frames: f64| -> f32 { near.get(((near.len() as f64 - 1.0) / 2.0 + off_frames * per).round().max(0.0) as usize).copied().unwrap_or(0.0) };
    let mut best = vec![[0.0f64; TEMPI]; PLACES];
    for (d, row) in best.iter_mut().enumerate() {
        for (r, v) in row.iter_mut().enumerate() {
            *v = -0.02 * (d as f64 - OFF as f64).abs() - AWAY * (r as f64 - MOVES as f64).powi(2);
        }
    }
    let mut from: Vec<Vec<[u8; TEMPI]>> = Vec::new();
    for (segment, frames) in fits.chunks(EVEN).enumerate() {
        let begin = segment * EVEN;
        let own: Vec<(f64, &[f32])> = onsets.iter().filter(|o| (begin..begin + EVEN).contains(&o.0)).map(|o| (o.1 - begin as f64, o.2.as_slice())).collect();
        let mut next = vec![[f64::MIN; TEMPI]; PLACES];
        let mut back = vec![[0u8; TEMPI]; PLACES];
        for start in 0..PLACES {
            for r in 0..TEMPI {
                let move_ = r as i64 - MOVES;
                let Some(end) = usize::try_from(start as i64 + move_).ok().filter(|e| *e < PLACES) else { continue };
                let (tempo, value) = (0..TEMPI)
                    .map(|b| (b, best[start][b] - CHANGE * (b as f64 - r as f64).powi(2)))
                    .max_by(|a, b| a.1.total_cmp(&b.1))
                    .unwrap_or((r, f64::MIN));
                let fit: f64 = frames
                    .iter()
                    .enumerate()
                    .map(|(n, f)| f64::from(f[(start as f64 + move_ as f64 * n as f64 / EVEN as f64).round() as usize]))
                    .sum();
                let clear: f64 = own.iter().map(|(w, near)| f64::from(onset_at(near, (start as f64 - OFF as f64 + move_ as f64 * w / EVEN as f64) / 2.0))).sum();
                next[end][r] = value + FIT * fit + ONSET * clear - AWAY * (move_ * move_) as f64;
                back[end][r] = tempo as u8;
            }
        }
        from.push(back);
        best = next;
    }
    let (mut d, mut r) = (0..PLACES)
        .flat_map(|d| (0..TEMPI).map(move |r| (d, r)))
        .max_by(|a, b| best[a.0][a.1].total_cmp(&best[b.0][b.1]))
        .unwrap_or((OFF as usize, MOVES as usize));
    let worth = best[d][r];
    let place = |w: usize, d: usize| (w as f64, line(w as f64) + (d as f64 - OFF as f64) / 2.0);
    let mut path = vec![place(from.len() * EVEN, d)];
    for (n, back) in from.iter().enumerate().rev() {
        let tempo = back[d][r] as usize;
        d = (d as i64 - (r as i64 - MOVES)).clamp(0, PLACES as i64 - 1) as usize;
        r = tempo;
        path.push(place(n * EVEN, d));
    }
    path.reverse();
    (path, worth)
}

/// Levels frame by frame in short windows, for rises.
#[derive(Clone)]
pub(crate) struct Fine {
    levels: Vec<Vec<f32>>,
    /// Rise over all bins, frame by frame, 1 a usual onset.
    flux: Vec<f32>,
}

/// Frames that a rise looks back over (17 ms).
const LAG: usize = 3;

impl Fine {
    /// Both sides at once.
    pub fn new(sound: &Sound) -> Fine {
        let mut lens = Lens::new();
        Fine::of(sound, &mut |f, out| lens.look_to(sound, Place { seat: None }, (f * FINE) as i64 - (FINE_SIZE / 2) as i64, FINE_SIZE, FINE_BINS, out))
    }

    /// What is heard from one seat.
    pub fn from_seat(sound: &Sound, panorama: &Panorama, seat: f32) -> Fine {
        Fine::of(sound, &mut |f, out| panorama.from_seat(f, seat, out))
    }

    /// The places that [`Fine::from_seat`] takes; `None` for mono.
    pub fn panorama(sound: &Sound) -> Option<Panorama> {
        Panorama::new(sound, FINE_SIZE, FINE, FINE_BINS)
    }

    fn of(sound: &Sound, look: &mut dyn FnMut(usize, &mut Vec<f32>)) -> Fine {
        let frames = sound.middle.len() / FINE + 1;
        let scale = (100.0 / sound.rms) as f32;
        let mut levels = Vec::with_capacity(frames);
        let mut spectrum = Vec::new();
        for f in 0..frames {
            look(f, &mut spectrum);
            levels.push(spectrum.iter().map(|v| libm::log1pf(scale * v)).collect::<Vec<f32>>());
        }
        let mut fine = Fine { levels, flux: vec![] };
        let mut flux: Vec<f32> = (0..frames).map(|f| fine.whole_rise(f)).collect();
        let mut sorted: Vec<f32> = peaks(&flux).iter().map(|p| flux[*p]).collect();
        sorted.sort_by(f32::total_cmp);
        let usual = sorted.get(sorted.len() * 8 / 10).copied().unwrap_or(1.0).max(1e-3);
        flux.iter_mut().for_each(|f| *f /= usual);
        fine.flux = flux;
        fine
    }

    /// The rise of all bins, in the order of [`Fine::rise`].
    fn whole_rise(&self, f: usize) -> f32 {
        let Some(before) = f.checked_sub(LAG) else { return 0.0 };
        let (row, now) = (&self.levels[before], &self.levels[f]);
        now[2..].iter().zip(row.windows(3).skip(1)).map(|(n, w)| (n - w[0].max(w[1]).max(w[2])).max(0.0)).sum::<f32>() + self.rise(f, FINE_BINS - 1)
    }

    fn rise(&self, f: usize, b: usize) -> f32 {
        let Some(before) = f.checked_sub(LAG) else { return 0.0 };
        let row = &self.levels[before];
        let around = row[b - 1].max(row[b]).max(row.get(b + 1).copied().unwrap_or(0.0));
        (self.levels[f][b] - around).max(0.0)
    }

    /// Clear onsets: seconds and strength.
    fn onsets(&self) -> Vec<(f64, f32)> {
        let smooth = |f: usize| {
            let near = &self.flux[f.saturating_sub(40)..(f + 40).min(self.flux.len())];
            near.iter().sum::<f32>() / near.len() as f32
        };
        peaks(&self.flux)
            .into_iter()
            .filter(|p| self.flux[*p] > 0.12 + 1.5 * smooth(*p))
            .map(|p| (self.exact(&self.flux, p), self.flux[p]))
            .fold(Vec::new(), |mut out: Vec<(f64, f32)>, o| {
                match out.last_mut() {
                    Some(last) if o.0 - last.0 < 0.045 => {
                        if o.1 > 1.6 * last.1 {
                            *last = o;
                        }
                    }
                    _ => out.push(o),
                }
                out
            })
    }

    /// The time of a peak, between frames.
    fn exact(&self, curve: &[f32], p: usize) -> f64 {
        let (a, b, c) = (curve.get(p.wrapping_sub(1)).copied().unwrap_or(0.0), curve[p], curve.get(p + 1).copied().unwrap_or(0.0));
        let bend = a - 2.0 * b + c;
        let shift = if bend < -1e-6 { f64::from(0.5 * (a - c) / bend) } else { 0.0 };
        ((p as f64 + shift.clamp(-0.5, 0.5)) * FINE as f64) / f64::from(RATE_HZ) - BIAS_S
    }

    /// The onset of some pitches (none: any sound) within 40 ms of a time: seconds and strength.
    pub fn near(&self, time_s: f64, pitches: &[i32], cents: f64) -> Option<(f64, f32)> {
        const REACH: i64 = 7;
        let bins = bins_of(pitches, cents);
        let middle = ((time_s + BIAS_S) * f64::from(RATE_HZ) / FINE as f64).round() as i64;
        let curve: Vec<f32> = (middle - REACH - 1..=middle + REACH + 1)
            .map(|f| if f < 0 || f as usize >= self.flux.len() { 0.0 } else { self.own(f as usize, &bins) })
            .collect();
        let top = (1..curve.len() - 1).max_by(|a, b| {
            // A little nearer is a little better.
            let at = |n: usize| curve[n] * (1.0 - 0.02 * (n as f32 - 1.0 - REACH as f32).abs());
            at(*a).total_cmp(&at(*b))
        })?;
        let shift = self.exact(&curve, top) + BIAS_S;
        let time = (middle - REACH - 1) as f64 * FINE as f64 / f64::from(RATE_HZ) + shift - BIAS_S;
        (curve[top] > 0.12).then_some((time, curve[top]))
    }

    /// Rise of the whole and of some bins.
    fn own(&self, f: usize, bins: &[usize]) -> f32 {
        let whole = self.flux[f].min(1.5);
        if bins.is_empty() { whole } else { 0.3 * whole + 1.2 * (bins.iter().map(|b| self.rise(f, *b)).sum::<f32>() / bins.len() as f32).min(1.5) }
    }

    /// How clearly a group of notes begins at a frame; 0 beyond the sound.
    fn begins(&self, group: &Begins, frame: i64) -> f32 {
        let Some(f) = usize::try_from(frame).ok().filter(|f| *f < self.flux.len()) else { return 0.0 };
        let whole = self.flux[f].min(1.5);
        if group.noise || group.bins.is_empty() {
            return whole;
        }
        let own = group.bins.iter().map(|b| self.rise(f, *b)).sum::<f32>() / group.bins.len() as f32;
        0.6 * whole + own.min(1.5)
    }

    /// Puts each group of written notes on an onset near its rough time: heard seconds and strength.
    fn place(&self, score: &Score, groups: &[f64], rough: &[f64], semitones: i32, cents: f64, fixed: bool) -> Vec<(f64, f32)> {
        let rate = f64::from(RATE_HZ) / FINE as f64;
        let base: Vec<i64> = rough.iter().map(|t| ((t + BIAS_S) * rate).round() as i64).collect();
        let mut curves: Vec<[f32; WIDTH]> = Vec::with_capacity(groups.len());
        for (g, b) in groups.iter().zip(&base) {
            let begins = Begins::of(score, *g, semitones, cents);
            curves.push(std::array::from_fn(|d| self.begins(&begins, b + d as i64 - REACH)));
        }
        let (track, _) = track(&curves, rough, &base, fixed);
        let mut out = Vec::with_capacity(groups.len());
        for (n, (curve, d)) in curves.iter().zip(track).enumerate() {
            // The nearest top of its own curve.
            let mut top = d;
            for _ in 0..3 {
                if top + 1 < WIDTH && curve[top + 1] > curve[top] {
                    top += 1;
                } else if top > 0 && curve[top - 1] > curve[top] {
                    top -= 1;
                }
            }
            let (a, b, c) = (curve[top.saturating_sub(1)], curve[top], curve[(top + 1).min(WIDTH - 1)]);
            let bend = a - 2.0 * b + c;
            let shift = if bend < -1e-6 { f64::from(0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 };
            let time = (base[n] as f64 + top as f64 - REACH as f64 + shift) / rate - BIAS_S;
            out.push(if b > 0.12 { (time, b) } else { (rough[n], 0.0) });
        }
        out
    }
}

/// Frames of the short windows by which a stroke is looked for to both sides of its rough time, and how many places these are.
const REACH: i64 = 22;
const WIDTH: usize = 2 * REACH as usize + 1;

/// The likeliest places of strokes (0 to `WIDTH`) by their curves, kept together by how far apart their rough times (seconds; `base`: frames) are; and what they are worth.
fn track(curves: &[[f32; WIDTH]], rough: &[f64], base: &[i64], fixed: bool) -> (Vec<usize>, f64) {
    let rate = f64::from(RATE_HZ) / FINE as f64;
    // Viterbi: each stroke on a rise, gaps as the rough times have them.
    let mut before = [0.0f64; WIDTH];
    let mut from: Vec<[u8; WIDTH]> = Vec::with_capacity(curves.len());
    for (n, curve) in curves.iter().enumerate() {
        let mut now = [f64::MIN; WIDTH];
        let mut back = [0u8; WIDTH];
        let gap = if n == 0 { 0.0 } else { rough[n] - rough[n - 1] };
        let rounding = if n == 0 { 0.0 } else { (base[n] - base[n - 1]) as f64 - gap * rate };
        // Frames by which a gap may differ: 12 ms, more over a longer one.
        let loose = (0.012 + 0.04 * gap.min(1.0)) * rate;
        for d in 0..WIDTH {
            let own = f64::from(curve[d]) * 2.0 - 0.5 * ((d as f64 - REACH as f64) / if fixed { 8.0 } else { 14.0 }).powi(2);
            if n == 0 {
                now[d] = own;
                continue;
            }
            for (p, earlier) in before.iter().enumerate() {
                let off = d as f64 - p as f64 + rounding;
                let value = earlier + own - 0.5 * (off / loose).powi(2).min(12.0);
                if value > now[d] {
                    now[d] = value;
                    back[d] = p as u8;
                }
            }
        }
        from.push(back);
        before = now;
    }
    let mut d = (0..WIDTH).max_by(|a, b| before[*a].total_cmp(&before[*b])).unwrap_or(0);
    let worth = before[d];
    let mut places = vec![0; curves.len()];
    for n in (0..curves.len()).rev() {
        places[n] = d;
        if n > 0 {
            d = from[n][d] as usize;
        }
    }
    (places, worth)
}

/// What begins at one written time, over all parts.
struct Begins {
    /// Bins of the first partials of its pitches.
    bins: Vec<usize>,
    /// Something without pitch is among it.
    noise: bool,
}

impl Begins {
    fn of(score: &Score, at_s: f64, semitones: i32, cents: f64) -> Begins {
        let mut pitches: Vec<i32> = Vec::new();
        let mut noise = false;
        for part in &score.parts {
            let first = part.notes.partition_point(|n| n.at_s < at_s - 1e-3);
            for n in part.notes[first..].iter().take_while(|n| n.at_s < at_s + 1e-3) {
                if n.unpitched || !part.is_pitched() {
                    noise = true;
                } else {
                    pitches.push(n.midi + semitones);
                }
            }
        }
        Begins { bins: bins_of(&pitches, cents), noise }
    }
}

/// Bins of the first partials of some pitches.
fn bins_of(pitches: &[i32], cents: f64) -> Vec<usize> {
    let mut bins: Vec<usize> = pitches
        .iter()
        .flat_map(|p| {
            let hz = 440.0 * libm::exp2((f64::from(*p) - 69.0 + cents / 100.0) / 12.0);
            (1..=8).map(move |k| (hz * f64::from(k) * FINE_SIZE as f64 / f64::from(RATE_HZ)).round() as usize)
        })
        .filter(|b| (2..298).contains(b))
        .collect();
    bins.sort_unstable();
    bins.dedup();
    bins
}

/// How much later than the attack a rise is strongest: half the short window's slope, measured on plucked strings whose onsets are known (tests).
const BIAS_S: f64 = 0.006;

/// Frames higher than their neighbours over 30 ms.
fn peaks(curve: &[f32]) -> Vec<usize> {
    (1..curve.len().saturating_sub(1))
        .filter(|f| {
            let near = &curve[f.saturating_sub(5)..(f + 6).min(curve.len())];
            curve[*f] > 0.0 && near.iter().all(|v| *v <= curve[*f]) && curve[*f] > curve[f - 1]
        })
        .collect()
}

/// The grid: at each half second of written time, a straight line through the strokes around it, weighed by nearness and strength, twice, the second time without
/// those that lie far from the first (N. Cleveland's local regression, "Robust locally weighted regression", JASA 74, 1979).
fn smooth(strokes: &[Stroke], length_s: f64) -> Vec<(f64, f64)> {
    const REACH_S: f64 = 2.5;
    let mut off = vec![0.0f64; strokes.len()];
    let mut grid = Vec::new();
    for round in 0..3 {
        grid.clear();
        let steps = (length_s / 0.5).ceil().max(1.0) as usize;
        for n in 0..=steps {
            let at = (n as f64 * 0.5).min(length_s);
            let (mut w, mut x, mut y, mut xx, mut xy) = (1e-9, 0.0, 0.0, 0.0, 0.0);
            for (s, o) in strokes.iter().zip(&off) {
                let near = 1.0 - ((s.written_s - at) / REACH_S).powi(2);
                let robust = if round == 0 { 1.0 } else { 1.0 / (1.0 + (o / 0.02).powi(2)) };
                let weight = near.max(0.002).powi(2) * f64::from(s.strength.clamp(0.05, 1.5)) * robust;
                let (dx, dy) = (s.written_s - at, s.heard_s);
                w += weight;
                x += weight * dx;
                y += weight * dy;
                xx += weight * dx * dx;
                xy += weight * dx * dy;
            }
            let bend = w * xx - x * x;
            let slope = if bend > 1e-6 * w * w { (w * xy - x * y) / bend } else { 1.0 };
            let slope = slope.clamp(0.3, 3.0);
            grid.push((at, (y - slope * x) / w));
        }
        grid.dedup_by(|b, a| b.0 - a.0 < 1e-6);
        for (o, s) in off.iter_mut().zip(strokes) {
            *o = s.heard_s - line(&grid, s.written_s);
        }
    }
    // Time never runs backwards.
    for n in 1..grid.len() {
        if grid[n].1 <= grid[n - 1].1 {
            grid[n].1 = grid[n - 1].1 + 1e-3;
        }
    }
    grid
}

#[cfg(test)]
mod tests {
    use super::*;

    const GRID: [(f64, f64); 3] = [(1.0, 3.0), (2.0, 5.0), (4.0, 6.0)];

    fn near(a: f64, b: f64) -> bool {
        (a - b).abs() < 1e-9
    }

    fn strokes(of: impl Iterator<Item = (f64, f64)>) -> Vec<Stroke> {
        of.map(|(written_s, heard_s)| Stroke { written_s, heard_s, strength: 1.0 }).collect()
    }

    #[test]
    fn a_line_goes_through_its_points_and_on_by_the_ends() {
        assert!([(1.0, 3.0), (1.5, 4.0), (2.0, 5.0), (3.0, 5.5), (4.0, 6.0), (0.0, 1.0), (6.0, 7.0)].iter().all(|(x, y)| near(line(&GRID, *x), *y)));
        assert!(near(line(&[], 2.5), 2.5) && near(line(&[(1.0, 4.0)], 2.5), 5.5));
        assert!(near(line(&[(1.0, 4.0), (1.0, 5.0)], 2.5), 4.0));
    }

    #[test]
    fn written_and_heard_times_lead_back_to_each_other() {
        let mut a = Alignment { strokes: strokes([(1.0, 3.0), (1.5, 4.0), (2.0, 5.0)].into_iter()), grid: GRID.to_vec(), sure: 1.0, semitones: 0, stretch: 1.0, onsets: vec![] };
        assert!([0.2, 1.0, 1.7, 3.3, 5.0].iter().all(|t| near(a.written(a.heard(*t)), *t)));
        assert_eq!([1.5, 1.5019, 1.4999, 1.503, 1.497, 9.0].map(|t| a.stroke(t).is_some()), [true, false, true, false, false, false]);
        assert!(near(a.found(), 1.0));
        a.strokes[0].strength = 0.25;
        assert!(near(a.found(), 2.0 / 3.0));
    }

    #[test]
    fn the_bins_of_a_pitch_are_its_partials() {
        // 440 Hz and its multiples up to 8, at the size of the short window.
        let of = |hz: f64| (hz * FINE_SIZE as f64 / f64::from(RATE_HZ)).round() as usize;
        let a: Vec<usize> = (1..=8).map(|k| of(440.0 * f64::from(k))).filter(|b| (2..298).contains(b)).collect();
        assert_eq!(bins_of(&[69], 0.0), a);
        assert_eq!(bins_of(&[68], 100.0), a);
        // An octave above has every other of them, and beyond as far as is looked.
        let both = bins_of(&[69, 81], 0.0);
        let beyond: Vec<usize> = (5..=8).map(|k| of(880.0 * f64::from(k))).filter(|b| *b < 298).collect();
        assert_eq!(both, [a, beyond].concat());
    }

    #[test]
    fn peaks_stand_over_all_that_is_near() {
        let mut curve = vec![0.0f32; 40];
        (curve[10], curve[15], curve[16], curve[30], curve[31]) = (1.0, 0.5, 0.6, 0.4, 0.4);
        assert_eq!(peaks(&curve), [10, 16, 30]);
        curve[15] = 1.1;
        assert_eq!(peaks(&curve), [15, 30]);
        assert!(peaks(&[]).is_empty() && peaks(&[1.0, 0.0]).is_empty());
    }

    #[test]
    fn a_grid_is_straight_where_playing_is_and_passes_over_one_stroke_that_is_off() {
        let lies = |t: f64| 1.2 + 1.05 * t;
        let mut played = strokes((0..33).map(|n| (f64::from(n) * 0.25, lies(f64::from(n) * 0.25))));
        let grid = smooth(&played, 7.8);
        assert_eq!(grid.len(), 17);
        assert!(near(grid[1].0, 0.5) && near(grid[16].0, 7.8) && grid.iter().all(|(w, h)| (h - lies(*w)).abs() < 1e-6));
        played[16].heard_s += 0.2;
        assert!(smooth(&played, 7.8).iter().all(|(w, h)| (h - lies(*w)).abs() < 2e-3));
        // A weak stroke moves it less than a strong one does.
        let moved = |strength: f32| {
            let mut few = strokes([(0.0, 0.0), (1.0, 1.0), (2.0, 2.01), (3.0, 3.0), (4.0, 4.0)].into_iter());
            few[2].strength = strength;
            line(&smooth(&few, 4.0), 2.0) - 2.0
        };
        assert!(moved(0.1) > 0.0 && moved(0.1) < 0.5 * moved(1.0), "{} {}", moved(0.1), moved(1.0));
        // Played backwards, time goes on.
        let back = strokes((0..9).map(|n| (f64::from(n) * 0.5, 4.0 - f64::from(n) * 0.5)));
        assert!(smooth(&back, 4.0).windows(2).all(|w| w[0].1 < w[1].1));
        assert_eq!(smooth(&[], 1.0).len(), 3);
    }

    /// Plucked tones at these times over a hum that never changes; by the sum of partials.
    fn plucked(notes: &[(f64, i32)], seconds: f64) -> Sound {
        let rate = f64::from(RATE_HZ);
        let hum = |t: f64| (1..60).map(|k| 0.003 * libm::sin(std::f64::consts::TAU * 97.0 * f64::from(k) * t + f64::from(k * k))).sum::<f64>();
        let mut out: Vec<f32> = (0..(seconds * rate) as usize).map(|n| hum(n as f64 / rate) as f32).collect();
        for (at, midi) in notes {
            let hz = 440.0 * libm::exp2((f64::from(*midi) - 69.0) / 12.0);
            for (n, sample) in out.iter_mut().enumerate() {
                let t = n as f64 / rate - at;
                if (0.0..0.5).contains(&t) {
                    *sample += (1..=6).map(f64::from).map(|k| 0.1 / k * libm::sin(std::f64::consts::TAU * k * hz * t) * libm::exp(-4.0 * k * t)).sum::<f64>() as f32;
                }
            }
        }
        Sound::new(&wave::Buffer::new(RATE_HZ, vec![out]).unwrap()).unwrap()
    }

    #[test]
    fn strokes_are_put_on_their_onsets_from_either_side() {
        let text = r#"lesson "t" { passage "p" { tempo 100; slots 4; part "g" instrument="guitar" { bar "5:3 4:5 3:5 2:5"; bar "4:7 3:4 5:7 4:2" } } }"#;
        let score = Score::of(&lesson::read(text).lesson.passages[0]);
        let groups = groups(&score);
        assert!(groups.len() == 8 && near(groups[7], 4.2));
        // Tones that are there at once lie as much earlier than plucked strings, on which the bias was measured, all alike. The last one is not played.
        let alike = |time: f64, at: f64| (time - at + 0.0045).abs() < 0.0012;
        let truth: Vec<f64> = groups.iter().map(|g| 0.3 + 1.02 * g).collect();
        let notes: Vec<(f64, i32)> = truth[..7].iter().zip(&score.parts[0].notes).map(|(t, n)| (*t, n.midi)).collect();
        let fine = Fine::new(&plucked(&notes, 6.0));
        for off in [-0.06, -0.03, -0.01, 0.0, 0.015, 0.04, 0.07] {
            let rough: Vec<f64> = truth.iter().map(|t| t + off).collect();
            let placed = fine.place(&score, &groups, &rough, 0, 0.0, false);
            for (n, ((time, strength), right)) in placed.iter().zip(&truth).enumerate() {
                if n == 7 {
                    assert!(*strength == 0.0 && near(*time, rough[7]), "{off}: {time} {strength}");
                } else {
                    assert!(alike(*time, *right) && *strength > 1.5, "{off}, {n}: {time} for {right}, {strength}");
                }
            }
        }
        for ((time, midi), off) in notes.iter().zip([-0.03, 0.03, -0.01, 0.02, 0.0, -0.02, 0.01]) {
            let found = fine.near(time + off, &[*midi], 0.0).unwrap();
            assert!(alike(found.0, *time) && found.1 > 1.0, "{found:?} for {time}");
        }
        assert!(fine.near(5.5, &[60], 0.0).is_none() && fine.near(-1.0, &[], 0.0).is_none() && fine.near(99.0, &[], 0.0).is_none());
        let onsets = fine.onsets();
        assert!(notes.iter().all(|(t, _)| onsets.iter().filter(|o| (o.0 - t).abs() < 0.01).count() == 1), "{onsets:?}");
    }

    /// Three parts, one stroke of them between the slots.
    const BAND: &str = r#"lesson "t" { passage "p" { tempo 100; slots 8
        part "g" instrument="guitar" { grip "a" "x x 5 5 5 x"; grip "b" "x x 7 5 6 x"; bar "a . a 5:3 . a a ."; bar "b . b .  4:5 - 3:7 -"; bar "a [a a]=2 . b - . 2:5" }
        part "b" instrument="bass" { bar "3:3 - - 3:3 . 2:5 . ."; bar "3:5 - . . 3:5 - - -"; bar "3:3 - - . . . 3:1 ." }
        part "k" instrument="drums" {
            bar { kick "x . . . x . . ."; snare ". . x . . . x ." }
            bar { kick "x . . x . . . ."; snare ". . x . . . x ." }
            bar { kick "x . . . x . . ."; snare ". . . . . . x x" }
        } } }"#;

    /// The band at a tempo that wanders, some semitones off: sounds by the sum of partials, drums as noise that dies away, each rising over 20 ms, and a hiss.
    fn band(score: &Score, begin_s: f64, semitones: i32) -> (Sound, Vec<f64>) {
        let rate = f64::from(RATE_HZ);
        let mut dice = crate::steps::Dice(7);
        let mut noise = |level: f64| level * (dice.below(20_001) as f64 / 10_000.0 - 1.0);
        let heard = |w: f64| begin_s + 1.02 * w + 0.03 * libm::sin(1.3 * w);
        let mut out: Vec<f64> = (0..((heard(score.length_s) + 0.8) * rate) as usize).map(|_| noise(0.01)).collect();
        let notes = score.parts.iter().flat_map(|p| p.notes.iter().map(move |n| (p.is_pitched(), n)));
        for (n, (pitched, note)) in notes.enumerate() {
            let hz = 440.0 * libm::exp2((f64::from(note.midi + semitones) - 69.0) / 12.0);
            let from = (heard(note.at_s) * rate) as usize;
            let level = 0.01 + 0.015 * (n % 5) as f64;
            for (k, sample) in out.iter_mut().skip(from).take((note.length_s.clamp(0.08, 0.9) * rate) as usize).enumerate() {
                let t = k as f64 / rate;
                *sample += (t / 0.02).min(1.0) * if pitched && !note.unpitched {
                    (1..=7).map(f64::from).map(|j| level / j * libm::sin(std::f64::consts::TAU * j * hz * t + j) * libm::exp(-2.0 * j * t)).sum::<f64>()
                } else {
                    noise(2.0 * level * libm::exp(-30.0 * t))
                };
            }
        }
        let groups = groups(score);
        let sound = Sound::new(&wave::Buffer::new(RATE_HZ, vec![out.into_iter().map(|s| s as f32).collect()]).unwrap()).unwrap();
        (sound, groups.into_iter().map(heard).collect())
    }

    #[test]
    fn the_steps_of_an_alignment_are_as_kept() {
        let reading = lesson::read(BAND);
        assert!(reading.is_sound(), "{:?}", reading.problems);
        let score = Score::of(&reading.lesson.passages[0]);
        let groups = groups(&score);
        let seconds = HOP as f64 / f64::from(RATE_HZ);
        let (sound, truth) = band(&score, 0.7, 0);
        let seen = Seen::new(&sound, 4.0);
        let written = score_features(&score, seconds);
        let mut out = crate::steps::Steps::default();
        for (n, row) in seen.features.iter().enumerate().step_by(13) {
            out.say(&format!("record {n}"), *row);
        }
        for (n, row) in written.iter().enumerate().step_by(7) {
            out.say(&format!("score {n}"), *row);
        }
        for (n, turned) in [0, 1, 5, 7, 11].into_iter().enumerate() {
            out.say(&format!("alike {turned}"), (0..20).map(|w| alike(&seen.features[5 * w + n], &written[9 * w], turned)));
        }
        // The record as it is, moved, and with one point or the pitch given.
        let known = |start_s: f64, within: f64| Known { start_s, start_within_s: within, ..Known::default() };
        let cases = [
            (0, known(0.7, 0.3)),
            (0, known(0.3, 0.6)),
            (0, known(1.2, 0.6)),
            (0, known(3.0, 0.4)),
            (0, Known { pins: vec![(1.2, 1.95)], ..known(0.0, 2.0) }),
            (0, Known { turned: Some(1), ..known(0.7, 0.3) }),
            (1, known(0.6, 0.3)),
            (2, known(0.8, 0.3)),
            (-1, known(0.6, 0.4)),
            (-2, known(0.7, 0.2)),
        ];
        for (n, (by, known)) in cases.iter().enumerate() {
            let (moved, _) = band(&score, 0.7, *by);
            let seen = Seen::new(&moved, 0.0);
            let c = coarse(&seen, &score, &groups, &written, known, seconds);
            out.say(&format!("coarse {n}"), [c.sure, c.stretch, f64::from(c.semitones)].into_iter().chain(c.grid.iter().flat_map(|g| [g.0, g.1])));
        }
        for (n, (offset, stretch, turned)) in [(0.7 / seconds, 1.02, 0), (0.7 / seconds + 9.0, 1.0, 0), (0.7 / seconds - 11.0, 1.05, 0), (0.0, 1.0, 2), (0.6 / seconds, 1.03, 11), (200.0, 1.1, 0), (-150.0, 0.9, 0)].into_iter().enumerate() {
            let (path, worth) = follow(&seen, &score, &groups, &written, offset, stretch, turned);
            out.say(&format!("follow {n}"), [worth].into_iter().chain(path.into_iter().flat_map(|p| [p.0, p.1])));
        }
        // Onsets: of all, of pitches, of the groups.
        let fine = &seen.fine;
        out.say("flux", fine.flux.iter().copied().step_by(11));
        out.say("onsets", seen.onsets.iter().flat_map(|o| [o.0, f64::from(o.1)]));
        for pitches in [&[][..], &[48], &[60, 64], &[55, 60, 64]] {
            for off in [-0.03, -0.012, 0.0, 0.02, 0.036] {
                let found = truth.iter().flat_map(|t| fine.near(t + off, pitches, 4.0).map_or([0.0, 0.0], |f| [f.0, f64::from(f.1)]));
                out.say(&format!("near {pitches:?} {off}"), found.collect::<Vec<f64>>());
            }
            let bins = bins_of(pitches, 4.0);
            out.say(&format!("own {pitches:?}"), (100..fine.flux.len()).step_by(17).map(|f| fine.own(f, &bins)));
        }
        for (n, g) in groups.iter().enumerate() {
            let begins = Begins::of(&score, *g, 0, 4.0);
            let at = (truth[n] * f64::from(RATE_HZ) / FINE as f64) as i64;
            out.say(&format!("begins {n} {} {:?}", begins.noise, begins.bins), (-4..8).map(|d| fine.begins(&begins, at + d)));
        }
        out.say("begins outside", [-1, fine.flux.len() as i64].map(|f| fine.begins(&Begins::of(&score, 0.0, 0, 0.0), f)));
        for (n, (off, fixed, by)) in [(0.0, false, 0), (0.03, false, 0), (-0.05, true, 0), (0.09, false, 0), (0.01, true, 1)].into_iter().enumerate() {
            // The rough times wander by themselves.
            let rough: Vec<f64> = truth.iter().enumerate().map(|(n, t)| t + off + 0.01 * libm::sin(n as f64)).collect();
            out.say(&format!("place {n}"), fine.place(&score, &groups, &rough, by, 4.0, fixed).into_iter().flat_map(|p| [p.0, f64::from(p.1)]));
        }
        // The track alone, through curves with two hills each.
        let hills = |n: usize| -> [f32; WIDTH] { std::array::from_fn(|d| libm::expf(-((d as f32 - 12.0 - n as f32) / 2.0).powi(2)) + 0.9 * libm::expf(-((d as f32 - 30.0 + 2.0 * n as f32) / 3.0).powi(2))) };
        let curves: Vec<[f32; WIDTH]> = (0..7).map(hills).collect();
        let rough = [0.0, 0.21, 0.4, 0.43, 1.7, 1.95, 2.2];
        let base = rough.map(|t| (t * f64::from(RATE_HZ) / FINE as f64).round() as i64);
        for fixed in [false, true] {
            let (places, worth) = track(&curves, &rough, &base, fixed);
            out.say(&format!("track {fixed}"), [worth].into_iter().chain(places.iter().map(|p| *p as f64)));
        }
        // All together, with no, one and two points given.
        for pins in [vec![], vec![(1.2, 1.95)], vec![(0.0, 0.72), (4.8, 5.6)]] {
            let name = format!("aligned {}", pins.len());
            let a = align(&seen, &score, &Known { pins, ..known(0.5, 0.5) }).unwrap();
            let strokes = a.strokes.iter().flat_map(|s| [s.written_s, s.heard_s, f64::from(s.strength)]);
            out.say(&name, [a.sure, a.stretch, f64::from(a.semitones), a.found()].into_iter().chain(strokes).chain(a.grid.iter().flat_map(|g| [g.0, g.1])));
        }
        // A grid through strokes that wander, some of them weak, one far off.
        let wander: Vec<Stroke> = (0..40).map(f64::from).map(|n| Stroke { written_s: 0.31 * n, heard_s: 1.0 + 0.33 * n + 0.02 * libm::sin(0.9 * n) + if n == 17.0 { 0.15 } else { 0.0 }, strength: (0.2 + 0.04 * n) as f32 }).collect();
        out.say("smooth", smooth(&wander, 12.3).into_iter().flat_map(|g| [g.0, g.1]));
        out.say("smooth few", smooth(&wander[3..5], 2.0).into_iter().flat_map(|g| [g.0, g.1]));
        out.held("align");
    }
}
