//! Why could the queue not do what it was asked?

use std::path::PathBuf;

use crate::store::StoreError;

/// What can go wrong when asking the engine. What goes wrong inside a step is
/// kept with its job instead.
#[derive(Debug, thiserror::Error)]
pub enum JobsError {
    /// The store could not do it.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A worker thread could not be started.
    #[error("cannot start a worker: {0}")]
    Thread(std::io::Error),
    /// An upload could not be put in its place.
    #[error("cannot keep the upload {name}: {cause}")]
    Upload {
        /// The file's name as it was sent.
        name: String,
        /// What the system said.
        cause: std::io::Error,
    },
    /// An upload came with a name that can't be a file's here.
    #[error("{name:?} {why}")]
    UploadName {
        /// The name as it was sent, or its beginning.
        name: String,
        /// What is wrong with it.
        why: &'static str,
    },
    /// A root that recordings may lie under is not there.
    #[error("cannot use the root {path}: {cause}")]
    Root {
        /// The root as it was given.
        path: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
    /// Work can't go on, and waiting did not help.
    #[error("work has stopped: {0}")]
    Stuck(String),
}
