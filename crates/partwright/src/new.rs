//! `new`: a lesson folder to start from.

use crate::args::New;
use crate::failure::{Failure, print, print_json};
use crate::folder::LESSON_FILE;

pub fn run(a: &New, json: bool) -> Result<(), Failure> {
    if a.title.chars().any(char::is_control) {
        return Err(Failure::Usage("a title is one line of text".into()));
    }
    let file = a.dir.join(LESSON_FILE);
    std::fs::create_dir_all(&a.dir).map_err(Failure::io(a.dir.display().to_string()))?;
    let text = starter(&a.title);
    // A lesson that is there is never written over.
    match keep::write_new(&file, text.as_bytes()) {
        Ok(()) => keep::sync_folder(a.dir.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(std::path::Path::new("."))),
        Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {
            return Err(Failure::NotPossible(format!("{}: a lesson is here already; nothing was changed", file.display())));
        }
        Err(e) => return Err(Failure::Io { what: file.display().to_string(), error: e }),
    }
    if json {
        return print_json(&serde_json::json!({ "schema": "partwright/new/1", "files": [file.display().to_string()] }));
    }
    print(&format!("{}: a lesson to start from. Next: partwright make {}\n", file.display(), a.dir.display()))
}

/// The text of a first lesson.
fn starter(title: &str) -> String {
    let title = title.replace('\\', "\\\\").replace('"', "\\\"");
    format!(
        r#"// A lesson. Every word and sign of this file is explained in docs/lesson-file.md.
lesson "{title}" needs="open chords" {{
  passage "first" title="First passage" {{
    tempo 84
    meter "4/4"
    slots 8
    key "G major"
    chords "G / / / D / / /"

    part "strum" instrument="guitar" {{
      grip "g" "3 2 0 0 0 3"
      grip "d" "x x 0 2 3 2"
      bar "g - . g  . g g ."
      bar "d - . d  . d d ."
    }}
    part "floor" instrument="bass" {{
      bar "4:3 - - .  4:3 - 3:2 -"
      bar "3:5 - - .  3:5 - 4:5 -"
    }}
    note "Let the hand swing on through the silent eighths." at="1.1"
  }}
}}
"#
    )
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_starter_is_sound_whatever_the_title() {
        for title in ["A new lesson", "quotes \" and \\ backslashes", "{ } // /* #\"", "é ♭"] {
            let r = lesson::read(&super::starter(title));
            assert_eq!(r.problems, vec![], "{title}");
            assert_eq!(r.lesson.title, title);
            assert_eq!(lesson::check(&r.lesson), vec![]);
        }
    }
}
