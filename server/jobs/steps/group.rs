//! group: who heard the same speech?

use super::{Step, StepError};
use crate::jobs::engine::now_ms;

impl Step<'_> {
    /// Finds who heard the same speech.
    pub(super) fn group(&self) -> Result<(), StepError> {
        let lease = self.claim.lease();
        self.write(|| self.store().finish_group(&lease, now_ms()))
    }
}
