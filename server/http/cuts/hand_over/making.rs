//! Folders of this machine, made while nobody has to wait: `POST /cuts/{cut}/folder` and
//! `/hand-overs`.
//!
//! What is being made is known in memory only: a folder gets its name when it is whole,
//! so that after a crash there is nothing to go on with, and what lies there half-made
//! says so by its name ([`left_over`]).

use std::collections::VecDeque;
use std::path::{Path as FilePath, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum::extract::State;
use axum::http::{HeaderValue, StatusCode, header};
use sayback_core::Cancel;
use tokio::sync::{AcquireError, OwnedSemaphorePermit, Semaphore};
use tokio_util::sync::CancellationToken;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::super::super::extract::{Json, Path};
use super::super::super::guard::Owner;
use super::super::super::problem::{Answer, Problem};
use super::super::super::wire::{self, CutFolder, CutFolderMade};
use super::super::super::{AppState, BASE};
use super::parcel::{Parcel, Stopped};
use super::read;
use crate::media::pull::{Folder, left_over};

/// Folders and archives that are made at once: disks are no faster for more.
const AT_ONCE: usize = 2;
/// Folders that are remembered, and the most that wait.
const REMEMBERED: usize = 100;

/// The routes of folders.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(make))
        .routes(routes!(list))
        .routes(routes!(show, cancel))
}

/// Makes a folder of this machine with the sound of a cut list or of some of its quotes,
/// its lists and a manifest with the hash of each file: nothing is encoded anew, and
/// lists name the sound by paths inside the folder, so that it opens on another machine.
/// It goes on after the answer, which says where to look; nothing is at the folder's name
/// before all of it is there. Only with the owner's token.
#[utoipa::path(post, path = "/cuts/{cut}/folder", tag = "cuts", request_body = CutFolder,
    params(("cut" = String, Path, description = "the list's id, or its name")),
    responses(
    (status = 202, body = wire::HandOver, description = "it is being made",
        headers(("location" = String, description = "where to look how far it is"))),
    (status = 409, description = "too many wait", body = Problem,
        content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn make(
    State(state): State<AppState>,
    Path(cut): Path<String>,
    owner: Owner,
    Json(asked): Json<CutFolder>,
) -> Answer<(
    StatusCode,
    [(header::HeaderName, HeaderValue); 1],
    Json<wire::HandOver>,
)> {
    is_owner(&owner)?;
    let list = read(&state, &cut, &asked.quotes).await?;
    let target = PathBuf::from(&asked.folder);
    let parcel = Parcel::of(list, asked)?;
    let looked =
        tokio::task::spawn_blocking(move || may_be_made(&target).map(|left| (target, left)));
    let (target, left) = looked.await.map_err(Problem::internal)??;
    let work = Arc::new(Work::new(&parcel, target, left));
    state
        .hand_overs
        .begin(work.clone(), parcel, &state.stopping)?;
    let place = format!("{BASE}/hand-overs/{}", work.id);
    let place = HeaderValue::from_str(&place).map_err(Problem::internal)?;
    let told = Json(work.told());
    Ok((StatusCode::ACCEPTED, [(header::LOCATION, place)], told))
}

/// The folders that are being made, and the last that were. Only with the owner's token.
#[utoipa::path(get, path = "/hand-overs", tag = "cuts", responses(
    (status = 200, body = wire::HandOvers),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn list(State(state): State<AppState>, owner: Owner) -> Answer<Json<wire::HandOvers>> {
    is_owner(&owner)?;
    let all = state.hand_overs.all();
    let hand_overs = all.iter().rev().map(|work| work.told()).collect();
    Ok(Json(wire::HandOvers { hand_overs }))
}

/// How far a folder is. Only with the owner's token.
#[utoipa::path(get, path = "/hand-overs/{hand_over}", tag = "cuts",
    params(("hand_over" = String, Path, description = "its id")),
    responses(
    (status = 200, body = wire::HandOver),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn show(
    State(state): State<AppState>,
    Path(id): Path<String>,
    owner: Owner,
) -> Answer<Json<wire::HandOver>> {
    is_owner(&owner)?;
    Ok(Json(state.hand_overs.one(&id)?.told()))
}

/// Stops a folder that is being made and takes away what there is of it; one that is done
/// stays where it is. Only with the owner's token.
#[utoipa::path(delete, path = "/hand-overs/{hand_over}", tag = "cuts",
    params(("hand_over" = String, Path, description = "its id")),
    responses(
    (status = 202, body = wire::HandOver, description = "it was told to stop"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn cancel(
    State(state): State<AppState>,
    Path(id): Path<String>,
    owner: Owner,
) -> Answer<(StatusCode, Json<wire::HandOver>)> {
    is_owner(&owner)?;
    let work = state.hand_overs.one(&id)?;
    work.cancel.cancel();
    Ok((StatusCode::ACCEPTED, Json(work.told())))
}

fn is_owner(owner: &Owner) -> Answer<()> {
    match owner {
        Owner(true) => Ok(()),
        Owner(false) => {
            let why = "only who can read the data folder may have files written on this machine";
            Err(Problem::new(StatusCode::FORBIDDEN, why))
        }
    }
}

/// Refuses a place where no folder can be made; what earlier attempts left there.
fn may_be_made(target: &FilePath) -> Answer<Vec<PathBuf>> {
    let refused = |why: String| Err(Problem::field("folder", why));
    let Some(parent) = target.parent().filter(|_| target.is_absolute()) else {
        return refused("folder must be a whole path".into());
    };
    if target.symlink_metadata().is_ok() {
        let why = "exists already, and was left as it is; choose another name";
        return refused(format!("'{}' {why}", target.display()));
    }
    if !parent.is_dir() {
        return refused(format!("there is no folder '{}'", parent.display()));
    }
    Ok(left_over(target))
}

/// The folders that are being made, and the last that were.
#[derive(Clone)]
pub struct HandOvers {
    turns: Arc<Semaphore>,
    all: Arc<Mutex<VecDeque<Arc<Work>>>>,
}

impl Default for HandOvers {
    fn default() -> Self {
        Self {
            turns: Arc::new(Semaphore::new(AT_ONCE)),
            all: Arc::default(),
        }
    }
}

impl HandOvers {
    /// Waits until there is room for one more.
    pub(super) async fn turn(&self) -> Result<OwnedSemaphorePermit, AcquireError> {
        self.turns.clone().acquire_owned().await
    }

    fn all(&self) -> MutexGuard<'_, VecDeque<Arc<Work>>> {
        self.all.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn one(&self, id: &str) -> Answer<Arc<Work>> {
        let found = self.all().iter().find(|work| work.id == id).cloned();
        found.ok_or_else(|| Problem::missing("hand-over", id))
    }

    /// Has a folder made.
    fn begin(&self, work: Arc<Work>, parcel: Parcel, stopping: &CancellationToken) -> Answer<()> {
        let mut all = self.all();
        if all.len() >= REMEMBERED {
            let Some(ended) = all.iter().position(|work| work.state().is_end()) else {
                let why = "too many folders wait to be made; wait for one, or cancel one";
                return Err(Problem::new(StatusCode::CONFLICT, why));
            };
            all.remove(ended);
        }
        all.push_back(work.clone());
        let (own, stopping) = (self.clone(), stopping.clone());
        tokio::spawn(async move {
            let made = own.made(&work, parcel, &stopping).await;
            work.ends(made);
        });
        Ok(())
    }

    async fn made(
        &self,
        work: &Arc<Work>,
        parcel: Parcel,
        stopping: &CancellationToken,
    ) -> Result<CutFolderMade, Stopped> {
        // A server that ends leaves nothing half-made.
        let cancel = work.cancel.clone();
        let watch = tokio::spawn({
            let stopping = stopping.clone();
            async move {
                stopping.cancelled().await;
                cancel.cancel();
            }
        });
        let turn = self.turn().await;
        let worker = work.clone();
        let filled = tokio::task::spawn_blocking(move || worker.fill(&parcel));
        let filled = filled.await;
        drop(turn);
        watch.abort();
        filled.unwrap_or_else(|died| Err(Stopped::Refused(died.to_string())))
    }
}

/// How far it is.
#[derive(Clone)]
enum Stage {
    Waiting,
    Running,
    Done(CutFolderMade),
    Failed(String),
    Cancelled,
}

impl Stage {
    fn is_end(&self) -> bool {
        !matches!(self, Self::Waiting | Self::Running)
    }

    fn name(&self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::Running => "running",
            Self::Done(_) => "done",
            Self::Failed(_) => "failed",
            Self::Cancelled => "cancelled",
        }
    }
}

/// A folder that is being made.
struct Work {
    id: String,
    cut: String,
    target: PathBuf,
    left_over: Vec<PathBuf>,
    files: usize,
    looked_at: AtomicUsize,
    cancel: Cancel,
    stage: Mutex<Stage>,
}

impl Work {
    fn new(parcel: &Parcel, target: PathBuf, left_over: Vec<PathBuf>) -> Self {
        Self {
            id: uuid::Uuid::now_v7().to_string(),
            cut: parcel.cut().to_owned(),
            target,
            left_over,
            files: parcel.files(),
            looked_at: AtomicUsize::new(0),
            cancel: Cancel::new(),
            stage: Mutex::new(Stage::Waiting),
        }
    }

    fn fill(&self, parcel: &Parcel) -> Result<CutFolderMade, Stopped> {
        if self.cancel.is_cancelled() {
            return Err(Stopped::Cancelled);
        }
        *self.locked() = Stage::Running;
        let folder = Folder::start(&self.target)?;
        let progress = |n| self.looked_at.store(n, Ordering::Relaxed);
        parcel.fill(folder, &self.cancel, &progress)
    }

    fn ends(&self, made: Result<CutFolderMade, Stopped>) {
        let stage = match made {
            Ok(made) => Stage::Done(made),
            Err(Stopped::Cancelled) => Stage::Cancelled,
            Err(Stopped::Refused(why)) => Stage::Failed(why),
        };
        if let Stage::Failed(why) = &stage {
            tracing::warn!(%why, "a folder was not made");
        }
        *self.locked() = stage;
    }

    fn locked(&self) -> MutexGuard<'_, Stage> {
        self.stage.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn state(&self) -> Stage {
        self.locked().clone()
    }

    fn told(&self) -> wire::HandOver {
        let mut stage = self.state();
        if matches!(stage, Stage::Waiting) && self.cancel.is_cancelled() {
            stage = Stage::Cancelled;
        }
        let path = |path: &FilePath| path.to_string_lossy().into_owned();
        wire::HandOver {
            id: self.id.clone(),
            cut: self.cut.clone(),
            folder: path(&self.target),
            state: stage.name().into(),
            files: self.files,
            looked_at: self.looked_at.load(Ordering::Relaxed),
            left_over: self.left_over.iter().map(|left| path(left)).collect(),
            problem: match &stage {
                Stage::Failed(why) => Some(why.clone()),
                _ => None,
            },
            made: match stage {
                Stage::Done(made) => Some(made),
                _ => None,
            },
        }
    }
}
