//! What can be asked on the command line.

use clap::{Args as ClapArgs, Parser, Subcommand};
use std::path::PathBuf;

/// Makes a guitar lesson's handout, play-along audio, pupil's page and exchange files from one plain-text lesson.
#[derive(Debug, Parser)]
#[command(name = "partwright", version, long_version = VERSION, long_about = None, after_help = "Examples:\n  partwright new my-lesson\n  partwright open my-lesson\n  partwright make my-lesson\n  partwright name \"x x 8 8 8 x\" --bass C\n\nExit codes: 0 done, 1 fault in the material, 2 called wrongly, 3 could not read, write or go on.", subcommand_required = false)]
pub struct Args {
    /// Answer with one JSON object on standard output
    #[arg(long, global = true)]
    pub json: bool,
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// What `--version` prints behind the name.
const VERSION: &str = concat!(env!("CARGO_PKG_VERSION"), "\nfor ", env!("BUILT_FOR"), ", ", env!("BUILT_HOW"), "\nby ", env!("BUILT_BY"), "\nfrom ", env!("BUILT_FROM"));

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Start a lesson folder
    New(New),
    /// The bench: the page where you work on a lesson, in your own browser
    Open(Open),
    /// Everything that pupils get: handout, page, sound, exchange files
    Make(Make),
    /// For in front of a camera: running order, overlays, systems that turn in time
    Film(Film),
    /// Chapters of a recorded lesson, from taps or from the play-along heard in it
    Chapters(Chapters),
    /// Names for a grip, with reasons
    Name(Name),
    /// Where notes or a chord lie on the neck
    Place(Place),
    /// What a record tells: pitch, beats and bars, key, chords, bass, seats
    Hear(Hear),
    /// A clean take of one guitar, written out as a part
    Take(Take),
    /// The parts against the record, and the lesson against itself
    Check(Check),
    /// How the parts of each passage share time and register
    Lock(Lock),
    /// Look over all lessons below a folder
    Find(Find),
    /// What pupils asked for, held against the lessons there are
    Requests(Requests),
    /// Several lessons in order, with what each builds on
    Course(Course),
    /// Print the manual page, or that of one command
    #[command(after_help = "Examples:\n  partwright manpage > ~/.local/share/man/man1/partwright.1\n  partwright manpage make | man -l -")]
    Manpage {
        /// The command
        of: Option<String>,
    },
    /// Print a completion script for a shell
    #[command(after_help = "Example:\n  partwright completions bash > ~/.local/share/bash-completion/completions/partwright")]
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
}

/// Start a lesson folder.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  partwright new my-lesson\n  partwright new lessons/rain --title \"Rain on Wharf Street\"")]
pub struct New {
    /// Folder to make; it must not hold a lesson yet
    pub dir: PathBuf,
    /// The lesson's title
    #[arg(long, default_value = "A new lesson")]
    pub title: String,
}

/// The bench: the page where you work on a lesson.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  partwright open my-lesson\n  partwright open --shelf lessons --browse\n\nPrints an address that works once, in a browser on this machine, and nowhere else. Everything typed is kept as you type; end it with Ctrl-C.")]
pub struct Open {
    /// The lesson's folder; without one you choose or start one on the page
    pub dir: Option<PathBuf>,
    /// Folder below which lessons to choose from lie, and new ones go; the lesson's own surroundings, or this folder, where it is not given
    #[arg(long, value_name = "DIR")]
    pub shelf: Option<PathBuf>,
    /// Port to listen on; any free one where it is not given
    #[arg(long, default_value_t = 0)]
    pub port: u16,
    /// Open the page in your browser, too
    #[arg(long)]
    pub browse: bool,
}

/// The instrument that a grip or note is meant for.
#[derive(Debug, Clone, ClapArgs)]
pub struct Neck {
    /// A named tuning ("drop D") or its notes low to high ("D2 A2 D3 G3 A3 D4")
    #[arg(long, default_value = "standard")]
    pub tuning: String,
    /// Fret that the capo lies at; frets count from it
    #[arg(long, default_value_t = 0, value_parser = clap::value_parser!(u8).range(0..=12))]
    pub capo: u8,
    /// A bass instead of a guitar
    #[arg(long)]
    pub on_bass: bool,
    /// Number of strings (guitar 6 to 8, bass 4 to 6)
    #[arg(long)]
    pub strings: Option<usize>,
}

/// Names for a grip.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  partwright name \"x x 8 8 8 x\" --bass C --key \"C minor\"\n  partwright name \"x 10 12 10 11 10\" --json\n  partwright name --batch grips.txt\n\nA batch file has one grip a line:\nFRETS[;bass=…][;key=…][;tuning=…][;capo=…][;chords=…][;before=…][;after=…]\n\nA sequence file holds timed notes and the stretches of time to be named:\n{\"notes\": [{\"onset\": 0.0, \"duration\": 0.5, \"midi\": 60, \"bass\"?: true}, …],\n \"stretches\": [{\"start\": 0.0, \"end\": 2.0}, …], \"key\"?: \"C minor\"}")]
pub struct Name {
    /// One token a string, low to high: a fret or x
    #[arg(required_unless_present_any = ["batch", "sequence"], allow_hyphen_values = true)]
    pub frets: Option<String>,
    /// The bass part's note, such as C or Eb1
    #[arg(long)]
    pub bass: Option<String>,
    /// The key, such as "C minor"
    #[arg(long)]
    pub key: Option<String>,
    /// The teacher's own chord sign at this place
    #[arg(long)]
    pub written: Option<String>,
    /// How signs are written
    #[arg(long, value_parser = pitch::Style::parse, default_value = pitch::Style::default().name())]
    pub style: pitch::Style,
    #[command(flatten)]
    pub neck: Neck,
    /// Read one grip a line from this file and print one JSON object a line
    #[arg(long, conflicts_with = "frets")]
    pub batch: Option<PathBuf>,
    /// Also where this grip stands in the lessons below this folder
    #[arg(long, value_name = "DIR", conflicts_with_all = ["batch", "sequence"])]
    pub shelf: Option<PathBuf>,
    /// The chord before
    #[arg(long)]
    pub before: Option<String>,
    /// The chord after
    #[arg(long)]
    pub after: Option<String>,
    /// Read timed notes and stretches of time from this file, and name the harmony of each stretch in the light of the others
    #[arg(long, conflicts_with_all = ["frets", "batch"])]
    pub sequence: Option<PathBuf>,
}

/// Where notes or a chord lie on the neck.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  partwright place Cm7 --on 4,3,2\n  partwright place \"C4 E4 G4\"\n  partwright place F --on 4,3,2 --inversions --near \"x x 5 5 5 x\"\n  partwright place C --on 4,3,2 --up-the-neck\n  partwright place --sequence notes.json --json\n\nA sequence file holds {\"notes\": [{\"onset\": 0.0, \"duration\": 0.5, \"midi\": 60}, …], \"tuning\"?, \"capo\"?}. A note may have \"pin\": 3 (it lies on that string) and \"joined\": true (it is slid, hammered or pulled to, on a string of the stroke before).")]
pub struct Place {
    /// Notes with octave ("C4 E4 G4") or a chord sign ("Cm7")
    #[arg(required_unless_present = "sequence", num_args = 1..)]
    pub notes: Vec<String>,
    /// Only these strings, 1 = highest, such as 4,3,2
    #[arg(long, value_delimiter = ',')]
    pub on: Option<Vec<u8>>,
    /// Only these frets, such as 5-9
    #[arg(long)]
    pub frets: Option<String>,
    /// Tones of the chord that may be left out, such as R,5
    #[arg(long, value_delimiter = ',')]
    pub may_omit: Vec<String>,
    /// Tones of the chord that must sound, though --may-omit names them
    #[arg(long, value_delimiter = ',')]
    pub must: Vec<String>,
    /// Any tone of the chord may be the lowest
    #[arg(long)]
    pub inversions: bool,
    /// Grips in which every string of --on sounds, one for each lowest note, from low to high
    #[arg(long, conflicts_with_all = ["near", "sequence"])]
    pub up_the_neck: bool,
    /// The grips nearest to this one come first, such as "x x 8 8 8 x"
    #[arg(long, value_name = "FRETS", conflicts_with = "sequence")]
    pub near: Option<String>,
    /// What makes a grip near: its voices move least, or the hand does
    #[arg(long, value_parser = ["voices", "hand"], default_value = "voices")]
    pub near_by: String,
    /// How far the hand spans
    #[arg(long, value_parser = ["small", "usual", "large"], default_value = "usual")]
    pub hand: String,
    /// Longest list
    #[arg(long, default_value_t = 12, value_parser = clap::value_parser!(u16).range(1..=1000))]
    pub most: u16,
    #[command(flatten)]
    pub neck: Neck,
    /// Read timed notes from this file and give each its string and fret
    #[arg(long, conflicts_with = "notes")]
    pub sequence: Option<PathBuf>,
    /// With --sequence: draw the hand to this fret, as far as the notes allow
    #[arg(long, requires = "sequence", value_parser = clap::value_parser!(u8).range(1..=24))]
    pub around: Option<u8>,
    /// With --sequence: other ways through the part too, from low on the neck to high
    #[arg(long, requires = "sequence", conflicts_with = "around")]
    pub ways: bool,
}

/// What a record tells.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  partwright hear record.flac\n  partwright hear record.flac --beat 0:12.40 --beat 0:13.02 --json\n  partwright hear record.flac --write slow.wav --from 0:12.4 --to 0:21.8 --speed 60 --seat left --concert\n\nWhat was heard is kept in the folder .partwright beside the record, so that the second time it is there at once.\nThe record itself is left as it is. What is written of it is for your own practice: a record is not yours to hand on.")]
pub struct Hear {
    /// The record: WAV, FLAC, MP3, Ogg or M4A
    pub audio: PathBuf,
    /// A beat lies here (minutes and seconds); may be given several times
    #[arg(long = "beat", value_name = "TIME")]
    pub beats: Vec<String>,
    /// A bar begins here, on a beat; may be given several times
    #[arg(long = "bar", value_name = "TIME")]
    pub bars: Vec<String>,
    /// The beats a minute, within a tenth of which the beats are looked for
    #[arg(long, value_name = "BPM", value_parser = beats_a_minute)]
    pub tempo: Option<f64>,
    /// The meter: 4/4, 3/4 or 6/8
    #[arg(long, value_name = "METER", value_parser = heard_meter)]
    pub meter: Option<hear::Meter>,
    #[command(flatten)]
    pub written: Written,
}

/// What is written of a record, for practice.
#[derive(Debug, ClapArgs)]
#[command(next_help_heading = "For practice")]
pub struct Written {
    /// Write the record, or what the options below leave of it, to this file (.wav or .flac)
    #[arg(long, value_name = "FILE")]
    pub write: Option<PathBuf>,
    /// Only from here (minutes and seconds)
    #[arg(long, value_name = "TIME", requires = "write")]
    pub from: Option<String>,
    /// Only up to here
    #[arg(long, value_name = "TIME", requires = "write")]
    pub to: Option<String>,
    /// Let one seat of the stereo picture through: left, centre, right, or -1 to 1
    #[arg(long, value_name = "SEAT", requires = "write", allow_hyphen_values = true, value_parser = seat)]
    pub seat: Option<SeatArg>,
    /// Take that seat out instead
    #[arg(long, requires = "seat")]
    pub without: bool,
    /// How far the seat reaches to either side
    #[arg(long, requires = "seat", default_value_t = hear::SEAT_WIDTH)]
    pub width: f64,
    /// Keep what rings, or what strikes
    #[arg(long, requires = "write", conflicts_with = "seat", value_parser = ["tones", "strokes"])]
    pub keep: Option<String>,
    /// Per cent of the tempo, 25 to 200, at the same pitch
    #[arg(long, value_name = "PERCENT", requires = "write", default_value_t = 100.0)]
    pub speed: f64,
    /// At concert pitch, A = 440 Hz
    #[arg(long, requires = "write")]
    pub concert: bool,
}

/// A place in the stereo picture: by its side, or exact.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SeatArg {
    Left,
    Right,
    At(f64),
}

fn seat(text: &str) -> Result<SeatArg, String> {
    match text {
        "left" => Ok(SeatArg::Left),
        "centre" => Ok(SeatArg::At(0.0)),
        "right" => Ok(SeatArg::Right),
        _ => text.parse().ok().filter(|a| (-1.0..=1.0).contains(a)).map(SeatArg::At).ok_or_else(|| "write left, centre, right, or a number from -1 to 1".to_string()),
    }
}

fn heard_meter(text: &str) -> Result<hear::Meter, String> {
    text.trim().parse()
}

fn beats_a_minute(text: &str) -> Result<f64, String> {
    text.parse().ok().filter(|t| (20.0..=400.0).contains(t)).ok_or_else(|| "write beats a minute, from 20 to 400".to_string())
}

/// A clean take of one guitar, written out as a part.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  partwright take chop.wav --tempo 98\n  partwright take chop.wav --tempo 98 --from 0:02.45 --meter 6/8 --json\n\nThe answer is a lesson with one part. Bars that hold anything doubtful are marked sure=\"guess\": look there first.")]
pub struct Take {
    /// The take: WAV, FLAC, MP3, Ogg or M4A
    pub audio: PathBuf,
    /// Beats a minute of the click that was played to; heard where it is not given
    #[arg(long, value_name = "BPM", value_parser = beats_a_minute)]
    pub tempo: Option<f64>,
    /// Where a bar begins in the take (minutes and seconds); heard where it is not given
    #[arg(long, value_name = "TIME")]
    pub from: Option<String>,
    /// The meter, such as 6/8; heard where it is not given
    #[arg(long, value_name = "METER", value_parser = meter)]
    pub meter: Option<(u8, u8)>,
    /// A named tuning ("drop D") or its notes low to high ("D2 A2 D3 G3 A3 D4")
    #[arg(long, default_value = "standard")]
    pub tuning: String,
    /// Fret that the capo lies at; frets count from it
    #[arg(long, default_value_t = 0, value_parser = clap::value_parser!(u8).range(0..=12))]
    pub capo: u8,
    /// Number of strings, 6 to 8
    #[arg(long)]
    pub strings: Option<usize>,
    /// Name of the part
    #[arg(long, default_value = "take")]
    pub name: String,
}

fn meter(text: &str) -> Result<(u8, u8), String> {
    let read = || {
        let (over, under) = text.split_once('/')?;
        let (over, under) = (over.parse().ok()?, under.parse().ok()?);
        ((1..=24).contains(&over) && [2, 4, 8, 16].contains(&under)).then_some((over, under))
    };
    read().ok_or_else(|| "write a meter such as 4/4, 3/4 or 6/8".to_string())
}

/// The parts against the record, and the lesson against itself.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  partwright check my-lesson\n  partwright check my-lesson --accept 2\n  partwright check my-lesson --report findings.html\n  partwright check my-lesson --passage verse --take takes/mine.wav --part chop\n\nLooked for in the lesson: the count of slots in every bar, letters and signs that are not known, frets past the neck, notes out of the instrument's range,\nties from nothing, strokes that no hand can hold, pinned names that contradict their notes, files that are not there.\nWhere the record is in the folder: which written notes it supports, which it contradicts and what it has instead, what nobody wrote, and how each part\nlies against the beat.")]
pub struct Check {
    /// The lesson's folder, or its file
    pub dir: PathBuf,
    /// Only this passage
    #[arg(long, value_name = "ID")]
    pub passage: Option<String>,
    /// A take of one part in place of the record, such as a pupil's
    #[arg(long, value_name = "FILE", requires = "part")]
    pub take: Option<PathBuf>,
    /// The part that the take is of
    #[arg(long, value_name = "NAME", requires = "take")]
    pub part: Option<String>,
    /// Write the finding of this number into the lesson
    #[arg(long, value_name = "N", conflicts_with_all = ["take", "as_written"])]
    pub accept: Option<usize>,
    /// Keep what is written in spite of the finding of this number, and do not report it again
    #[arg(long, value_name = "N", conflicts_with = "take")]
    pub as_written: Option<usize>,
    /// Write the findings into one page, each with what the record holds there drawn and to be heard: it holds pieces of your record, and is for you alone
    #[arg(long, value_name = "FILE.html", conflicts_with_all = ["take", "accept", "as_written"])]
    pub report: Option<PathBuf>,
}

/// How the parts of each passage share time and register.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  partwright lock my-lesson\n  partwright lock my-lesson --json\n\nA slot is shared where both parts strike, alternating where one does, empty where neither does.\nBeside a bass a kit of drums stands with its kick, beside anything else with kick and snare.")]
pub struct Lock {
    /// The lesson's folder, or its file
    pub dir: PathBuf,
}

/// Shade of the ink on overlays.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum InkArg {
    Light,
    Dark,
}

/// For in front of a camera.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  partwright film my-lesson\n  partwright film my-lesson --lines 1080,2160 --ink light,dark --svg\n  partwright film my-lesson --tempo 60 --video\n\nWritten to my-lesson/film: running-order.pdf to stand up with, and all of its draft as text; overlays (neck diagrams, names, tab lines, maps of how parts fit together) with a\ntransparent ground, named in order of use; each passage's systems bar by bar, with the times at which they are shown.")]
pub struct Film {
    /// The lesson's folder, or its file
    pub dir: PathBuf,
    /// Lines of the pictures
    #[arg(long, value_delimiter = ',', default_value = "1080")]
    pub lines: Vec<u32>,
    /// Ink of the pictures
    #[arg(long, value_enum, value_delimiter = ',', default_value = "light")]
    pub ink: Vec<InkArg>,
    /// A plate of the other shade behind the ink, 0 to 1
    #[arg(long, default_value_t = 0.0, value_parser = plate)]
    pub plate: f64,
    /// The overlays as SVG, too
    #[arg(long)]
    pub svg: bool,
    /// Tempo of the turning systems in per cent of the written one
    #[arg(long, default_value_t = 100.0, value_parser = percent)]
    pub tempo: f64,
    /// A video of each passage's turning systems, where an encoder (ffmpeg) is on the machine
    #[arg(long)]
    pub video: bool,
    /// Say also which grips other lessons below this folder have taught
    #[arg(long, value_name = "DIR")]
    pub shelf: Option<PathBuf>,
    /// Size of the running order's sheet
    #[arg(long, value_enum, default_value = "a4")]
    pub paper: PaperArg,
    /// Neck diagrams for a left-handed player
    #[arg(long)]
    pub left_handed: bool,
    /// Neck diagrams show degrees instead of fingers
    #[arg(long)]
    pub degrees: bool,
    /// Neck diagrams show in grey the full grip that a fragment comes from
    #[arg(long)]
    pub parents: bool,
}

fn plate(text: &str) -> Result<f64, String> {
    text.parse().ok().filter(|p| (0.0..=1.0).contains(p)).ok_or_else(|| "write a number from 0 to 1".to_string())
}

fn percent(text: &str) -> Result<f64, String> {
    text.parse().ok().filter(|p| (25.0..=200.0).contains(p)).ok_or_else(|| "write per cents, from 25 to 200".to_string())
}

/// Chapters of a recorded lesson.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  partwright chapters my-lesson --sound camera.wav\n  partwright chapters my-lesson --taps 0:03.5,1:20,2:41 --length 4:10\n\nThe play-along of the pack is looked for in the recording's sound, whatever the room and the talk over it. Written are recording-chapters.vtt\nand .txt, captions that say what is played bar by bar, and the times at which the pictures of film are shown in the recording.")]
pub struct Chapters {
    /// The lesson's folder, or its file
    pub dir: PathBuf,
    /// The recording's sound: WAV, FLAC, MP3, Ogg or M4A
    #[arg(long, value_name = "FILE", required_unless_present = "taps")]
    pub sound: Option<PathBuf>,
    /// A time for each passage's beginning (minutes and seconds)
    #[arg(long, value_name = "TIMES", value_delimiter = ',', conflicts_with = "sound")]
    pub taps: Option<Vec<String>>,
    /// How long the recording is, with --taps
    #[arg(long, value_name = "TIME", requires = "taps")]
    pub length: Option<String>,
    /// Folder to write to; the lesson's where it is not given
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
}

/// Look over all lessons below a folder.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  partwright find rootless ninth\n  partwright find tempo 90-110 not technique bend\n  partwright find grip x x 8 8 8 x --shelf lessons\n  partwright find --near ferry-road/verse\n  partwright find --never-taught 20\n\nEverything that is asked for must hold in one passage; docs/find.md has all of it. The index lies in the folder .partwright of the shelf and can be\ndeleted at any time.")]
pub struct Find {
    /// What to look for
    #[arg(required_unless_present_any = ["near", "never_taught"])]
    pub words: Vec<String>,
    /// Folder below which the lessons lie
    #[arg(long, default_value = ".", value_name = "DIR")]
    pub shelf: PathBuf,
    /// Most lessons and passages that are shown
    #[arg(long, default_value_t = 20, value_parser = clap::value_parser!(u16).range(1..=1000))]
    pub most: u16,
    /// The passages nearest to this one: the lesson's folder and the passage
    #[arg(long, value_name = "LESSON/PASSAGE", conflicts_with = "words")]
    pub near: Option<String>,
    /// What is struck at least so often, and no lesson ever taught
    #[arg(long, value_name = "TIMES", conflicts_with_all = ["words", "near"])]
    pub never_taught: Option<u64>,
}

/// What pupils asked for, held against the lessons there are.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  partwright requests --shelf lessons\n  partwright requests --add \"how to mute the other strings\"\n  partwright requests --import wishes.txt\n\nThe file is plain text, a request a line: the day, how often, the words (2026-11-03 3x rootless ninths); docs/requests.md has all of it.")]
pub struct Requests {
    /// Folder below which the lessons lie
    #[arg(long, default_value = ".", value_name = "DIR")]
    pub shelf: PathBuf,
    /// The file of requests; requests.txt in the shelf's folder where it is not given
    #[arg(long)]
    pub file: Option<PathBuf>,
    /// Add a request; where it is there, its count grows
    #[arg(long, value_name = "WORDS")]
    pub add: Option<String>,
    /// How often it was made
    #[arg(long, requires = "add", default_value_t = 1)]
    pub times: u32,
    /// Add each line of a plain list
    #[arg(long, value_name = "FILE")]
    pub import: Option<PathBuf>,
    /// The day on which they were made, such as 2026-11-03; today where it is not given
    #[arg(long)]
    pub day: Option<String>,
}

/// Several lessons in order, with what each builds on.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Example:\n  partwright course lessons/course.kdl\n\nLooked for: fragments used before a grip that holds them was taught, lessons built on that do not stand before, lessons that cannot be read;\ndocs/course.md has all of it.")]
pub struct Course {
    /// The course's file
    pub file: PathBuf,
    /// Also write one handout of all lessons, with an index of grips, to this PDF
    #[arg(long, value_name = "FILE")]
    pub handout: Option<PathBuf>,
    /// Size of the handout's sheet
    #[arg(long, value_enum, default_value = "a4", requires = "handout")]
    pub paper: PaperArg,
}

/// Size of the handout's sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum PaperArg {
    A4,
    Letter,
}

/// Everything that pupils get.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  partwright make my-lesson\n  partwright make my-lesson --paper letter --left-handed --tempos 50,75,100\n  partwright make my-lesson --practice\n\nThe pack is written to my-lesson/pack and replaced only when all of it is made. Play-along audio begins at a moderate level; keep it at one you can talk over.")]
pub struct Make {
    /// The lesson's folder, or its file
    pub dir: PathBuf,
    /// Size of the handout's sheet
    #[arg(long, value_enum, default_value = "a4")]
    pub paper: PaperArg,
    /// Draw neck diagrams for a left-handed player
    #[arg(long)]
    pub left_handed: bool,
    /// A five-line staff above every tab
    #[arg(long)]
    pub staff: bool,
    /// Neck diagrams show degrees instead of fingers
    #[arg(long)]
    pub degrees: bool,
    /// Neck diagrams show in grey the full grip that a fragment comes from
    #[arg(long)]
    pub parents: bool,
    /// Tempos in per cent of the written one
    #[arg(long, value_delimiter = ',', default_value = "60,75,90,100")]
    pub tempos: Vec<u32>,
    /// Also write the passages of your own record, slowed down, to practice/ (they stay out of the pack: a record is not yours to hand on)
    #[arg(long)]
    pub practice: bool,
}

impl Make {
    /// As when nothing is said but the folder.
    pub fn plain(dir: PathBuf) -> Make {
        Make { dir, paper: PaperArg::A4, left_handed: false, staff: false, degrees: false, parents: false, tempos: vec![60, 75, 90, 100], practice: false }
    }
}
