//! A turning's pictures as one video with a transparent ground, by an encoder program that may be on the machine: the list that it reads and the arguments that it
//! takes. Looking for the program and running it is the caller's.

use super::Turning;

/// Programs that take [`arguments`], in the order in which to look for them.
pub const ENCODERS: [&str; 1] = ["ffmpeg"];

/// What the encoder makes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Video {
    /// Pictures a second, 1 to 120. A change falls on the nearest picture, at most half of one off.
    pub rate: u32,
}

impl Default for Video {
    fn default() -> Video {
        Video { rate: 50 }
    }
}

/// The ending of the video's file: a QuickTime film of run-length coded pictures, lossless and with alpha, in which a picture that stays takes next to no room.
pub const ENDING: &str = ".mov";

impl Video {
    fn per_second(&self) -> u32 {
        self.rate.clamp(1, 120)
    }

    /// How many pictures of the video have begun by a time, to the nearest.
    fn pictures(&self, seconds: f64) -> u64 {
        // The cast saturates, and turns what is no number into 0.
        (seconds * f64::from(self.per_second())).round().max(0.0) as u64
    }
}

/// The list of pictures with their durations that the encoder reads; the pictures lie beside it, under their names with `.png`. Durations are whole pictures of
/// the video, rounded so that no error adds up. Where the first change is later than 0, the first picture stands from 0 on; what lies before 0 is cut off.
pub fn list(turning: &Turning, video: &Video) -> String {
    let rate = video.per_second();
    let mut out = String::from("ffconcat version 1.0\n");
    let mut last = String::new();
    for (i, (from, to, name)) in turning.spans().enumerate() {
        let pictures = video.pictures(to).saturating_sub(if i == 0 { 0 } else { video.pictures(from) });
        if pictures > 0 {
            // Without the rate the reader would round to twenty-fifths of a second.
            last = format!("file '{name}.png'\noption framerate {rate}\n");
            out.push_str(&format!("{last}duration {:.6}\n", pictures as f64 / f64::from(rate)));
        }
    }
    // The reader drops the last duration unless a file follows.
    out + &last
}

/// The encoder's arguments: `list_file` as written by [`list`], `seconds` the turning's end, `out` the video to write (one that is there is kept, and the encoder fails).
///
/// ```
/// let a = pack::overlay::video::arguments("verse.txt", 9.8, "verse.mov", &Default::default());
/// assert_eq!(a.last().unwrap(), "verse.mov");
/// assert!(a.windows(2).any(|w| w[0] == "-frames:v" && w[1] == "490"));
/// ```
pub fn arguments(list_file: &str, seconds: f64, out: &str, video: &Video) -> Vec<String> {
    let (rate, pictures) = (format!("fps={}", video.per_second()), video.pictures(seconds).max(1).to_string());
    let all = ["-n", "-nostdin", "-loglevel", "error", "-f", "concat", "-safe", "0", "-i", list_file, "-vf", &rate, "-frames:v", &pictures, "-an", "-c:v", "qtrle", "-pix_fmt", "argb", "-fflags", "+bitexact", "-map_metadata", "-1", out];
    all.iter().map(|a| a.to_string()).collect()
}
