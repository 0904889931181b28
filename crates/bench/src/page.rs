//! The page itself: its frame as markup, and the style sheet and modules that stand in the program.

mod pedal;
mod taking;

use maud::{DOCTYPE, Markup, html};

/// A file of the page and its media type.
pub fn asset(name: &str) -> Option<(&'static str, &'static str)> {
    const SCRIPT: &str = "text/javascript; charset=utf-8";
    Some(match name {
        "bench.css" => ("text/css; charset=utf-8", include_str!("page/bench.css")),
        "bench.js" => (SCRIPT, include_str!("page/bench.js")),
        "shelf.js" => (SCRIPT, include_str!("page/shelf.js")),
        "start.js" => (SCRIPT, include_str!("page/start.js")),
        "dom.js" => (SCRIPT, include_str!("page/dom.js")),
        "link.js" => (SCRIPT, include_str!("page/link.js")),
        "sheet.js" => (SCRIPT, include_str!("page/sheet.js")),
        "slots.js" => (SCRIPT, include_str!("page/slots.js")),
        "text.js" => (SCRIPT, include_str!("page/text.js")),
        "neck.js" => (SCRIPT, include_str!("page/neck.js")),
        "play.js" => (SCRIPT, include_str!("page/play.js")),
        "record.js" => (SCRIPT, include_str!("page/record.js")),
        "input.js" => (SCRIPT, include_str!("page/input.js")),
        "recorder.js" => (SCRIPT, include_str!("page/recorder.js")),
        "pedal.js" => (SCRIPT, include_str!("page/pedal.js")),
        "pedal.css" => ("text/css; charset=utf-8", include_str!("page/pedal.css")),
        "taking.js" => (SCRIPT, include_str!("page/taking.js")),
        "taking.css" => ("text/css; charset=utf-8", include_str!("page/taking.css")),
        "findings.js" => (SCRIPT, include_str!("page/findings.js")),
        "findings.css" => ("text/css; charset=utf-8", crate::report::STYLE),
        "icon.svg" => ("image/svg+xml", include_str!("page/icon.svg")),
        _ => return None,
    })
}

pub fn frame(title: &str, script: &str, body: Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) }
                link rel="icon" href="/bench/icon.svg";
                link rel="stylesheet" href="/bench/bench.css";
                link rel="stylesheet" href="/bench/findings.css";
                link rel="stylesheet" href="/bench/taking.css";
                link rel="stylesheet" href="/bench/pedal.css";
                script type="module" src={ "/bench/" (script) } {}
            }
            body { (body) }
        }
    }
    .into_string()
}

/// Where no lesson is open: choose one, or begin one.
pub fn start(lessons: &[String], demos: &[&str]) -> String {
    frame(
        "Partwright",
        "start.js",
        html! {
            main.start {
                h1 { "Partwright" }
                p { "A lesson is one text file in a folder of its own. Choose one, or begin a new one." }
                p.said id="said" role="status" {}
                section aria-labelledby="lessons" {
                    h2 id="lessons" { "Lessons here" }
                    @if lessons.is_empty() { p.quiet { "None yet." } }
                    ul.lessons { @for l in lessons { li { button type="button" data-folder=(l) { @if l == "." { "this folder" } @else { (l) } } } } }
                }
                p { a href="/shelf" { "Look in all of them, and at what pupils asked for" } }
                section aria-labelledby="new" {
                    h2 id="new" { "A new lesson" }
                    form id="create" {
                        label { "Title " input id="title" name="title" maxlength="200" required autocomplete="off"; }
                        " " button.go type="submit" { "Begin" }
                    }
                }
                @if !demos.is_empty() {
                    section aria-labelledby="demos" {
                        h2 id="demos" { "To look at first" }
                        p.quiet { "A demo lesson is copied into a folder here, so that you can change whatever you like." }
                        ul.lessons { @for d in demos { li { button type="button" data-demo=(d) { (d) } } } }
                    }
                }
            }
        },
    )
}

/// The bench of an open lesson. Passages and text come in by script, so that all windows show the same.
pub fn bench(title: &str, pack: &str) -> String {
    frame(
        &format!("{title} · Partwright"),
        "bench.js",
        html! {
            a.skip href="#passages" { "To the passages" }
            header.top {
                h1 id="title" { (title) }
                div.tools role="group" aria-label="Lesson" {
                    button type="button" id="undo" aria-keyshortcuts="Control+Z" disabled { "Undo" }
                    button type="button" id="redo" aria-keyshortcuts="Control+Shift+Z" disabled { "Redo" }
                    button type="button" id="show-text" aria-pressed="false" aria-controls="text-leaf" { "Text" }
                    button type="button" id="check" aria-keyshortcuts="Control+Enter" { "Check" }
                    button type="button" id="make" { "Make" }
                    button type="button" id="pedal-open" aria-haspopup="dialog" aria-keyshortcuts="Alt+P" { "By foot" }
                    a href="/shelf" { "Shelf" }
                    label.line { input type="checkbox" id="left-handed"; " left-handed necks" }
                    span.saving id="saving" role="status" { "" }
                }
                nav aria-label="Passages" { ol id="contents" {} }
            }
            p.said id="said" role="status" {}
            div.sheet id="sheet" {
                section.leaf id="text-leaf" aria-label="The lesson's text" hidden {
                    lesson-text {}
                }
                div.page {
                section.record id="record" aria-labelledby="record-title" {
                    h2 id="record-title" { "The record" }
                    p.facts id="record-facts" { "Listening." }
                    div.record-rows id="record-rows" role="listbox" aria-multiselectable="true" aria-label="Bars of the record" hidden {}
                    div.form id="form" role="group" aria-label="Where bars come back" hidden {
                        p.views id="form-passages" {}
                        p.quiet id="form-says" {}
                        p.views id="form-places" {}
                    }
                    p.taps id="beat-others" role="group" aria-label="What the beat could be instead" hidden {}
                    p.taps id="taps" hidden {
                        button type="button" id="tap" { "Tap the beat" } " "
                        button type="button" id="tap-use" hidden { "Count by these taps" } " "
                        button type="button" id="bars-later" { "Bars begin a beat later" } " "
                        label { "in " select id="bars-meter" aria-label="Meter of the record" {
                            option value="" { "the meter that is heard" }
                            @for m in hear::Meter::HEARD { option value=(m.to_string()) { (m.to_string()) } }
                        } } " "
                        button type="button" id="tap-none" hidden { "Let go of what was said" } " "
                        span.quiet id="tap-says" { "Where the bars lie off the record: play some of it, and tap here, or T in the record, on every beat." }
                    }
                }
                section.findings id="findings" aria-labelledby="findings-title" hidden {
                    h2 id="findings-title" tabindex="-1" { "Against the record" }
                    progress id="check-part" max="1" value="0" aria-label="How far it is" hidden {}
                    p.facts id="check-says" role="status" {}
                    details id="fared" { summary { "How each passage fared" } dl.fared id="fared-list" {} }
                    ol id="finding-list" {}
                    p.views { a id="see-report" href="/findings" target="_blank" rel="noopener" hidden { "Report, with the record drawn" } " " button type="button" id="findings-away" { "Put away" } }
                }
                (taking::section())
                main id="passages" tabindex="-1" { p.quiet id="waiting" { "Setting the passages." } noscript { p { "The bench needs scripts to be allowed." } } }
                }
            }
            section.problems id="problems" aria-label="Problems" hidden {
                h2 { span id="problem-count" {} }
                ol id="problem-list" {}
            }
            section.made id="made" aria-label="The pack" data-pack=(pack) hidden {
                h2 { "The pack" }
                progress id="made-part" max="1" value="0" aria-label="How far it is" {}
                p id="made-what" {}
                p.views {
                    button type="button" id="see-handout" hidden { "Handout here" }
                    button type="button" id="see-page" hidden { "Pupil's page here" }
                    button type="button" id="see-none" { "Close" }
                }
                div id="made-view" {}
            }
            section.against id="conflict" role="dialog" aria-modal="true" aria-labelledby="conflict-title" hidden {
                h2 id="conflict-title" { "The file and this page differ" }
                p { "Another program wrote the lesson file, and what was typed here is not in it. Nothing is written until you choose." }
                div.versions id="versions" tabindex="0" role="group" aria-label="Both versions, line by line" {}
                p {
                    button.go type="button" id="keep-here" { "Keep what is here" }
                    " " button.go type="button" id="keep-file" { "Keep what is in the file" }
                    span.quiet { " Either way Undo leads back." }
                }
            }
            footer.ledge aria-label="At hand" {
                div.play role="group" aria-label="Playing" {
                    button.go type="button" id="go" aria-keyshortcuts="Control+Space" { "Play" }
                    label { "from bar " select id="from" {} }
                    label { "to " select id="to" {} }
                    label.tempo { "tempo " input type="range" id="tempo" min="25" max="100" step="5" value="100"; output id="tempo-says" for="tempo" { "100 %" } }
                    label.line { input type="checkbox" id="count-in" checked; " count-in" }
                    label.line { input type="checkbox" id="click"; " click" }
                    label.volume { "volume " input type="range" id="volume" min="0" max="100" value="40"; }
                    span.place id="place" {}
                    button type="button" id="play-in" aria-expanded="false" aria-controls="taking" aria-keyshortcuts="Alt+R" { "Play in" }
                }
                div.positions id="positions" role="group" aria-label="Where each part stands" {}
                div.heard-as id="heard-as" role="group" aria-label="How the record is heard" hidden {
                    label { "of the record " select id="apart" { option value="all" { "all of it" } option value="tones" { "what rings" } option value="strokes" { "what strikes" } } }
                    label.line { input type="checkbox" id="concert"; " at concert pitch" }
                    span.quiet id="apart-says" role="status" {}
                }
                div.hand {
                    neck-drawing id="neck" hidden {}
                    div.words id="hand-words" aria-live="polite" { p.quiet { "Go to a slot to see its grip, its names and its other places." } }
                }
            }
            (pedal::section())
            section.care aria-label="Care" {
                p { b { "Ears. " } "The volume starts low. Turn it up only as far as you need, and give your ears pauses: 40 hours a week at 80 dB are held to be safe, at 90 dB only 4 (ITU-T H.870)." }
                p { b { "Hands. " } "Warm up, rest often, and stop when something hurts or goes numb." }
                p { b { "Rights. " } "The record is your own copy and stays on this machine. What you pass on of it is for you to clear; the law where you live decides." }
            }
            details.keys {
                summary { "Keys" }
                dl {
                    dt { "arrows" } dd { "from slot to slot, from part to part" }
                    dt { "a letter, x, ., -" } dd { "that token; the cursor goes on" }
                    dt { "figures" } dd { "a fret on the string in hand" }
                    dt { "Shift and arrow up, down" } dd { "another string in hand" }
                    dt { "Enter" } dd { "write the token itself; Enter again puts it in" }
                    dt { "Space" } dd { "on to the next slot" }
                    dt { "Backspace" } dd { "silence, and back" }
                    dt { "Ctrl and C, V" } dd { "the bar's line copied, put in" }
                    dt { "Alt and arrow up, down" } dd { "the bar a fret up, down" }
                    dt { "Ctrl and Z, Shift and Ctrl and Z" } dd { "undo, redo" }
                    dt { "Ctrl and arrow left, right" } dd { "a bar back, on" }
                    dt { "Ctrl and Enter" } dd { "check against the record" }
                    dt { "Ctrl and arrow down, up" } dd { "the next finding, the one before" }
                    dt { "Ctrl and Space" } dd { "play, stop" }
                    dt { "Alt and R" } dd { "play in; again: record, stop" }
                    dt { "T in the record" } dd { "a beat is tapped while it plays" }
                    dt { "in the record: arrows, Shift and arrows" } dd { "a bar, more bars to go round" }
                    dt { "in the record: N, B" } dd { "the next place where these bars come back, the barest" }
                    dt { "Alt and P" } dd { "the view for a foot pedal, and back" }
                }
            }
        },
    )
}

#[cfg(test)]
mod tests {
    #[test]
    fn titles_are_text_and_nothing_is_inline() {
        let page = super::bench("</title><script>alert(1)</script>", "key");
        assert!(page.contains("&lt;/title&gt;&lt;script&gt;") && !page.contains("<script>"));
        assert_eq!(page.matches("<script").count(), 1);
        assert!(!page.contains(" style="));
        for handler in page.split(" on").skip(1) {
            let name: String = handler.chars().take_while(char::is_ascii_alphanumeric).collect();
            assert!(name.is_empty() || !handler[name.len()..].starts_with('='), "a handler: on{name}");
        }
        let start = super::start(&["<b>x".into()], &[]);
        assert!(start.contains("&lt;b&gt;x") && !start.contains("<b>x"));
    }

    #[test]
    fn the_pages_files_are_there() {
        for name in ["bench.css", "bench.js", "start.js", "shelf.js", "dom.js", "link.js", "sheet.js", "slots.js", "text.js", "neck.js", "play.js", "record.js", "input.js", "recorder.js", "taking.js", "taking.css", "pedal.js", "pedal.css", "findings.js", "findings.css", "icon.svg"] {
            assert!(super::asset(name).is_some_and(|(_, text)| text.len() > 100), "{name}");
        }
        assert_eq!(super::asset("../Cargo.toml"), None);
    }
}
