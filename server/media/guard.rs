//! The one place where a panic of the decoding library is caught.
//!
//! Its debug builds panic on arithmetic that hostile files provoke. A panic
//! becomes an error of that packet or file; the others go on.

use std::panic::{AssertUnwindSafe, catch_unwind};

use symphonia::core::errors::Error;

/// Runs a call into the library; a panic comes back as a decode error. What
/// the call touched must not be used afterwards other than to be rebuilt or
/// dropped, which every caller here keeps to.
pub(super) fn guarded<T>(call: impl FnOnce() -> Result<T, Error>) -> Result<T, Error> {
    catch_unwind(AssertUnwindSafe(call)).unwrap_or(Err(Error::DecodeError("the decoder gave up")))
}
