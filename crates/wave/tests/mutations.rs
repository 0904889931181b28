//! Every fixture damaged at random: decoding gives a sound or an error, never a panic, in bounded memory and time.

use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering};
use wave::{Limits, Seconds, decode};

/// Counts what is allocated. One test alone in this file, so that nothing else is counted.
struct Counting;

static NOW: AtomicUsize = AtomicUsize::new(0);
static MOST: AtomicUsize = AtomicUsize::new(0);

// SAFETY: hands everything on to the system's allocator and only counts.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        let now = NOW.fetch_add(layout.size(), Ordering::Relaxed) + layout.size();
        MOST.fetch_max(now, Ordering::Relaxed);
        // SAFETY: the caller's promise, handed on.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, ptr: *mut u8, layout: Layout) {
        NOW.fetch_sub(layout.size(), Ordering::Relaxed);
        // SAFETY: the caller's promise, handed on.
        unsafe { System.dealloc(ptr, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

/// A change at a place (a part of the length, 0 to 1).
#[derive(Clone, Debug)]
enum Damage {
    Set(f64, u8),
    SetInHeader(f64, u8),
    /// Four bytes, as lengths are.
    Word(f64, u32),
    Cut(f64),
    Remove(f64, usize),
    Insert(f64, Vec<u8>),
}

fn damage() -> impl Strategy<Value = Damage> {
    let place = 0.0..1.0f64;
    let word = prop_oneof![Just(0u32), Just(u32::MAX), Just(0x7fff_ffff), any::<u32>()];
    prop_oneof![
        3 => (place.clone(), any::<u8>()).prop_map(|(p, b)| Damage::Set(p, b)),
        5 => (place.clone(), any::<u8>()).prop_map(|(p, b)| Damage::SetInHeader(p, b)),
        3 => (place.clone(), word).prop_map(|(p, w)| Damage::Word(p, w)),
        1 => place.clone().prop_map(Damage::Cut),
        1 => (place.clone(), 1usize..40).prop_map(|(p, n)| Damage::Remove(p, n)),
        1 => (place, proptest::collection::vec(any::<u8>(), 1..40)).prop_map(|(p, v)| Damage::Insert(p, v)),
    ]
}

fn apply(bytes: &mut Vec<u8>, damage: &Damage) {
    let len = bytes.len();
    if len < 8 {
        return;
    }
    let at = |part: f64, len: usize| ((part * len as f64) as usize).min(len - 1);
    match damage {
        Damage::Set(p, b) => bytes[at(*p, len)] = *b,
        Damage::SetInHeader(p, b) => bytes[at(*p, len.min(600))] = *b,
        Damage::Word(p, w) => {
            let from = at(*p, len.min(1_200) - 4);
            bytes[from..from + 4].copy_from_slice(&w.to_be_bytes());
        }
        Damage::Cut(p) => bytes.truncate(at(*p, len)),
        Damage::Remove(p, n) => drop(bytes.drain(at(*p, len)..(at(*p, len) + n).min(len))),
        Damage::Insert(p, v) => drop(bytes.splice(at(*p, len)..at(*p, len), v.iter().copied())),
    }
}

/// Puts every Ogg page's checksum right again (RFC 3533 section 6: polynomial 0x04c11db7, the field itself as 0), so that the damage gets
/// past the container.
fn mend_ogg(bytes: &mut [u8]) {
    let mut at = 0;
    while bytes.len() >= at + 27 && &bytes[at..at + 4] == b"OggS" {
        let table = at + 27..(at + 27 + usize::from(bytes[at + 26])).min(bytes.len());
        let end = table.end + bytes[table].iter().map(|n| usize::from(*n)).sum::<usize>();
        let end = end.min(bytes.len());
        bytes[at + 22..at + 26].fill(0);
        let crc = bytes[at..end].iter().fold(0u32, |crc, b| {
            (0..8).fold(crc ^ u32::from(*b) << 24, |c, _| {
                c << 1 ^ if c >> 31 == 1 { 0x04c1_1db7 } else { 0 }
            })
        });
        bytes[at + 22..at + 26].copy_from_slice(&crc.to_le_bytes());
        at = end;
    }
}

#[test]
fn damaged_files_never_panic_and_stay_small() {
    let cases = std::env::var("WAVE_MUTATIONS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(300);
    let limits = Limits {
        max_duration: Seconds(60.0),
        max_samples: 4_000_000,
        ..Limits::default()
    };
    // 4 million samples, twice while a vector grows, once more in the decoder, and room for tables.
    let most = 64 << 20;
    let folder = format!("{}/tests/data", env!("CARGO_MANIFEST_DIR"));
    let mut names: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .collect();
    names.sort();
    assert!(names.len() > 20);
    for path in names {
        let original = std::fs::read(&path).unwrap();
        let mut runner = TestRunner::new(Config {
            cases,
            failure_persistence: None,
            ..Config::default()
        });
        runner
            .run(&proptest::collection::vec(damage(), 1..6), |damages| {
                let mut bytes = original.clone();
                damages.iter().for_each(|d| apply(&mut bytes, d));
                mend_ogg(&mut bytes);
                let before = NOW.load(Ordering::Relaxed);
                MOST.store(before, Ordering::Relaxed);
                let started = std::time::Instant::now();
                if let Err(error) = decode(&bytes, None, &limits) {
                    prop_assert!(!error.to_string().is_empty());
                }
                let used = MOST.load(Ordering::Relaxed) - before;
                prop_assert!(used < most, "{used} bytes");
                prop_assert!(started.elapsed().as_secs() < 20);
                Ok(())
            })
            .unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    }
}
