//! Predicts the string of each note of open annotations, and tunes the path's weights on them.
//!
//! `strings place < NOTES` prints a string and a fret a line; so do `strings lowest` (the lowest fret, note for note) and `strings plain` (a
//! dynamic programme with a handful of costs set by hand). `strings held` counts strokes, and those whose places no hand can hold at once.
//! `strings tune` prints weights as source text; `strings cross` tunes on one player and judges on the other. NOTES has a line a note:
//! `piece onset_s duration_s midi string`, the string (1 = highest) being used for tuning and judging only. See `checks/strings`.

use neck::{BY_KIND, BY_PLACE, Grip, Hand, Instrument, SECOND, Studied, TOGETHER_S, Timed, finger, path, plain_weights, start_weights};
use pitch::Midi;
use std::io::{Read, Write};
use std::sync::atomic::{AtomicUsize, Ordering};

#[derive(Clone)]
struct Piece {
    name: String,
    notes: Vec<Timed>,
    strings: Vec<u8>,
}

fn main() {
    let mut text = String::new();
    std::io::stdin().read_to_string(&mut text).expect("notes on standard input");
    let pieces = read(&text);
    let out = match std::env::args().nth(1).as_deref() {
        Some("place") => lines(&pieces, placed),
        Some("lowest") => lines(&pieces, lowest),
        Some("plain") => lines(&pieces, |p| studied(p).places(&plain_weights())[0].clone()),
        Some("held") => held(&pieces),
        Some("tune") => source(&tune_both(&pieces, |p| usize::from(p.name.starts_with("01")))),
        Some("cross") => cross(&pieces),
        _ => panic!("place, lowest, plain, held, tune or cross"),
    };
    std::io::stdout().write_all(out.as_bytes()).expect("standard output");
}

fn read(text: &str) -> Vec<Piece> {
    let mut pieces: Vec<Piece> = Vec::new();
    for line in text.lines() {
        let w: Vec<&str> = line.split_whitespace().collect();
        let number = |i: usize| w[i].parse::<f64>().expect("a number");
        if pieces.last().is_none_or(|p| p.name != w[0]) {
            pieces.push(Piece { name: w[0].to_string(), notes: Vec::new(), strings: Vec::new() });
        }
        let piece = pieces.last_mut().expect("pushed");
        piece.notes.push(Timed { onset_s: number(1), duration_s: number(2), midi: Midi(number(3) as u8) });
        piece.strings.push(number(4) as u8);
    }
    pieces
}

fn lines(pieces: &[Piece], places: impl Fn(&Piece) -> Vec<(u8, u8)> + Sync) -> String {
    spread(pieces, places).iter().flatten().map(|(s, f)| format!("{s} {f}\n")).collect()
}

fn placed(p: &Piece) -> Vec<(u8, u8)> {
    path(&p.notes, &Instrument::guitar(), &Hand::usual(), &[]).expect("guitar notes")
}

fn lowest(p: &Piece) -> Vec<(u8, u8)> {
    let guitar = Instrument::guitar();
    let place = |n: &Timed| (1..=6u8).flat_map(|s| (0..=22).map(move |f| (s, f))).filter(|(s, f)| guitar.sounds(*s, *f) == Some(n.midi)).min_by_key(|p| p.1);
    p.notes.iter().map(|n| place(n).expect("guitar notes")).collect()
}

fn studied(p: &Piece) -> Studied {
    Studied::new(&p.notes, &p.strings, &Instrument::guitar(), &Hand::usual()).expect("guitar notes")
}

/// Notes that begin together, two or more, and of these those that the hand cannot hold where they were placed.
fn held(pieces: &[Piece]) -> String {
    let (guitar, hand) = (Instrument::guitar(), Hand::usual());
    let (mut chords, mut not) = (0, 0);
    for (p, places) in pieces.iter().zip(spread(pieces, placed)) {
        let mut order: Vec<usize> = (0..p.notes.len()).collect();
        order.sort_by(|a, b| p.notes[*a].onset_s.total_cmp(&p.notes[*b].onset_s));
        for group in order.chunk_by(|a, b| {
            let (a, b) = (&p.notes[*a], &p.notes[*b]);
            b.onset_s - a.onset_s <= TOGETHER_S && a.onset_s + a.duration_s > b.onset_s
        }) {
            let mut grip = Grip { frets: vec![None; 6] };
            for i in group {
                grip.frets[6 - usize::from(places[*i].0)] = Some(places[*i].1);
            }
            chords += usize::from(group.len() > 1);
            // Two on one string came one after the other.
            not += usize::from(group.len() > 1 && finger(&grip, &guitar, &hand).is_err());
        }
    }
    format!("{chords} {not}\n")
}

/// Weights by conditional likelihood (Lafferty, McCallum, Pereira 2001), and for parts of single notes a little of the structured perceptron with margin
/// (Collins 2002; Taskar, Guestrin, Koller 2003), which counts notes and so weighs where a whole part lies. Steps are scaled by each mark's
/// own slopes (Duchi, Hazan, Singer 2011); the mean of the second half is taken, over several orders. Marks that differ by kind of stroke
/// only share a part, so that what is true of one kind is believed of the others until the data say otherwise.
fn tune(pieces: &[Studied], second: bool, seeds: u64) -> Vec<f64> {
    let start = start_weights();
    let n = start.len();
    // Own parts, then shared ones.
    let mut shared = vec![None; n];
    let mut parts = n;
    for (from, len) in BY_KIND {
        for k in 0..len {
            for kind in 0..3 {
                shared[from + kind * len + k] = Some(parts);
            }
            parts += 1;
        }
    }
    let mut ridge = vec![RIDGE; parts];
    // Shared parts take the strongest hold of their own.
    for (blocks, by) in BY_PLACE.iter().zip(PLACE_RIDGE).rev() {
        for k in blocks.iter().flat_map(|(from, len)| *from..from + len) {
            ridge[k] = RIDGE * by;
            if let Some(s) = shared[k] {
                ridge[s] = ridge[s].max(RIDGE * by);
            }
        }
    }
    let line: Vec<bool> = pieces.iter().map(|p| p.strokes() * 5 > p.len() * 4).collect();
    let notes: usize = pieces.iter().map(Studied::len).sum();
    let whole = |theta: &[f64]| -> Vec<f64> { (0..n).map(|k| start[k] + theta[k] + shared[k].map_or(0.0, |s| theta[s])).collect() };
    let (mut sum, mut steps) = (vec![0.0; parts], 0.0);
    for first in 1..=seeds {
        let mut seed = first;
        let (mut theta, mut squares) = (vec![0.0f64; parts], vec![1.0f64; parts]);
        for pass in 0..PASSES {
            let mut order: Vec<usize> = (0..pieces.len()).collect();
            for i in (1..order.len()).rev() {
                order.swap(i, (draw(&mut seed) * (i + 1) as f64) as usize);
            }
            for batch in order.chunks(8) {
                let w = whole(&theta);
                let slopes = spread(batch, |p| {
                    let mut slope = pieces[*p].slope(&w).1;
                    if line[*p] {
                        slope.iter_mut().zip(pieces[*p].difference(&w, MARGIN)).for_each(|(g, d)| *g += LINES * d);
                    }
                    slope
                });
                let share = batch.iter().map(|p| pieces[*p].len()).sum::<usize>() as f64 / notes as f64;
                let mut g: Vec<f64> = theta.iter().zip(&ridge).map(|(t, r)| t * r * share).collect();
                for k in (0..n).filter(|k| second || *k < SECOND) {
                    let slope: f64 = slopes.iter().map(|s| s[k]).sum();
                    g[k] += slope;
                    if let Some(s) = shared[k] {
                        g[s] += slope;
                    }
                }
                for k in 0..parts {
                    squares[k] += g[k] * g[k];
                    theta[k] -= RATE * g[k] / squares[k].sqrt();
                }
                if pass * 2 >= PASSES {
                    steps += 1.0;
                    sum.iter_mut().zip(&theta).for_each(|(s, t)| *s += t);
                }
            }
        }
    }
    whole(&sum.iter().map(|s| s / steps).collect::<Vec<_>>())
}

/// Both sets of weights. The likelihoods that the second learns from come from first weights that have not seen their piece.
fn tune_both(pieces: &[Piece], fold: impl Fn(&Piece) -> usize) -> [Vec<f64>; 2] {
    let pieces = varied(pieces);
    let studied = spread(&pieces, studied);
    let first = tune(&studied, false, SEEDS);
    let mut second: Vec<Studied> = Vec::new();
    for f in 0..=pieces.iter().map(&fold).max().unwrap_or(0) {
        let of = |inside: bool| studied.iter().zip(&pieces).filter(|(_, p)| (fold(p) == f) == inside).map(|(s, _)| s.clone()).collect::<Vec<_>>();
        let w = tune(&of(false), false, 1);
        for mut s in of(true) {
            s.second(&w);
            second.push(s);
        }
    }
    [first, tune(&second, true, SEEDS)]
}

/// Each piece, a copy as it would be written, and copies as other players might have played it: notes let go of earlier, and single lines a few frets off (without their
/// open strings). How long players hold notes and how high they play differ from player to player more than anything else.
fn varied(pieces: &[Piece]) -> Vec<Piece> {
    let mut out = pieces.to_vec();
    let mut seed = 7;
    let guitar = Instrument::guitar();
    for p in pieces {
        // As it would be written: each note from the stroke's begin to the next one's.
        let mut copy = p.clone();
        let mut order: Vec<usize> = (0..copy.notes.len()).collect();
        order.sort_by(|a, b| copy.notes[*a].onset_s.total_cmp(&copy.notes[*b].onset_s));
        let groups: Vec<&[usize]> = order.chunk_by(|a, b| p.notes[*b].onset_s - p.notes[*a].onset_s <= TOGETHER_S).collect();
        for (k, group) in groups.iter().enumerate() {
            let onset_s = p.notes[group[0]].onset_s;
            for i in *group {
                let n = &mut copy.notes[*i];
                n.onset_s = onset_s;
                n.duration_s = groups.get(k + 1).map_or(n.duration_s, |next| p.notes[next[0]].onset_s - onset_s);
            }
        }
        out.push(copy);
        for _ in 0..COPIES {
            let mean_s = EARLIER_S * draw(&mut seed);
            let by = ((draw(&mut seed) * 2.0 - 1.0) * MOVED).round() as i32;
            let by = if p.name.ends_with("comp") { 0 } else { by };
            let mut copy = Piece { name: p.name.clone(), notes: Vec::new(), strings: Vec::new() };
            for (n, string) in p.notes.iter().zip(&p.strings) {
                let fret = i32::from(n.midi.0 - guitar.sounds(*string, 0).expect("a string").0);
                let earlier_s = -mean_s * libm::log(1.0 - draw(&mut seed));
                if by == 0 || fret > 0 && (1..=20).contains(&(fret + by)) {
                    let duration_s = (n.duration_s - earlier_s).max(n.duration_s.min(0.05));
                    copy.notes.push(Timed { onset_s: n.onset_s, duration_s, midi: Midi((i32::from(n.midi.0) + by) as u8) });
                    copy.strings.push(*string);
                }
            }
            if copy.notes.len() * 10 >= p.notes.len() * 8 {
                out.push(copy);
            }
        }
    }
    out
}

/// 0 to 1 (Knuth's linear congruential generator).
fn draw(seed: &mut u64) -> f64 {
    *seed = seed.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
    (*seed >> 33) as f64 / (1u64 << 31) as f64
}

/// Results in order, from all cores.
fn spread<T: Sync, R: Send>(list: &[T], f: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let next = AtomicUsize::new(0);
    let cores = std::thread::available_parallelism().map_or(1, usize::from).min(list.len().max(1));
    let mut out: Vec<(usize, R)> = std::thread::scope(|s| {
        let work = || {
            let mut own = Vec::new();
            loop {
                let i = next.fetch_add(1, Ordering::Relaxed);
                let Some(x) = list.get(i) else { return own };
                own.push((i, f(x)));
            }
        };
        let hands: Vec<_> = (0..cores).map(|_| s.spawn(work)).collect();
        hands.into_iter().flat_map(|h| h.join().expect("a worker")).collect()
    });
    out.sort_by_key(|o| o.0);
    out.into_iter().map(|o| o.1).collect()
}

/// Tunes on one player and judges on the other, after the first and after the second time through each part.
fn cross(pieces: &[Piece]) -> String {
    let mut out = String::new();
    let mut both = [[0usize; 3]; 2];
    for (one, other) in [("00", "01"), ("01", "00")] {
        let of = |name: &str| -> Vec<Piece> { pieces.iter().filter(|p| p.name.starts_with(name)).cloned().collect() };
        let unseen = of(other);
        let song = |p: &Piece| p.name.bytes().skip(3).take_while(|b| *b != b'-').fold(0usize, |h, b| h * 31 + usize::from(b)) % 3;
        let [first, second] = tune_both(&of(one), song);
        let hits = spread(&unseen, |p| {
            let right = |places: &[(u8, u8)]| places.iter().zip(&p.strings).filter(|(a, b)| a.0 == **b).count();
            let mut s = studied(p);
            let once = right(&s.places(&first)[1]);
            s.second(&first);
            [once, right(&s.places(&second)[1]), p.strings.len()]
        });
        let mut counts = [[0usize; 3]; 2];
        for (p, h) in unseen.iter().zip(hits) {
            let k = usize::from(p.name.ends_with("solo"));
            for i in 0..3 {
                counts[k][i] += h[i];
                both[k][i] += h[i];
            }
        }
        out += &shares(&format!("{one} to {other}"), &counts);
    }
    out + &shares("both", &both)
}

fn shares(name: &str, counts: &[[usize; 3]; 2]) -> String {
    let share = |c: &[usize; 3], i: usize| c[i] as f64 / c[2] as f64;
    ["comp", "solo"].iter().zip(counts).map(|(kind, c)| format!("{name} {kind}: once {:.3}, twice {:.3}\n", share(c, 0), share(c, 1))).collect()
}

/// The weights as source text.
fn source(both: &[Vec<f64>; 2]) -> String {
    let mut out = String::from("//! Weights of the marks that a path's cost is made of, for the first and the second time through the part.\n");
    out += "//!\n//! Tuned by `checks/strings` on the annotations of players 00 and 01 of GuitarSet (Q. Xi, R. Bittner, J. Pauwels, X. Ye, J. P. Bello,\n";
    out += "//! ISMIR 2018, CC BY 4.0); do not edit by hand.\n";
    for (name, weights) in ["FIRST", "SECOND"].iter().zip(both) {
        out += &format!("\n/// One for each mark, in the order of `step`.\n#[rustfmt::skip]\npub const {name}: [f64; {}] = [\n", weights.len());
        for row in weights.chunks(10) {
            out += "    ";
            out += &row.iter().map(|s| format!("{s:.3}")).collect::<Vec<_>>().join(", ").replace("-0.000", "0.000");
            out += ",\n";
        }
        out += "];\n";
    }
    out
}

// All of these were chosen by `cross`.
const PASSES: usize = 10;
const RATE: f64 = 0.3;
/// How strongly a weight is held to its start.
const RIDGE: f64 = 10.0;
/// How much more so the marks of `BY_PLACE`.
const PLACE_RIDGE: [f64; 3] = [1000.0, 30.0, 5.0];
/// What a wrong note is worth to the perceptron, and the perceptron beside the likelihood.
const MARGIN: f64 = 1.0;
const LINES: f64 = 0.1;
/// The result depends on the order of pieces: several orders are averaged.
const SEEDS: u64 = 2;
/// Copies of each piece, by how much earlier at most their notes end on average, and how many frets at most they move.
const COPIES: usize = 2;
const EARLIER_S: f64 = 0.1;
const MOVED: f64 = 3.0;
