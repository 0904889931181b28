//! A view for a foot pedal or two keys: its place on the page.

use maud::{Markup, html};

pub fn section() -> Markup {
    html! {
        section.pedal id="pedal" role="dialog" aria-modal="true" aria-labelledby="pedal-title" hidden {
            h2 id="pedal-title" {}
            p.pedal-where {
                span.pedal-bar id="pedal-bar" {} " "
                span.quiet id="pedal-of" {} " "
                span.pedal-names id="pedal-names" {} " "
                span.quiet id="pedal-tempo" {}
            }
            div.pedal-keys {
                button.go type="button" id="pedal-go" { "Play" }
                button type="button" id="pedal-back" { "A bar back" }
                button type="button" id="pedal-start" { "From the start" }
                button type="button" id="pedal-next" { "Next passage" }
            }
            p {
                label { "Pedal sends " select id="pedal-pair" {
                    option value="page" { "Page Up and Page Down" }
                    option value="sideways" { "arrow left and arrow right" }
                    option value="updown" { "arrow up and arrow down" }
                } } " "
                button type="button" id="pedal-close" aria-keyshortcuts="Escape" { "Back to the page" }
            }
            p.quiet { "The one that goes on plays and stops. The other goes a bar back while it plays; stepped on twice, back to the start; in silence, on to the next passage." }
        }
    }
}
