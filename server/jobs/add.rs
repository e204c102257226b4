//! How do files get into the queue?

use std::collections::HashMap;
use std::ops::ControlFlow;
use std::path::PathBuf;

use tokio::sync::mpsc;

use super::engine::now_ms;
use super::walk::{Found, walk};
use super::{Engine, JobsError, Roots, What};
use crate::media::ChannelChoice;
use crate::store::{
    EventId, IntakeId, NewIntake, Placement, Queued, RecordingId, SourceId, shown_name,
};

/// Files written in one transaction: one `fsync` for many files, and others wait
/// for the write lock only milliseconds.
const BATCH: usize = 250;

/// Files and folders to be added.
#[derive(Clone, Debug)]
pub struct Add {
    /// The event.
    pub event: EventId,
    /// Label of the source that made them all. Without it each file belongs to
    /// the source called like its folder: of a folder of folders, each folder in
    /// it is a source.
    pub source: Option<String>,
    /// How the source was placed; left as it is (a new one: `worn` with a
    /// wearer, otherwise `ambient`) when not said.
    pub placement: Option<Placement>,
    /// Who wears it.
    pub person: Option<String>,
    /// What is done with several channels.
    pub channels: ChannelChoice,
    /// What to add.
    pub paths: Vec<PathBuf>,
    /// Where it may lie.
    pub roots: Roots,
}

/// A file that was queued.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Accepted {
    /// Its path, every link followed.
    pub file: PathBuf,
    /// The intake that follows its way.
    pub intake: IntakeId,
}

/// A file that is there already.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Already {
    /// Its path, every link followed.
    pub file: PathBuf,
    /// The (first) recording it holds.
    pub recording: RecordingId,
}

/// Something that was not queued.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refused {
    /// The path as given or met.
    pub file: PathBuf,
    /// Why not, as the rest of a sentence that begins with the file.
    pub reason: String,
}

/// What adding came to, in order of walking.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct AddReport {
    /// Queued.
    pub accepted: Vec<Accepted>,
    /// There already, unchanged.
    pub already: Vec<Already>,
    /// Not queued.
    pub refused: Vec<Refused>,
}

impl Engine {
    /// Queues files to be opened and returns; the files themselves are looked at
    /// by the workers. A path that can't be used is reported, the others go on.
    ///
    /// # Errors
    /// [`crate::store::StoreError::Unknown`] event; [`JobsError::Root`];
    /// [`crate::store::StoreError::DiskFull`]: what is queued by then stays so.
    pub async fn add(&self, add: Add) -> Result<AddReport, JobsError> {
        self.store().event(&add.event).await?;
        let roots = add.roots.followed()?;
        let mut found = walk_aside(add.paths.clone(), roots);
        let mut report = AddReport::default();
        let mut sources = HashMap::new();
        while let Some(batch) = found.recv().await {
            self.add_batch(&add, batch, &mut sources, &mut report)
                .await?;
            self.changed(Some(add.event.clone()), What::Content);
        }
        Ok(report)
    }

    async fn add_batch(
        &self,
        add: &Add,
        batch: Vec<Found>,
        sources: &mut HashMap<String, SourceId>,
        report: &mut AddReport,
    ) -> Result<(), JobsError> {
        let mut intakes = Vec::with_capacity(batch.len());
        for found in batch {
            let (path, folder, size, mtime_ns) = match found {
                Found::Refused(refused) => {
                    report.refused.push(refused);
                    continue;
                }
                Found::File {
                    path,
                    folder,
                    size,
                    mtime_ns,
                } => (path, folder, size, mtime_ns),
            };
            let label = add.source.clone().unwrap_or(folder);
            let source = match sources.get(&label) {
                Some(source) => source.clone(),
                None => self.source_for(add, &label, sources).await?,
            };
            let choice = add.channels.to_string();
            intakes.push(NewIntake {
                source,
                path,
                size,
                mtime_ns,
                choice,
            });
        }
        let queued = self
            .store()
            .add_intakes(&add.event, &intakes, now_ms())
            .await?;
        for (intake, queued) in intakes.into_iter().zip(queued) {
            let file = intake.path;
            match queued {
                Queued::Waiting(intake) => report.accepted.push(Accepted { file, intake }),
                Queued::Already(recording) => report.already.push(Already { file, recording }),
            }
        }
        Ok(())
    }

    async fn source_for(
        &self,
        add: &Add,
        label: &str,
        sources: &mut HashMap<String, SourceId>,
    ) -> Result<SourceId, JobsError> {
        // The folder of a file at the top of a disk has no name.
        let name = if label.trim().is_empty() {
            "recordings"
        } else {
            label
        };
        let source = self
            .store()
            .ensure_source(&add.event, name, add.placement, add.person.as_deref())
            .await?;
        sources.insert(label.to_owned(), source.id.clone());
        Ok(source.id)
    }
}

/// Walks on a thread for blocking work and hands over batches; it waits when the
/// batches are not taken, so memory stays bounded.
fn walk_aside(paths: Vec<PathBuf>, roots: Roots) -> mpsc::Receiver<Vec<Found>> {
    let (send, receive) = mpsc::channel(2);
    tokio::task::spawn_blocking(move || {
        let mut batch = Vec::with_capacity(BATCH);
        for path in paths {
            let gone = walk(&path, &roots, &mut |found| {
                batch.push(found);
                if batch.len() == BATCH {
                    // Nobody takes it any more: the walk ends with nothing lost.
                    let full = std::mem::replace(&mut batch, Vec::with_capacity(BATCH));
                    if send.blocking_send(full).is_err() {
                        return ControlFlow::Break(());
                    }
                }
                ControlFlow::Continue(())
            });
            if gone.is_break() {
                return;
            }
        }
        let _ = send.blocking_send(batch);
    });
    receive
}

impl std::fmt::Display for Refused {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", shown_name(&self.file), self.reason)
    }
}
