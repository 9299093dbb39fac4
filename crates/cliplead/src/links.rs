//! Runs a command that opens links: its runtime, the request to stop, and at the end, however it ends, the release of
//! every device. Opens nothing itself.

use std::future::Future;
use std::pin::Pin;
use std::time::Duration;

use link::Registry;

use crate::daemon;
use crate::output::talk;

/// Anything that still blocks a thread at the end (a port that does not open, a name look-up) is not waited for
/// longer than this.
const THREADS_TIME_MAX: Duration = Duration::from_secs(1);

/// The request to stop, by a signal. One for the whole command: a signal that comes while nobody waits is lost.
pub(crate) struct Stop {
    /// `None`: the stop was requested, and stays so.
    asked: Option<Pin<Box<dyn Future<Output = anyhow::Result<()>>>>>,
}

impl Stop {
    fn on(asked: impl Future<Output = anyhow::Result<()>> + 'static) -> Self {
        Self { asked: Some(Box::pin(asked)) }
    }

    /// Waits until somebody asks, for ever after at once. Cancel-safe: it may stand in the `select!` of a loop, first and
    /// `biased`, so that it is heard from the first turn on and no flood is heard before it.
    ///
    /// # Errors
    /// When the system gives no signals.
    pub(crate) async fn asked(&mut self) -> anyhow::Result<()> {
        let Some(asked) = &mut self.asked else { return Ok(()) };
        let end = asked.as_mut().await;
        self.asked = None;
        end
    }

    /// Whether a stop has been requested. For work that cannot be interrupted.
    pub(crate) async fn is_asked(&mut self) -> anyhow::Result<bool> {
        tokio::select! {
            biased;
            asked = self.asked() => asked.map(|()| true),
            // One turn, in which the runtime looks for signals.
            () = tokio::task::yield_now() => Ok(false),
        }
    }
}

/// Runs `work` with these adapters, then has every link let its device go, for a bounded time, also when `work` failed.
///
/// # Errors
/// Those of `work`.
pub(crate) fn run<T>(
    registry: &Registry,
    work: impl AsyncFnOnce(&Registry, &mut Stop) -> anyhow::Result<T>,
) -> anyhow::Result<T> {
    run_until(Stop::on(daemon::stop_asked()), registry, work)
}

fn run_until<T>(
    mut stop: Stop,
    registry: &Registry,
    work: impl AsyncFnOnce(&Registry, &mut Stop) -> anyhow::Result<T>,
) -> anyhow::Result<T> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let end = runtime.block_on(async {
        // Signals are heard from here on: one that ends the program before its first turn would leave devices connected.
        stop.is_asked().await?;
        let end = work(registry, &mut stop).await;
        if let Err(left) = registry.close().await {
            talk(&format!("cliplead: {left}"));
        }
        end
    });
    runtime.shutdown_timeout(THREADS_TIME_MAX);
    end
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wish_to_stop_stays() {
        let (ask, asked) = tokio::sync::oneshot::channel::<()>();
        let stop = Stop::on(async { Ok(asked.await?) });
        let turns = run_until(stop, &Registry::new(), async |_, stop| {
            let mut ask = Some(ask);
            let mut turns = 0;
            loop {
                tokio::select! {
                    biased;
                    asked = stop.asked() => break asked?,
                    // It is asked for while something else is waited for and handled.
                    () = std::future::ready(()) => drop(ask.take().map(|ask| ask.send(()))),
                }
                turns += 1;
            }
            assert!(stop.is_asked().await?);
            stop.asked().await?;
            Ok(turns)
        });
        assert_eq!(turns.unwrap(), 1);
    }

    /// A thread that waits for a device forever does not block a command.
    #[test]
    fn a_blocked_thread_is_not_waited_for() {
        let (never, waits) = std::sync::mpsc::channel::<()>();
        let (done, ended) = std::sync::mpsc::channel();
        std::thread::spawn(move || {
            let work = async |_: &Registry, _: &mut Stop| {
                drop(tokio::task::spawn_blocking(move || waits.recv()));
                tokio::task::yield_now().await;
                Ok(())
            };
            let end = run_until(Stop::on(std::future::pending()), &Registry::new(), work);
            let _ = done.send(end.is_ok());
        });
        // The limit bounds a hang only.
        assert_eq!(ended.recv_timeout(Duration::from_secs(60)), Ok(true));
        drop(never);
    }
}
