//! align: where does each recording lie on the clock of its event?

use super::{Step, StepError};
use crate::jobs::engine::now_ms;

impl Step<'_> {
    /// Works out which recordings are pieces of one take, which ties them.
    pub(super) fn align(&self) -> Result<(), StepError> {
        self.read(self.inner.refresh_takes())?;
        self.check()?;
        let lease = self.claim.lease();
        self.write(|| self.store().finish_align(&lease, now_ms()))
    }
}
