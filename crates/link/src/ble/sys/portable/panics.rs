//! Panics on a thread that runs third-party code: its runtime catches them, and this module reports them as signals
//! instead of printing the program's own panic text. Holds no runtime.

use std::cell::RefCell;
use std::panic::PanicHookInfo;
use std::sync::Once;

use tokio::sync::mpsc::Sender;

use crate::ble::central::Signal;

thread_local! {
    static TELL: RefCell<Option<Sender<Signal>>> = const { RefCell::new(None) };
}

/// From now on, panics on this thread go to `signals`. If there is no room, the panic is dropped: it would not be the
/// first.
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

/// Reports a panic of this thread; `false`: the thread is one of the program's own.
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

/// The name of a file without the folders of the build machine.
fn file(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}
