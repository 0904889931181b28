//! `name`: names for a grip, for many of them, and for stretches of time.

mod answer;
mod sequence;

use crate::args::{Name, Neck};
use crate::failure::{Failure, print};
use neck::{Grip, Instrument, Tuning};
use pitch::{Context, Key, Midi, Naming, Spelled, Spelling, Style, Symbol};
use answer::answer_json;
use std::io::BufRead;

/// Longest line of a batch file.
const LINE_MAX: usize = 1000;

pub fn run(a: &Name, json: bool) -> Result<(), Failure> {
    if let Some(path) = &a.batch {
        return batch(a, path);
    }
    if let Some(path) = &a.sequence {
        return sequence::run(a, path, json);
    }
    let answer = Wanted::of(a, a.frets.clone().unwrap_or_default()).answer().map_err(Failure::MaterialSaid)?;
    let taught = a.shelf.as_deref().map(|folder| crate::shelf::taught(folder, &answer.grip, &answer.neck)).transpose()?;
    if json {
        let mut text = answer_json(&answer, a.style, true)?;
        if let (Some(taught), Some(end)) = (taught, text.rfind('}')) {
            text.insert_str(end, &format!(",\"taught\":{}", serde_json::Value::from(taught)));
        }
        return print(&format!("{text}\n"));
    }
    let taught: String = taught.unwrap_or_default().iter().map(|t| format!("{t}\n")).collect();
    print(&format!("{}{taught}", answer_text(&answer, a.style)))
}

/// One question.
struct Wanted {
    frets: String,
    bass: Option<String>,
    key: Option<String>,
    written: Option<String>,
    before: Option<String>,
    after: Option<String>,
    neck: Neck,
}

/// What is said to it.
struct Answer {
    neck: Instrument,
    grip: Grip,
    notes: Vec<Midi>,
    naming: Naming,
}

/// The instrument that was named.
pub fn instrument(n: &Neck) -> Result<Instrument, String> {
    let mut out = if n.on_bass { Instrument::bass() } else { Instrument::guitar() };
    let words = n.tuning.split_whitespace().count();
    let written = n.tuning.split_whitespace().all(|w| Spelled::parse(w).is_some()) && (4..=8).contains(&words);
    let strings = n.strings.unwrap_or(if written { words } else { out.strings() });
    out.tuning = if n.on_bass { Tuning::bass(&n.tuning, strings) } else { Tuning::guitar(&n.tuning, strings) }?;
    out.capo = n.capo;
    // A question about a grip is not about one neck's length.
    out.frets = 24;
    Ok(out)
}

impl Wanted {
    fn of(a: &Name, frets: String) -> Wanted {
        let (before, after) = (a.before.clone(), a.after.clone());
        Wanted { frets, bass: a.bass.clone(), key: a.key.clone(), written: a.written.clone(), before, after, neck: a.neck.clone() }
    }

    fn answer(&self) -> Result<Answer, String> {
        let neck = instrument(&self.neck)?;
        let grip = Grip::parse(&self.frets)?;
        if grip.frets.len() != neck.strings() {
            return Err(format!("\"{}\" has {} tokens; this instrument has {} strings: write one token a string, low to high", self.frets, grip.frets.len(), neck.strings()));
        }
        if let Some((s, f)) = grip.sounding().find(|(s, f)| neck.sounds(*s, *f).is_none()) {
            return Err(format!("fret {f} on string {s} is past the neck; frets go to {} here", neck.top_fret()));
        }
        let notes: Vec<Midi> = grip.midi(&neck).into_iter().flatten().collect();
        let key = self.key.as_deref().map(Key::parse).transpose()?;
        let written = self.written.as_deref().map(Symbol::parse).transpose()?;
        let bass = self.bass.as_deref().map(|b| read_bass(b, &notes)).transpose()?;
        let sign = |text: &Option<String>| text.as_deref().map(Symbol::parse).transpose();
        let naming = pitch::names(&notes, &Context { bass, key, written, before: sign(&self.before)?, after: sign(&self.after)? });
        Ok(Answer { neck, grip, notes, naming })
    }
}

/// A bass note with or without octave; without, it is taken below everything else.
fn read_bass(text: &str, notes: &[Midi]) -> Result<Midi, String> {
    let wrong = || format!("\"{text}\" is no note for the bass; write a note such as C, Eb or F#1");
    if let Some(m) = Spelled::parse(text).and_then(Spelled::midi) {
        return Ok(m);
    }
    let class = Spelling::parse(text).ok_or_else(wrong)?.class();
    let lowest = notes.iter().map(|n| n.0).min().unwrap_or(40);
    let mut m = 24 + class.0;
    while m > lowest && m >= 12 {
        m -= 12;
    }
    Ok(Midi(m))
}

fn batch(a: &Name, path: &std::path::Path) -> Result<(), Failure> {
    let shown = path.display().to_string();
    let file = std::fs::File::open(path).map_err(Failure::io(shown.clone()))?;
    let mut reader = std::io::BufReader::new(file);
    let mut out = String::new();
    let mut any_fault = false;
    loop {
        let mut line = Vec::new();
        // A file without line ends must not fill the memory.
        let n = std::io::Read::take(&mut reader, LINE_MAX as u64 + 1).read_until(b'\n', &mut line).map_err(Failure::io(shown.clone()))?;
        if n == 0 {
            break;
        }
        if line.len() > LINE_MAX {
            let mut rest = Vec::new();
            while !rest.ends_with(b"\n") {
                rest.clear();
                if std::io::Read::take(&mut reader, 65_536).read_until(b'\n', &mut rest).map_err(Failure::io(shown.clone()))? == 0 {
                    break;
                }
            }
        }
        let answer = match std::str::from_utf8(&line) {
            _ if line.len() > LINE_MAX => Err(format!("the line is longer than {LINE_MAX} bytes")),
            Err(_) => Err("the line is not UTF-8 text".to_string()),
            Ok(t) => batch_line(a, t.trim_end_matches(['\n', '\r'])),
        };
        match answer {
            Ok(answer) => out.push_str(&answer_json(&answer, a.style, false)?),
            Err(error) => {
                any_fault = true;
                out.push_str(&serde_json::json!({ "error": error }).to_string());
            }
        }
        out.push('\n');
        if out.len() > 1 << 16 {
            print(&out)?;
            out.clear();
        }
    }
    print(&out)?;
    if any_fault { Err(Failure::Material) } else { Ok(()) }
}

fn batch_line(a: &Name, line: &str) -> Result<Answer, String> {
    let mut fields = line.split(';');
    let frets = fields.next().unwrap_or_default().trim().to_string();
    let mut w = Wanted::of(a, frets);
    for field in fields {
        let right = "write FRETS[;bass=…][;key=…][;tuning=…][;capo=…][;chords=…][;before=…][;after=…]";
        let (k, v) = field.split_once('=').ok_or_else(|| format!("\"{}\" is no field; {right}", field.trim()))?;
        match k.trim() {
            "bass" => w.bass = Some(v.trim().into()),
            "key" => w.key = Some(v.trim().into()),
            "chords" => w.written = Some(v.trim().into()),
            "before" => w.before = Some(v.trim().into()),
            "after" => w.after = Some(v.trim().into()),
            "tuning" => w.neck.tuning = v.trim().into(),
            "capo" => w.neck.capo = v.trim().parse().ok().filter(|c| *c <= 12).ok_or_else(|| format!("\"{}\" is no fret for a capo; write capo=0 to capo=12", v.trim()))?,
            other => return Err(format!("the field \"{other}\" is not known; {right}")),
        }
    }
    w.answer()
}

fn answer_text(answer: &Answer, style: Style) -> String {
    let mut out = format!("{}\n", answer.grip);
    if let Some(interval) = answer.naming.interval {
        out.push_str(&format!("  a {interval}\n"));
    }
    out.push_str(&naming_text(&answer.naming, style, |n| lock::shape_of(&n.symbol, &answer.neck)));
    out
}

fn naming_text(naming: &Naming, style: Style, shape: impl Fn(&pitch::Name) -> Option<Symbol>) -> String {
    let mut out = String::new();
    if let Some(why) = &naming.no_name {
        out.push_str(&format!("  no name: {why}\n"));
    }
    for (i, n) in naming.names.iter().enumerate() {
        let mut symbol = n.symbol.text(style);
        if let Some(also) = &n.also_written {
            symbol.push_str(&format!(" or {}", also.text(style)));
        }
        if let Some(shape) = shape(n) {
            symbol.push_str(&format!(" (shape {})", shape.text(style)));
        }
        let degrees: Vec<String> = n.degrees.iter().map(ToString::to_string).collect();
        let spelled: Vec<String> = n.spelled.iter().map(ToString::to_string).collect();
        out.push_str(&format!("{:>3}. {symbol:<12} {}   ({})\n", i + 1, degrees.join(" "), spelled.join(" ")));
        for why in &n.why {
            out.push_str(&format!("       {why}\n"));
        }
    }
    for r in &naming.remarks {
        out.push_str(&format!("  {r}\n"));
    }
    out
}
