//! Planar `f32` samples with a rate, and what is done to them in time: slicing, mixing, scaling, measuring the peak.

use crate::units::Seconds;
use std::ops::Range;

/// Sound in memory: one vector of samples for each channel, all of one length, and the sample rate.
///
/// At least one and at most [`Buffer::MAX_CHANNELS`] channels; the rate is 1 to [`Buffer::MAX_RATE_HZ`]. No frames at all
/// is allowed: every function here then gives an empty or silent result.
#[derive(Clone, Debug, PartialEq)]
pub struct Buffer {
    rate_hz: u32,
    channels: Vec<Vec<f32>>,
}

/// Why samples do not make a buffer, or two buffers do not go together.
#[derive(Clone, Debug, PartialEq)]
pub enum BufferError {
    /// The rate is 0 or above [`Buffer::MAX_RATE_HZ`].
    Rate { found_hz: u32 },
    /// No channel, or more than [`Buffer::MAX_CHANNELS`].
    Channels { found: usize },
    /// A channel is not as long as the first one.
    UnequalLengths {
        channel: usize,
        found_frames: usize,
        first_frames: usize,
    },
    /// Interleaved samples that do not fill whole frames.
    Ragged { samples: usize, channels: usize },
    /// A sample is infinite or not a number.
    NotFinite { channel: usize, frame: usize },
    /// Two buffers of different rates.
    RateMismatch { ours_hz: u32, theirs_hz: u32 },
    /// Two buffers whose channels cannot be paired: neither equal in number, nor mono into many.
    ChannelMismatch { ours: usize, theirs: usize },
}

impl std::fmt::Display for BufferError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            BufferError::Rate { found_hz } => {
                write!(
                    f,
                    "sample rate is {found_hz} Hz; it must be 1 to {} Hz",
                    Buffer::MAX_RATE_HZ
                )
            }
            BufferError::Channels { found } => {
                write!(
                    f,
                    "{found} channels; there must be 1 to {}",
                    Buffer::MAX_CHANNELS
                )
            }
            BufferError::UnequalLengths {
                channel,
                found_frames,
                first_frames,
            } => write!(
                f,
                "channel {channel} has {found_frames} samples and channel 0 has {first_frames}; all must be of one length"
            ),
            BufferError::Ragged { samples, channels } => {
                write!(
                    f,
                    "{samples} interleaved samples do not make whole frames of {channels} channels"
                )
            }
            BufferError::NotFinite { channel, frame } => {
                write!(
                    f,
                    "sample {frame} of channel {channel} is not a finite number"
                )
            }
            BufferError::RateMismatch { ours_hz, theirs_hz } => {
                write!(
                    f,
                    "cannot join {theirs_hz} Hz into {ours_hz} Hz; resample it first"
                )
            }
            BufferError::ChannelMismatch { ours, theirs } => {
                write!(
                    f,
                    "cannot join {theirs} channels into {ours}; they must be as many, or one"
                )
            }
        }
    }
}

impl std::error::Error for BufferError {}

impl Buffer {
    /// Most channels that a buffer can have.
    pub const MAX_CHANNELS: usize = 32;
    /// Highest sample rate that a buffer can have.
    pub const MAX_RATE_HZ: u32 = 768_000;

    /// A buffer from one vector for each channel.
    ///
    /// Errors: a rate or channel count out of range, channels of different lengths, a sample that is not finite.
    pub fn new(rate_hz: u32, channels: Vec<Vec<f32>>) -> Result<Buffer, BufferError> {
        check_rate(rate_hz)?;
        check_channels(channels.len())?;
        let first_frames = channels[0].len();
        for (channel, samples) in channels.iter().enumerate() {
            if samples.len() != first_frames {
                return Err(BufferError::UnequalLengths {
                    channel,
                    found_frames: samples.len(),
                    first_frames,
                });
            }
            if let Some(frame) = samples.iter().position(|s| !s.is_finite()) {
                return Err(BufferError::NotFinite { channel, frame });
            }
        }
        Ok(Buffer { rate_hz, channels })
    }

    /// One channel of samples.
    pub fn from_mono(rate_hz: u32, samples: Vec<f32>) -> Result<Buffer, BufferError> {
        Buffer::new(rate_hz, vec![samples])
    }

    /// A buffer from samples in the order frame by frame, `[left, right, left, right, …]`.
    pub fn from_interleaved(
        rate_hz: u32,
        channels: usize,
        samples: &[f32],
    ) -> Result<Buffer, BufferError> {
        check_channels(channels)?;
        if !samples.len().is_multiple_of(channels) {
            return Err(BufferError::Ragged {
                samples: samples.len(),
                channels,
            });
        }
        let planes = (0..channels)
            .map(|c| samples.iter().skip(c).step_by(channels).copied().collect())
            .collect();
        Buffer::new(rate_hz, planes)
    }

    /// Silence.
    pub fn silence(rate_hz: u32, channels: usize, frames: usize) -> Result<Buffer, BufferError> {
        check_rate(rate_hz)?;
        check_channels(channels)?;
        Ok(Buffer {
            rate_hz,
            channels: vec![vec![0.0; frames]; channels],
        })
    }

    /// Samples a second in each channel.
    pub fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    /// How many channels.
    pub fn channel_count(&self) -> usize {
        self.channels.len()
    }

    /// Length in frames.
    pub fn frames(&self) -> usize {
        self.channels[0].len()
    }

    /// Length in seconds.
    pub fn duration(&self) -> Seconds {
        Seconds::from_frames(self.frames(), self.rate_hz)
    }

    /// Whether there is no frame.
    pub fn is_empty(&self) -> bool {
        self.frames() == 0
    }

    /// All channels, in order (left before right).
    pub fn channels(&self) -> &[Vec<f32>] {
        &self.channels
    }

    /// One channel's samples. Empty for a channel that is not there.
    pub fn channel(&self, index: usize) -> &[f32] {
        self.channels.get(index).map_or(&[], Vec::as_slice)
    }

    /// One channel's samples, to be changed in place. Empty for a channel that is not there.
    pub fn channel_mut(&mut self, index: usize) -> &mut [f32] {
        self.channels
            .get_mut(index)
            .map_or(&mut [], Vec::as_mut_slice)
    }

    /// The vectors themselves.
    pub fn into_channels(self) -> Vec<Vec<f32>> {
        self.channels
    }

    /// Samples frame by frame, `[left, right, left, right, …]`.
    pub fn interleaved(&self) -> Vec<f32> {
        let mut out = Vec::with_capacity(self.frames() * self.channel_count());
        for frame in 0..self.frames() {
            out.extend(self.channels.iter().map(|c| c[frame]));
        }
        out
    }

    /// The mean of all channels, as one channel. (Two equal channels keep their level.)
    pub fn mono(&self) -> Buffer {
        let scale = 1.0 / self.channel_count() as f32;
        let samples = (0..self.frames())
            .map(|n| self.channels.iter().map(|c| c[n]).sum::<f32>() * scale)
            .collect();
        Buffer {
            rate_hz: self.rate_hz,
            channels: vec![samples],
        }
    }

    /// The frames of `range`, what lies past the end left off.
    pub fn slice_frames(&self, range: Range<usize>) -> Buffer {
        let end = range.end.min(self.frames());
        let start = range.start.min(end);
        Buffer {
            rate_hz: self.rate_hz,
            channels: self
                .channels
                .iter()
                .map(|c| c[start..end].to_vec())
                .collect(),
        }
    }

    /// The frames from one time to another, both rounded to the nearest frame; what lies outside is left off.
    pub fn slice_time(&self, range: Range<Seconds>) -> Buffer {
        self.slice_frames(range.start.to_frames(self.rate_hz)..range.end.to_frames(self.rate_hz))
    }

    /// Cuts the end off, or adds silence to it, so that the length is `frames`.
    pub fn resize_frames(&mut self, frames: usize) {
        for c in &mut self.channels {
            c.resize(frames, 0.0);
        }
    }

    /// Adds `gain` times `other` to this buffer, its first frame at `at_frame`. What would lie past this buffer's end is
    /// dropped. A mono `other` goes into every channel; otherwise both have as many channels.
    ///
    /// Errors: different rates, channels that cannot be paired.
    pub fn mix_in(
        &mut self,
        other: &Buffer,
        at_frame: usize,
        gain: f32,
    ) -> Result<(), BufferError> {
        if self.rate_hz != other.rate_hz {
            return Err(BufferError::RateMismatch {
                ours_hz: self.rate_hz,
                theirs_hz: other.rate_hz,
            });
        }
        let (ours, theirs) = (self.channel_count(), other.channel_count());
        if theirs != 1 && theirs != ours {
            return Err(BufferError::ChannelMismatch { ours, theirs });
        }
        for (index, channel) in self.channels.iter_mut().enumerate() {
            let source = &other.channels[if theirs == 1 { 0 } else { index }];
            let target = channel.get_mut(at_frame..).unwrap_or(&mut []);
            for (t, s) in target.iter_mut().zip(source) {
                *t += gain * s;
            }
        }
        Ok(())
    }

    /// Multiplies every sample by a linear `gain`.
    pub fn scale(&mut self, gain: f32) {
        for s in self.channels.iter_mut().flatten() {
            *s *= gain;
        }
    }

    /// The largest absolute sample of all channels (linear); 0 when empty. For the peak between samples see
    /// [`true_peak_dbtp`](crate::true_peak_dbtp).
    pub fn peak(&self) -> f32 {
        self.channels
            .iter()
            .flatten()
            .fold(0.0, |peak, s| peak.max(s.abs()))
    }
}

fn check_rate(rate_hz: u32) -> Result<(), BufferError> {
    if (1..=Buffer::MAX_RATE_HZ).contains(&rate_hz) {
        Ok(())
    } else {
        Err(BufferError::Rate { found_hz: rate_hz })
    }
}

fn check_channels(channels: usize) -> Result<(), BufferError> {
    if (1..=Buffer::MAX_CHANNELS).contains(&channels) {
        Ok(())
    } else {
        Err(BufferError::Channels { found: channels })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stereo() -> Buffer {
        Buffer::new(
            10,
            vec![vec![0.1, 0.2, 0.3, 0.4], vec![-0.5, 0.0, 0.1, 0.2]],
        )
        .unwrap()
    }

    #[test]
    fn constructors_refuse_what_is_not_sound() {
        assert_eq!(
            Buffer::from_mono(0, vec![0.0]),
            Err(BufferError::Rate { found_hz: 0 })
        );
        assert_eq!(
            Buffer::from_mono(900_000, vec![0.0]),
            Err(BufferError::Rate { found_hz: 900_000 })
        );
        assert_eq!(
            Buffer::new(48_000, vec![]),
            Err(BufferError::Channels { found: 0 })
        );
        assert_eq!(
            Buffer::silence(48_000, 33, 1),
            Err(BufferError::Channels { found: 33 })
        );
        assert_eq!(
            Buffer::silence(0, 1, 1),
            Err(BufferError::Rate { found_hz: 0 })
        );
        assert_eq!(
            Buffer::new(48_000, vec![vec![0.0; 2], vec![0.0; 3]]),
            Err(BufferError::UnequalLengths {
                channel: 1,
                found_frames: 3,
                first_frames: 2
            })
        );
        assert_eq!(
            Buffer::new(48_000, vec![vec![0.0; 2], vec![0.0, f32::NAN]]),
            Err(BufferError::NotFinite {
                channel: 1,
                frame: 1
            })
        );
        assert_eq!(
            Buffer::from_interleaved(48_000, 2, &[0.0; 3]),
            Err(BufferError::Ragged {
                samples: 3,
                channels: 2
            })
        );
        assert_eq!(
            Buffer::from_interleaved(48_000, 0, &[]),
            Err(BufferError::Channels { found: 0 })
        );
    }

    #[test]
    fn interleaving_there_and_back() {
        let buffer = stereo();
        assert_eq!(
            buffer.interleaved(),
            [0.1, -0.5, 0.2, 0.0, 0.3, 0.1, 0.4, 0.2]
        );
        assert_eq!(
            Buffer::from_interleaved(10, 2, &buffer.interleaved()),
            Ok(buffer)
        );
    }

    #[test]
    fn slices_stay_inside() {
        let buffer = stereo();
        assert_eq!(buffer.slice_frames(1..3).channel(0), [0.2, 0.3]);
        assert_eq!(buffer.slice_frames(3..99).channel(1), [0.2]);
        assert!(buffer.slice_frames(7..9).is_empty());
        let (from, to) = (3, 1);
        assert!(buffer.slice_frames(from..to).is_empty());
        assert_eq!(
            buffer.slice_time(Seconds(0.1)..Seconds(0.3)),
            buffer.slice_frames(1..3)
        );
        assert!(
            buffer
                .slice_time(Seconds(f64::NAN)..Seconds(f64::NAN))
                .is_empty()
        );
    }

    #[test]
    fn mono_is_the_mean() {
        assert_eq!(stereo().mono().channel(0), [-0.2, 0.1, 0.2, 0.3]);
    }

    #[test]
    fn mixing_adds_at_a_place_and_drops_the_overhang() {
        let mut mix = Buffer::silence(10, 2, 3).unwrap();
        mix.mix_in(&stereo(), 1, 2.0).unwrap();
        assert_eq!(mix.channels(), [vec![0.0, 0.2, 0.4], vec![0.0, -1.0, 0.0]]);
        mix.mix_in(&Buffer::from_mono(10, vec![1.0]).unwrap(), 0, 0.5)
            .unwrap();
        assert_eq!(mix.channels(), [vec![0.5, 0.2, 0.4], vec![0.5, -1.0, 0.0]]);
        mix.mix_in(&stereo(), usize::MAX, 1.0).unwrap();
        assert_eq!(
            mix.mix_in(&Buffer::silence(11, 1, 1).unwrap(), 0, 1.0),
            Err(BufferError::RateMismatch {
                ours_hz: 10,
                theirs_hz: 11
            })
        );
        assert_eq!(
            mix.mix_in(&Buffer::silence(10, 3, 1).unwrap(), 0, 1.0),
            Err(BufferError::ChannelMismatch { ours: 2, theirs: 3 })
        );
    }

    #[test]
    fn peak_scale_and_length() {
        let mut buffer = stereo();
        assert_eq!(buffer.peak(), 0.5);
        buffer.scale(0.5);
        assert_eq!(buffer.peak(), 0.25);
        buffer.resize_frames(6);
        assert_eq!((buffer.frames(), buffer.channel(0)[5]), (6, 0.0));
        assert_eq!(buffer.channel(9), [0.0f32; 0]);
        assert_eq!(Buffer::silence(10, 1, 0).unwrap().peak(), 0.0);
    }
}
