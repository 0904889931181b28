//! The note network: spectra to how likely each pitch begins and sounds, on which string, and where a scratch is.
//!
//! Trained by `training/notes` on nothing but what stands in its README; the weights lie in `weights/notes.onnx`. A long take goes through in windows whose
//! margins are thrown away, so that its length costs time and no memory.

use crate::spectra::{BINS, Spectra};
use rten::{Model, RunOptions, ThreadPool, ValueOrView};
use rten_tensor::{AsView, NdTensor};
use std::sync::Arc;

/// Pitches from MIDI 40 up.
pub(crate) const PITCHES: usize = 49;
pub(crate) const LOWEST: u8 = 40;
pub(crate) const STRINGS: usize = 6;
/// Frames that are kept of a window, and margins: notes are then those of a take heard at once but for 3 of 1,036; of windows of 510 and 40 frames, which cost less memory, for 12.
const KEPT: usize = 1240;
const MARGIN: usize = 60;
/// More threads than these spend more of the processor than they save time, and so do two on processors that share a core, as they mostly do.
const MOST_THREADS: usize = 4;

static WEIGHTS: &[u8] = include_bytes!("../weights/notes.onnx");

/// Frame by frame.
#[derive(Default)]
pub(crate) struct Posteriors {
    pub frames: usize,
    /// [frames, PITCHES], probabilities.
    pub onset: Vec<f32>,
    pub sustain: Vec<f32>,
    /// [frames, PITCHES, STRINGS], logits, low string first.
    pub strings: Vec<f32>,
    /// [frames].
    pub scratch: Vec<f32>,
}

impl Posteriors {
    pub fn onset(&self, frame: usize, pitch: usize) -> f32 {
        self.onset[frame * PITCHES + pitch]
    }

    pub fn sustain(&self, frame: usize, pitch: usize) -> f32 {
        self.sustain[frame * PITCHES + pitch]
    }
}

/// The network over a whole take; `progress` is told how much is done, 0 to 1.
///
/// # Errors
/// A sentence where the network does not run: a fault of the program, not of the take.
pub(crate) fn posteriors(spectra: &Spectra, progress: &dyn Fn(f64)) -> Result<Posteriors, String> {
    let processors = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    run(spectra, &threads((processors / 2).clamp(1, MOST_THREADS)), false, progress)
}

/// Onset and sustain alone, on one thread, which takes longer but less of the machine: several hearings may go on beside each other.
///
/// # Errors
/// As [`posteriors`].
pub(crate) fn onset_and_sustain(spectra: &Spectra) -> Result<Posteriors, String> {
    run(spectra, &threads(1), true, &|_| ())
}

fn threads(count: usize) -> RunOptions {
    RunOptions::default().with_thread_pool(Some(Arc::new(ThreadPool::with_num_threads(count))))
}

/// `brief`: onset and sustain alone.
fn run(spectra: &Spectra, options: &RunOptions, brief: bool, progress: &dyn Fn(f64)) -> Result<Posteriors, String> {
    let fault = |e: &dyn std::fmt::Display| format!("the note network does not run: {e}");
    let model = Model::load_static_slice(WEIGHTS).map_err(|e| fault(&e))?;
    let id = |name: &str| model.node_id(name).map_err(|e| fault(&e));
    let input = id("spectra")?;
    let outputs = [id("onset")?, id("sustain")?, id("strings")?, id("scratch")?];
    let outputs = if brief { &outputs[..2] } else { &outputs[..] };
    let mut out = Posteriors::default();
    // For listening alone windows of even length: a short last one would cost its margins for little.
    let longest = if brief { spectra.frames.div_ceil(spectra.frames.div_ceil(KEPT).max(1)) } else { KEPT };
    while out.frames < spectra.frames {
        let at = out.frames;
        let (from, to) = (at.saturating_sub(MARGIN), (at + longest + MARGIN).min(spectra.frames));
        let kept = (at + longest).min(spectra.frames) - at;
        let tensor = NdTensor::from_data([1, 3, to - from, BINS], spectra.cut(from, to));
        let values = model.run(vec![(input, ValueOrView::View(tensor.view().into()))], outputs, Some(options.clone())).map_err(|e| fault(&e))?;
        let into = [&mut out.onset, &mut out.sustain, &mut out.strings, &mut out.scratch];
        for ((value, list), width) in values.into_iter().zip(into).zip([PITCHES, PITCHES, PITCHES * STRINGS, 1]) {
            let data = value.into_tensor::<f32>().ok_or_else(|| fault(&"an output is no list of numbers"))?.into_data();
            let cut = (at - from) * width..(at - from + kept) * width;
            list.extend_from_slice(data.get(cut).ok_or_else(|| fault(&"an output is too short"))?);
        }
        out.frames += kept;
        progress(out.frames as f64 / spectra.frames as f64);
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decode;
    use serde_json::Value;

    /// The sound of `weights/vector.json`, by its formula.
    fn sound(v: &Value) -> Vec<f32> {
        let notes: Vec<Vec<f64>> = v["notes"].as_array().unwrap().iter().map(numbers).collect();
        let sample = |n: u64| -> f64 {
            let t = n as f64 / 22_050.0;
            let mut y = 0.0;
            for note in &notes {
                let [on, midi, a, tau] = note[..] else { panic!("four numbers a note") };
                let (since, hz) = (t - on, 440.0 * libm::exp2((midi - 69.0) / 12.0));
                if since < 0.0 {
                    continue;
                }
                for k in (1..=12).map(f64::from).filter(|k| k * hz < 10_000.0) {
                    y += a / k * libm::exp(-since * (1.0 + 0.3 * k) / tau) * libm::sin(std::f64::consts::TAU * k * hz * since) * (since / 0.002).min(1.0);
                }
            }
            y
        };
        (0..v["samples"].as_u64().unwrap()).map(|n| sample(n) as f32).collect()
    }

    fn numbers(v: &Value) -> Vec<f64> {
        v.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect()
    }

    /// Spectra, outputs and notes as the training's own code has them.
    #[test]
    fn all_is_as_in_training() {
        let v: Value = serde_json::from_str(include_str!("../weights/vector.json")).unwrap();
        let spectra = Spectra::new(&sound(&v), 440.0);
        assert_eq!(spectra.frames as u64, v["frames"].as_u64().unwrap());
        for (frame, windows) in v["spectra"].as_object().unwrap() {
            let k: usize = frame.parse().unwrap();
            let own = spectra.cut(k, k + 1);
            let theirs: Vec<f64> = windows.as_array().unwrap().iter().flat_map(numbers).collect();
            let worst = own.iter().zip(&theirs).map(|(a, b)| (f64::from(*a) - b).abs()).fold(0.0, f64::max);
            assert!(own.len() == theirs.len() && worst < 2e-3, "frame {k}: {worst}");
        }
        let post = posteriors(&spectra, &|_| ()).unwrap();
        assert_eq!(post.frames, spectra.frames);
        for row in v["onset_and_sustain"].as_array().unwrap() {
            let [frame, midi, onset, sustain] = numbers(row)[..] else { panic!("four numbers") };
            let (k, p) = (frame as usize, midi as usize - usize::from(LOWEST));
            assert!((f64::from(post.onset(k, p)) - onset).abs() < 0.01 && (f64::from(post.sustain(k, p)) - sustain).abs() < 0.01, "{row}");
        }
        for row in v["strings"].as_array().unwrap() {
            let row = numbers(row);
            let at = (row[0] as usize * PITCHES + row[1] as usize - usize::from(LOWEST)) * STRINGS;
            assert!(post.strings[at..at + STRINGS].iter().zip(&row[2..]).all(|(a, b)| (f64::from(*a) - b).abs() < 0.1), "{row:?}");
        }
        let scratch = numbers(&v["scratch"]);
        assert!(post.scratch.iter().zip(&scratch).all(|(a, b)| (f64::from(*a) - b).abs() < 0.01));
        let found = decode::notes(&post);
        let wanted: Vec<Vec<f64>> = v["found"].as_array().unwrap().iter().map(numbers).collect();
        assert_eq!(found.len(), wanted.len());
        for w in wanted {
            assert!(found.iter().any(|n| f64::from(n.midi.0) == w[2] && (n.onset_s - w[0]).abs() < 2e-3 && (n.offset_s - w[1]).abs() < 0.013 && (n.confidence - w[3]).abs() < 0.01), "{w:?} in {found:?}");
        }
    }
}
