//! Panics on a thread that runs somebody else's code: caught by its runtime, counted and told here in place of the text that
//! the program prints for its own. Holds no runtime.

use std::cell::RefCell;
use std::panic::PanicHookInfo;
use std::sync::Once;

use tokio::sync::mpsc::Sender;

use crate::ble::central::Signal;

thread_local! {
    static TELL: RefCell<Option<Sender<Signal>>> = const { RefCell::new(None) };
}

/// From now on a panic on this thread goes to `signals`. One that does not fit there is left out: it would not be the first.
pub(super) fn tell(signals: Sender<Signal>) {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            if !told(panic) {
                before(panic);
            }
        }));
    });
    // A thread that is ending has nobody to tell.
    let _ = TELL.try_with(|tell| tell.replace(Some(signals)));
}

/// Tells a panic of this thread; `false`: it is a thread of the program's own.
fn told(panic: &PanicHookInfo<'_>) -> bool {
    let tell = |tell: &RefCell<Option<Sender<Signal>>>| {
        let tell = tell.try_borrow().ok()?;
        let place =
            panic.location().map_or_else(String::new, |at| format!(" at {}:{}", file(at.file()), at.line()));
        let words = format!(
            "a library failed{place} and was caught; its values may stop, and are then asked for again"
        );
        let _ = tell.as_ref()?.try_send(Signal::Panicked { words });
        Some(())
    };
    TELL.try_with(tell).ok().flatten().is_some()
}

/// The name of a file without the folders of the machine that built it.
fn file(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}
