//! Panics of decoders as errors: for the owner of a damaged file they are the same thing.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

thread_local! {
    static CAUGHT: Cell<bool> = const { Cell::new(false) };
}
static HOOK: Once = Once::new();

/// The threads on which decoders work beside the caller's.
const DECODERS: &str = "polars";

/// Runs a decoder; `None` where it panicked, about which nothing is printed.
pub(super) fn caught<T>(decode: impl FnOnce() -> T) -> Option<T> {
    HOOK.call_once(|| {
        let usual = take_hook();
        set_hook(Box::new(move |info| {
            let thread = std::thread::current();
            let decodes = thread.name().is_some_and(|n| n.starts_with(DECODERS));
            if !decodes && !CAUGHT.get() {
                usual(info);
            }
        }));
    });
    let before = CAUGHT.replace(true);
    let result = catch_unwind(AssertUnwindSafe(decode));
    CAUGHT.set(before);
    result.ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_is_no_answer_and_the_next_decoder_works() {
        assert_eq!(caught(|| <[u8]>::len(&[])), Some(0));
        let nothing: [u8; 0] = [];
        assert_eq!(caught(|| nothing[std::hint::black_box(1)]), None);
        assert_eq!(caught(|| 7), Some(7));
    }
}
