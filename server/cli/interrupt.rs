//! What Ctrl-C means while a command works.

use tokio::runtime::Handle;
use tokio::signal::unix::{SignalKind, signal};

use crate::core::Cancel;

use super::error::Outcome;
use super::show::remark;

/// Sets the returned flag at the first SIGINT or SIGTERM, so that work can stop
/// where it is safe; the second ends the program at once.
///
/// # Errors
/// When the system refuses to report signals.
pub fn on_signal(runtime: &Handle) -> std::io::Result<Cancel> {
    let _inside = runtime.enter();
    let mut interrupts = signal(SignalKind::interrupt())?;
    let mut terminations = signal(SignalKind::terminate())?;
    let cancel = Cancel::new();
    let theirs = cancel.clone();
    runtime.spawn(async move {
        for first in [true, false] {
            tokio::select! {
                _ = interrupts.recv() => {}
                _ = terminations.recv() => {}
            }
            if first {
                remark("stopping; once more stops at once");
                theirs.cancel();
            }
        }
        std::process::exit(i32::from(Outcome::Interrupted.code()));
    });
    Ok(cancel)
}

/// Listens from now on, and is done at the first SIGINT or SIGTERM.
///
/// # Errors
/// When the system refuses to report signals.
pub fn asked_to_stop() -> std::io::Result<impl Future<Output = ()> + Send + 'static> {
    let mut interrupts = signal(SignalKind::interrupt())?;
    let mut terminations = signal(SignalKind::terminate())?;
    Ok(async move {
        tokio::select! {
            _ = interrupts.recv() => {}
            _ = terminations.recv() => {}
        }
    })
}
