//! Do the same bytes still lie there?

use std::path::Path;

use super::StepError;
use crate::jobs::walk::facts;
use crate::media::ShownPath;
use crate::store::RecordingRow;

/// Size and time of last change of a file about to be read.
pub(super) fn look(path: &Path) -> Result<(i64, i64), StepError> {
    use std::io::ErrorKind::{NotFound, PermissionDenied};
    let about = path.metadata().map_err(|cause| {
        let shown = ShownPath::new(path);
        match cause.kind() {
            NotFound => StepError::Final(format!(
                "{shown}: is not there any more; add it from where it is now"
            )),
            PermissionDenied => StepError::Final(format!(
                "{shown}: may not be read by this user; allow it and add it again"
            )),
            _ => StepError::MayPass(format!("{shown}: cannot be looked at: {cause}")),
        }
    })?;
    Ok(facts(&about))
}

/// Sees that the file of a recording is the one that was opened.
pub(super) fn is_unchanged(recording: &RecordingRow) -> Result<(), StepError> {
    if look(&recording.path)? == (recording.size, recording.mtime_ns) {
        return Ok(());
    }
    let shown = ShownPath::new(&recording.path);
    Err(StepError::Final(format!(
        "{shown}: was changed since it was added; add it again"
    )))
}
