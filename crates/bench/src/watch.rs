//! The lesson's folder watched, and the thread that saves: one place that looks at the file and writes it.

use crate::state::{State, Wake};
use notify::{EventKind, RecursiveMode, Watcher};
use std::path::Path;
use std::sync::Weak;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender};
use std::time::Duration;

/// Typing is gathered for so long before it is written.
const GATHER: Duration = Duration::from_millis(150);
/// An editor that writes in several steps is given so long.
const SETTLE: Duration = Duration::from_millis(40);
/// Without any event the file is looked at this often, for folders that cannot be watched.
const LOOK: Duration = Duration::from_millis(900);

/// Watches a folder for changes of its lesson. `None` where the system cannot; then the file is only looked at now and then.
pub fn watch(folder: &Path, wake: Sender<Wake>) -> Option<notify::RecommendedWatcher> {
    let ours = |path: &std::path::PathBuf| path.file_name().is_some_and(|n| n == crate::desk::LESSON_FILE);
    let mut watcher = notify::recommended_watcher(move |event: notify::Result<notify::Event>| {
        // Reading is no change: it would wake us for ever.
        if let Ok(e) = event
            && !matches!(e.kind, EventKind::Access(_))
            && e.paths.iter().any(ours)
        {
            let _ = wake.send(Wake::File);
        }
    })
    .ok()?;
    watcher.watch(folder, RecursiveMode::NonRecursive).ok()?;
    Some(watcher)
}

/// Saves what was typed and looks at the file, until it is told to stop or nobody is left to tell it.
pub fn keep(state: &Weak<State>, wakes: &Receiver<Wake>) {
    loop {
        let wake = match wakes.recv_timeout(LOOK) {
            Ok(w) => Some(w),
            Err(RecvTimeoutError::Timeout) => None,
            Err(RecvTimeoutError::Disconnected) => Some(Wake::Stop),
        };
        match wake {
            Some(Wake::Typed) => std::thread::sleep(GATHER),
            Some(Wake::File) => std::thread::sleep(SETTLE),
            _ => {}
        }
        let stop = wake == Some(Wake::Stop) || wakes.try_iter().any(|w| w == Wake::Stop);
        let Some(state) = state.upgrade() else { return };
        look(&state);
        write(&state);
        if stop {
            return;
        }
    }
}

fn look(state: &State) {
    let Some(folder) = state.open().as_ref().map(|o| o.desk.folder.clone()) else { return };
    let found = folder.open(crate::desk::LESSON_FILE).and_then(|f| {
        let mut bytes = Vec::new();
        std::io::Read::read_to_end(&mut std::io::Read::take(f, lesson::BYTES_MAX as u64 + 1), &mut bytes)?;
        Ok(bytes)
    });
    let mut open = state.open();
    let Some(open) = open.as_mut().filter(|o| o.desk.folder.root() == folder.root()) else { return };
    if open.desk.seen(found) {
        let update = open.update("file");
        state.tell("update", &update);
    }
}

fn write(state: &State) {
    // A save is followed by the journal's word that it is saved.
    for _ in 0..3 {
        let Some(job) = state.open().as_mut().and_then(|o| o.desk.job()) else { return };
        let outcome = job.run();
        let mut open = state.open();
        let Some(open) = open.as_mut() else { return };
        open.fault = outcome.fault.clone();
        if open.desk.after(outcome) {
            let update = open.update("file");
            state.tell("update", &update);
        }
        if open.desk.is_saved() || open.fault.is_some() {
            state.tell("saving", &open.saving());
        }
        if open.fault.is_some() {
            return;
        }
    }
}
