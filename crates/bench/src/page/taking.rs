//! Playing a part in: its place on the page.

use maud::{Markup, html};

pub fn section() -> Markup {
    html! {
        section.taking id="taking" aria-labelledby="taking-title" hidden {
            h2 id="taking-title" tabindex="-1" { "Play it in" }
            p.facts id="taking-for" {}
            div.taking-rows {
                p {
                    label { "Input " select id="taking-input" { option value="" { "the browser's own choice" } } } " "
                    button type="button" id="taking-listen" aria-pressed="false" { "Listen" } " "
                    meter id="taking-level" min="0" max="1" value="0" aria-label="Level of the input" {}
                    span.quiet id="taking-level-says" { "not listening" }
                }
                p {
                    button type="button" id="taking-delay" { "Measure the delay" } " "
                    span.quiet id="taking-delay-says" {}
                }
                p {
                    button.go type="button" id="taking-record" aria-keyshortcuts="Alt+R" { "Record" } " "
                    button type="button" id="taking-away" { "Put away" } " "
                    span id="taking-says" role="status" {}
                }
                progress id="taking-part" max="1" value="0" aria-label="How far it is" hidden {}
            }
            div.taken id="taken" hidden {
                ul.quiet id="taken-remarks" {}
                div.set id="taken-drawn" tabindex="0" role="group" aria-label="As played, printed" {}
                ol id="taken-bars" {}
                p.views {
                    button type="button" id="taken-hear" aria-pressed="false" { "Hear the take" } " "
                    button.go type="button" id="taken-all" { "Take over all bars" } " "
                    button type="button" id="taken-none" { "Drop it" }
                }
            }
        }
    }
}
