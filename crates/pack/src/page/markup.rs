//! `index.html`: the lesson's words and drawings with the controls of the player, from the page's input.

use super::cells::cells;
use super::figures::figures;
use super::input::{PageInput, PagePassage, PageStep};
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// What the page may load: its own scripts and style sheet, and nothing else. Opened from disk, a page has no origin that `'self'` could
/// mean in every browser, so the scheme stands beside it. The drawings carry style attributes.
const POLICY: &str = "default-src 'none'; script-src 'self' file:; style-src 'self' file:; style-src-attr 'unsafe-inline'; base-uri 'none'; form-action 'none'";

const HEARING: &str = "The volume starts low. Turn it up only as far as you need, rest your ears, and never turn it up to cover a ringing in them. \
    As a guide: 40 hours a week at 80 dB are held to be safe, at 90 dB only 4 (ITU-T H.870).";
const STRAIN: &str = "Warm up, play without force, and rest often. Stop when something hurts or goes numb; if it stays so, see someone who treats \
    hands. This page cannot judge that.";
const RIGHTS: &str = "For your own practice. The music may belong to others; what you may copy, play in public or pass on, the law where you live decides.";

/// The page. `names` are the passages' safe names.
pub(super) fn index(input: &PageInput, names: &[String]) -> String {
    let passages = || input.passages.iter().zip(names).enumerate();
    let title = if input.title.is_empty() { "Practice page" } else { input.title.as_str() };
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) }
                link rel="stylesheet" href="page.css";
            }
            body {
                header.top {
                    h1 { (title) }
                    @if !input.needs.is_empty() {
                        p.needs { span.lead { "You need" } " " (input.needs.join(" · ")) }
                    }
                    @for paragraph in &input.about { p.about { (paragraph) } }
                }
                @if !input.passages.is_empty() { (stand()) }
                @if input.passages.is_empty() {
                    main { p { "This lesson has no passages yet." } }
                } @else {
                    div.sheet {
                        nav.passages aria-label="Passages" {
                            ol { @for (_, (passage, name)) in passages() {
                                li { a href={ "#" (name) } { span.name { (passage_title(passage)) } " " span.count { (bar_count(passage)) } } }
                            } }
                        }
                        main {
                            @for (i, (passage, name)) in passages() { (section(passage, name, i)) }
                        }
                        aside.practice aria-label="How to practise" {
                            @for (i, (passage, _)) in passages() { (choices(passage, i)) }
                            (habits())
                        }
                    }
                }
                footer.foot {
                    @if !input.revisions.is_empty() {
                        section aria-labelledby="revisions" {
                            h2 id="revisions" { "Put right since" }
                            dl { @for revision in &input.revisions { dt { (revision.date) } dd { (revision.text) } } }
                        }
                    }
                    section aria-labelledby="care" {
                        h2 id="care" { "Care" }
                        p { b { "Ears. " } (HEARING) }
                        p { b { "Hands. " } (STRAIN) }
                        p { b { "Rights. " } (RIGHTS) }
                        @for paragraph in &input.small_print { p { (paragraph) } }
                    }
                }
                script id="figures" type="application/json" { (PreEscaped(figures(input, names))) }
                script src="play.js" {}
                script src="page.js" {}
            }
        }
    }
    .into_string()
}

fn passage_title(passage: &PagePassage) -> &str {
    if passage.title.is_empty() { &passage.id } else { &passage.title }
}

/// `8 bars`; a pickup is not counted.
fn bar_count(passage: &PagePassage) -> String {
    match passage.bar_numbers.iter().filter(|n| **n > 0).count() {
        1 => "1 bar".to_owned(),
        bars => format!("{bars} bars"),
    }
}

/// What is read and printed of a passage.
fn section(passage: &PagePassage, name: &str, i: usize) -> Markup {
    let narrow = !passage.narrow_systems.is_empty();
    html! {
        section.passage id=(name) data-passage=(i) aria-labelledby={ "title-" (i) } tabindex="-1" {
            h2 id={ "title-" (i) } { (passage_title(passage)) }
            @if !passage.facts.is_empty() { p.facts { (passage.facts.join(" · ")) } }
            @if !passage.record.is_empty() || passage.cents_note.is_some() {
                p.record {
                    @if !passage.record.is_empty() { span.lead { "In your own copy of the record" } " " (passage.record.join(", ")) "." }
                    @if let Some(note) = &passage.cents_note { " " (note) }
                }
            }
            div.music tabindex="0" role="group" aria-label={ "Music of " (passage_title(passage)) } aria-describedby="music-keys" {
                div.wide.has-narrow[narrow] { @for system in &passage.systems { div.system { (PreEscaped(system)) } } }
                @if narrow { div.narrow { @for system in &passage.narrow_systems { div.system { (PreEscaped(system)) } } } }
            }
            @if !passage.diagrams.is_empty() {
                ul.grips aria-label="Grips" {
                    @for diagram in &passage.diagrams { li { figure { 
                        (PreEscaped(&diagram.svg))
                        @if !diagram.name.is_empty() { figcaption { (diagram.name) } }
                    } } }
                }
            }
            @if !passage.notes.is_empty() {
                ul.notes aria-label="Notes" {
                    @for note in &passage.notes {
                        li { @if let Some(place) = &note.place { span.lead { (place) } " " } (note.text) }
                    }
                }
            }
        }
    }
}

/// To one decimal, and none where it is whole.
fn rounded(value: f64) -> String {
    let tenths = (value * 10.0).round() / 10.0;
    format!("{tenths}")
}

/// The choices that belong to one passage: parts, tempo, bars.
fn choices(passage: &PagePassage, i: usize) -> Markup {
    let steps = passage.steps();
    let bars = &passage.bar_numbers;
    html! {
        div.choices data-passage=(i) {
            section.block aria-labelledby={ "parts-" (i) } {
                h3 id={ "parts-" (i) } { "Parts" }
                @for (p, part) in passage.parts.iter().enumerate() {
                    fieldset.part {
                        legend {
                            span.name { (part.name) }
                            @let easier = part.easier_of.and_then(|of| passage.parts.get(of)).map(|of| format!("easier than {}", of.name));
                            @let asides: Vec<&str> = [part.seat.as_str(), easier.as_deref().unwrap_or("")].into_iter().filter(|s| !s.is_empty()).collect();
                            @if !asides.is_empty() { " " span.seat { (asides.join(", ")) } }
                        }
                        div.positions {
                            @for (value, word) in [("leads", "leads"), ("joins", "joins in"), ("rests", "rests")] {
                                label {
                                    input type="radio" name={ "part-" (i) "-" (p) } value=(value) data-part=(p)
                                        checked[value == if part.easier_of.is_some() { "rests" } else { "joins" }];
                                    span { (word) }
                                }
                            }
                        }
                    }
                }
                p.hint { "Let your own part rest, and play it yourself." }
            }
            fieldset.block.tempo {
                legend { "Tempo" }
                div.steps {
                    @for (s, step) in steps.iter().enumerate() {
                        label {
                            input type="radio" name={ "tempo-" (i) } value=(s) checked[s + 1 == steps.len()];
                            span { b { (rounded(step.percent)) "\u{202f}%" } @if let Some(bpm) = step_tempo(passage, step) { " " small { (bpm) } } }
                        }
                    }
                }
            }
            section.block aria-labelledby={ "bars-" (i) } {
                h3 id={ "bars-" (i) } { "Bars to go round" }
                div.cells role="group" aria-label="Two bars at a time" {
                    button type="button" data-from="0" data-to=(bars.len()) aria-pressed="true" { "all" }
                    @let cells = cells(bars);
                    @if cells.len() > 1 { @for cell in &cells {
                        button type="button" data-from=(cell.from) data-to=(cell.to) aria-pressed="false"
                            aria-label={ "bars " (cell.label) } { (cell.label) }
                    } }
                }
                p.span {
                    label { "from bar " select.from { @for (b, number) in bars.iter().enumerate() { option value=(b) { (number) } } } }
                    " "
                    label { "to bar " select.to { @for (b, number) in bars.iter().enumerate() {
                        option value=(b + 1) selected[b + 1 == bars.len()] { (number) }
                    } } }
                }
            }
        }
    }
}

/// Beats a minute of a step, as a whole number.
fn step_tempo(passage: &PagePassage, step: &PageStep) -> Option<String> {
    (passage.tempo_bpm > 0.0).then(|| format!("{}", (passage.tempo_bpm * step.percent / 100.0).round()))
}

/// The choices that stay when the passage changes.
fn habits() -> Markup {
    html! {
        fieldset.block.habits {
            legend { "Count-in" }
            @for (value, word) in [("first", "at the start, and at a new tempo"), ("each", "before every round"), ("never", "none")] {
                label.line { input type="radio" name="count-in" value=(value) checked[value == "first"]; " " span { (word) } }
            }
        }
        section.block.habits aria-labelledby="habits" {
            h3 id="habits" { "While it goes round" }
            p.line {
                label { input type="checkbox" id="rise"; " " span { "next tempo after" } } " "
                input type="number" id="rise-rounds" min="1" max="99" value="4" inputmode="numeric" aria-label="Rounds at each tempo"; " rounds"
            }
            p.line { label { input type="checkbox" id="click"; " " span { "click along" } } }
            p.line { label { input type="checkbox" id="follow" checked; " " span { "keep the bar in view" } } }
        }
    }
}

/// The strip at the foot of the window: start and stop, where we are, volume.
fn stand() -> Markup {
    html! {
        section.stand aria-label="Player" {
            button.go type="button" id="go" { span.sign aria-hidden="true" {} span.word { "Play" } }
            button.top-again type="button" id="top" { "From the top" }
            p.where {
                span.title id="where-title" {}
                span.bar id="where" {}
            }
            label.volume { span { "Volume" } input type="range" id="volume" min="0" max="100" step="1" value="60" aria-describedby="care-ears"; }
            p.said id="said" role="status" {}
            p.unseen id="music-keys" { "Left and right arrow: a bar back or on. Home: first bar. Space: play or stop." }
            p.unseen id="care-ears" { "Starts low. Turn it up only as far as you need." }
        }
        noscript { p.noscript { "The player needs scripts to be allowed. The music can be read and printed without." } }
    }
}
