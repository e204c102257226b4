//! How far is the work? `GET /status`, and as it happens `GET /progress`.

use std::convert::Infallible;
use std::time::Duration;

use axum::extract::State;
use axum::response::Sse;
use axum::response::sse::{Event, KeepAlive};
use futures_util::{Stream, StreamExt, stream};
use serde::Deserialize;
use tokio::sync::broadcast::Receiver;
use tokio::sync::broadcast::error::RecvError;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Query};
use super::problem::{Answer, Problem};
use super::wire::Status;
use crate::jobs::{Change, What};
use crate::store::EventId;

/// Progress is told no more often than this.
const AT_MOST_EVERY: Duration = Duration::from_millis(250);

/// How often the store is looked at without news from the engine.
const LOOK_EVERY: Duration = Duration::from_secs(2);

/// A comment goes out after so much silence, so that a dead connection shows.
const KEEP_ALIVE: Duration = Duration::from_secs(15);

/// The routes of progress.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(status))
        .routes(routes!(progress))
}

/// Whose progress.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct StatusParams {
    /// An event's id or title; all events when it is left out.
    event: Option<String>,
}

/// How far the work is.
#[utoipa::path(get, path = "/status", tag = "work", params(StatusParams), responses(
    (status = 200, body = Status),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn status(
    State(state): State<AppState>,
    Query(params): Query<StatusParams>,
) -> Answer<Json<Status>> {
    let event = chosen(&state, params).await?;
    Ok(Json(now(&state, event.as_ref()).await?))
}

/// How far the work is, told whenever it changes: events named `progress` with
/// the same object as `/status`, and `change` when something else changed.
#[utoipa::path(get, path = "/progress", tag = "work", params(StatusParams), responses(
    (status = 200, description = "server-sent events", content_type = "text/event-stream"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn progress(
    State(state): State<AppState>,
    Query(params): Query<StatusParams>,
) -> Answer<Sse<impl Stream<Item = Result<Event, Infallible>>>> {
    let event = chosen(&state, params).await?;
    let stopping = state.stopping.clone().cancelled_owned();
    let news = state.engine.subscribe();
    let teller = Teller {
        state,
        event,
        news,
        told: None,
        changed: false,
    };
    let told = stream::unfold(teller, Teller::next)
        .take_until(stopping)
        .flat_map(stream::iter)
        .map(Ok);
    Ok(Sse::new(told).keep_alive(KeepAlive::new().interval(KEEP_ALIVE)))
}

async fn chosen(state: &AppState, params: StatusParams) -> Answer<Option<EventId>> {
    match params.event {
        Some(name) => Ok(Some(state.store.find_event(&name).await?.id)),
        None => Ok(None),
    }
}

/// What the stream of progress remembers between two events.
struct Teller {
    state: AppState,
    event: Option<EventId>,
    news: Receiver<Change>,
    /// What was told last.
    told: Option<Status>,
    /// More than figures changed since.
    changed: bool,
}

impl Teller {
    /// The next events, once there are some to tell.
    async fn next(mut self) -> Option<(Vec<Event>, Self)> {
        loop {
            if self.told.is_some() {
                self.wait().await;
            }
            match now(&self.state, self.event.as_ref()).await {
                Ok(status) => {
                    let events = self.events(&status);
                    self.told = Some(status);
                    self.changed = false;
                    if !events.is_empty() {
                        return Some((events, self));
                    }
                }
                Err(problem) => {
                    tracing::warn!(
                        cause = problem.cause,
                        detail = problem.detail,
                        "no progress to tell"
                    );
                    tokio::time::sleep(LOOK_EVERY).await;
                }
            }
        }
    }

    /// Until the engine has news, or it is time to look by ourselves: another
    /// process may be at work on the same folder.
    async fn wait(&mut self) {
        tokio::time::sleep(AT_MOST_EVERY).await;
        match tokio::time::timeout(LOOK_EVERY, self.news.recv()).await {
            Ok(Ok(change)) => self.note(&change),
            Ok(Err(RecvError::Lagged(_))) => self.changed = true,
            Ok(Err(RecvError::Closed)) => tokio::time::sleep(LOOK_EVERY).await,
            Err(_) => {}
        }
        while let Ok(change) = self.news.try_recv() {
            self.note(&change);
        }
    }

    fn note(&mut self, change: &Change) {
        let ours = self.event.is_none() || change.event.is_none() || change.event == self.event;
        self.changed |= ours && change.what != What::Progress;
    }

    /// What to tell when the work stands at `status`.
    fn events(&self, status: &Status) -> Vec<Event> {
        let mut events = Vec::new();
        if self.told.as_ref() != Some(status) {
            events.extend(Event::default().event("progress").json_data(status));
        }
        let steps = |s: &Status| (s.paused, s.jobs, s.problems.len());
        let other = self
            .told
            .as_ref()
            .is_some_and(|told| steps(told) != steps(status));
        if self.changed || other {
            events.push(Event::default().event("change").data("{}"));
        }
        events
    }
}

async fn now(state: &AppState, event: Option<&EventId>) -> Answer<Status> {
    Ok(state.engine.status(event).await?.into())
}
