//! Should the long computation stop?

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// A flag shared between who asks a long computation to stop and who looks.
///
/// Once set it stays set; clones share the one flag.
///
/// ```
/// let cancel = sayback_core::Cancel::new();
/// let theirs = cancel.clone();
/// theirs.cancel();
/// assert!(cancel.is_cancelled());
/// ```
#[derive(Clone, Debug, Default)]
pub struct Cancel(Arc<AtomicBool>);

impl Cancel {
    /// A flag that is not set.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Asks everyone who holds a clone to stop.
    pub fn cancel(&self) {
        self.0.store(true, Ordering::Release);
    }

    /// Whether somebody asked to stop.
    #[must_use]
    pub fn is_cancelled(&self) -> bool {
        self.0.load(Ordering::Acquire)
    }
}
