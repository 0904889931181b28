//! Turns a panic inside a decoder of another crate into an error.
//!
//! Damaged files reach assertions in such decoders (a Vorbis codebook with impossible dimensions does in symphonia 0.6.1). What they decode into
//! is dropped with the panic, so nothing half-changed is left. The message that a panic prints is kept from standard error, on this
//! thread and for this time only; needs `panic = "unwind"`, which is the default.

use super::DecodeError;
use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

thread_local! {
    static GUARDED: Cell<bool> = const { Cell::new(false) };
}

static HOOK: Once = Once::new();

pub(super) fn guard<T>(
    format: &'static str,
    decode: impl FnOnce() -> Result<T, DecodeError>,
) -> Result<T, DecodeError> {
    HOOK.call_once(|| {
        let before = take_hook();
        set_hook(Box::new(move |info| {
            if !GUARDED.get() {
                before(info);
            }
        }));
    });
    let outer = GUARDED.replace(true);
    let result = catch_unwind(AssertUnwindSafe(decode));
    GUARDED.set(outer);
    result.unwrap_or_else(|_| {
        Err(DecodeError::Damaged {
            format,
            at: None,
            detail: "the decoder gave up on impossible values".to_owned(),
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_an_error_and_later_ones_are_untouched() {
        let numbers = [1u8];
        let bad = std::hint::black_box(7);
        let error = guard("MP3", || Ok(numbers[bad])).unwrap_err();
        assert!(
            error.to_string().starts_with("the MP3 file is damaged"),
            "{error}"
        );
        assert_eq!(guard("MP3", || Ok(5)), Ok(5));
        assert!(!GUARDED.get());
    }
}
