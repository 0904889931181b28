//! The findings report: a page of its own for the teacher's eyes, each finding with a strip of the record, the words, and two snippets of sound. It holds pieces of the
//! teacher's own record and is no part of a pack.

use crate::strip::{bars_around, legend, strip};
use check::{Checked, Finding, Verdict};
use lesson::Passage;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use wave::{Buffer, Seconds};

/// The style of the page, and of the findings on the bench.
pub const STYLE: &str = include_str!("page/findings.css");
const SHEET: &str = include_str!("page/bench.css");

/// A finding as the report shows it.
pub struct Item<'a> {
    pub number: usize,
    pub passage: &'a Passage,
    pub checked: &'a Checked,
    pub finding: &'a Finding,
    /// Sound of the record there, decoded.
    pub record: &'a Buffer,
    /// What became of it since, where something did.
    pub since: Option<&'a str>,
    /// Addresses of the two snippets: the record, the parts.
    pub sounds: [String; 2],
}

/// How the page comes by its style.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dress {
    /// From the bench that serves it.
    Linked,
    /// In the file itself, which may load nothing at all.
    Inside,
}

/// The whole page. `summary` has for each passage its title, a sentence, and what could not be known.
pub fn page(title: &str, summary: &[(String, String, Vec<String>)], items: &[Item], dress: Dress) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                @if dress == Dress::Inside { meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; media-src data:"; }
                title { "Findings: " (title) }
                @match dress {
                    Dress::Linked => { link rel="icon" href="/bench/icon.svg"; link rel="stylesheet" href="/bench/bench.css"; link rel="stylesheet" href="/bench/findings.css"; }
                    Dress::Inside => { style { (PreEscaped(SHEET)) (PreEscaped(STYLE)) } }
                }
            }
            body.report {
                header { h1 { "Findings: " (title) } }
                main {
                    section aria-labelledby="fared" {
                        h2 id="fared" { "How the passages fared" }
                        dl.fared { @for (title, words, limits) in summary { dt { (title) } dd { (words) "." @for l in limits { " " (crate::findings::sentence(l)) "." } } } }
                    }
                    @if items.is_empty() { p { "Nothing was found against what is written." } }
                    @for i in items { (article(i)) }
                }
                footer.care { p { "The snippets are of your own copy of the record. This page is for you: it is no part of the pack, and what you pass on of the record is for you to clear. The volume is yours to set; begin low." } }
            }
        }
    }
    .into_string()
}

fn article(i: &Item) -> Markup {
    let f = i.finding;
    let id = format!("finding-{}", i.number);
    let [record, parts] = &i.sounds;
    let (from, to, _) = bars_around(i.passage, i.checked, f);
    let bar = |k: usize| i.passage.bars.get(k).map_or(0, |b| b.number);
    let bars = if to > from + 1 { format!("bars {} and {}", bar(from), bar(to - 1)) } else { format!("bar {}", bar(from)) };
    html! {
        article.finding aria-labelledby=(id) {
            h2 id=(id) { span.which { (i.number) } " " (i.passage.title) @if let Some(p) = &f.part { ", " (p) } }
            p.words-of { (crate::findings::sentence(&f.words)) "." @if !f.words.ends_with(')') { " (" (check::sure_words(f.sure)) ")" } }
            @if let Some(s) = i.since { p.since { "Since then: " (s) "." } }
            div.strip-of tabindex="0" role="group" aria-label={ "Strip of finding " (i.number) } { (strip(i.passage, i.checked, f, i.record)) }
            p.legend { (crate::findings::sentence(&legend(i.passage, f))) "." }
            @if !record.is_empty() { div.hear {
                div { p { "The record, " (bars) } audio controls preload="none" src=(record) aria-label={ "The record, " (bars) ", finding " (i.number) } {} }
                div { p { "The parts as written, " (bars) } audio controls preload="none" src=(parts) aria-label={ "The parts as written, " (bars) ", finding " (i.number) } {} }
            } }
        }
    }
}

/// How a passage fared, as half a sentence: from where in the record, and how many notes are heard, faint, contradicted.
pub fn fared(checked: &Checked) -> String {
    let notes = || checked.parts.iter().flat_map(|p| &p.notes);
    let count = |v: Verdict| notes().filter(|n| n.verdict == v && !n.waved).count();
    let at = checked.starts_s.first().map_or(String::new(), |s| format!("from {}:{:04.1} on: ", (s / 60.0).floor(), s % 60.0));
    let kinds = [
        (count(Verdict::Supported), "heard"),
        (count(Verdict::Weak), "faint"),
        (count(Verdict::Contradicted), "contradicted"),
        (count(Verdict::NotAudible), "covered by other sound"),
        (notes().filter(|n| n.waved).count(), "kept as written"),
    ];
    let kinds: Vec<String> = kinds.iter().filter(|k| k.0 > 0).map(|(n, what)| format!("{n} {what}")).collect();
    format!("{at}of {} notes {}", notes().count(), if kinds.is_empty() { "none could be judged".to_string() } else { kinds.join(", ") })
}

/// The record and the parts in the bars around a finding, at full tempo and the record's own pitch.
///
/// # Errors
/// Bars that the record does not reach, parts that cannot be made to sound; in words.
pub fn snippets(passage: &Passage, checked: &Checked, finding: &Finding, record: &Buffer) -> Result<[Buffer; 2], String> {
    let (from, to, heard) = bars_around(passage, checked, finding);
    let (Some(a), Some(b)) = (heard.first(), heard.last()) else { return Err("there are no such bars".into()) };
    let of_record = record.slice_time(Seconds(a.max(0.0))..Seconds(b.min(record.duration().0).max(a.max(0.0))));
    if of_record.is_empty() {
        return Err("the record is over there".into());
    }
    let made = sound::render(passage, &sound::Options { looped: false, ..sound::Options::default() }, &sound::Takes::new(), &|_| ()).map_err(|e| e.to_string())?;
    let starts = passage.bar_starts();
    let of_parts = made.mix.slice_time(Seconds(starts[from])..Seconds(starts[to]));
    Ok([edged(of_record), edged(of_parts)])
}

/// A sound as an address that holds it, for a page in one file.
///
/// # Errors
/// What cannot be encoded, in words.
pub fn address_of(sound: &Buffer) -> Result<String, String> {
    let bytes = wave::encode_ogg_opus(sound, 96_000).map_err(|e| e.to_string())?;
    let mut out = String::from("data:audio/ogg;base64,");
    // RFC 4648, section 4.
    const SIGNS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    for three in bytes.chunks(3) {
        let n = three.iter().fold(0u32, |n, b| n << 8 | u32::from(*b)) << (8 * (3 - three.len()));
        for k in 0..4 {
            out.push(if k <= three.len() { char::from(SIGNS[(n >> (18 - 6 * k)) as usize & 63]) } else { '=' });
        }
    }
    Ok(out)
}

/// No click at the ends.
fn edged(mut sound: Buffer) -> Buffer {
    let ramp = (sound.rate_hz() as usize / 100).min(sound.frames() / 2);
    let frames = sound.frames();
    for c in 0..sound.channel_count() {
        let samples = sound.channel_mut(c);
        for n in 0..ramp {
            let gain = n as f32 / ramp as f32;
            samples[n] *= gain;
            samples[frames - 1 - n] *= gain;
        }
    }
    sound
}
