//! The queue: pause, go on, give up, try again, listen again.

use axum::extract::State;
use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path, Query};
use super::problem::{Answer, Problem};
use super::wire::ListenAgain;
use crate::store::JobId;

/// The routes of the queue.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(pause))
        .routes(routes!(resume))
        .routes(routes!(cancel))
        .routes(routes!(retry))
        .routes(routes!(listen))
}

/// Starts no other step and lets running ones finish.
///
/// `transcribe` rests after the passage it is at, and goes on from there.
#[utoipa::path(post, path = "/queue/pause", tag = "work", responses(
    (status = 204, description = "the queue rests"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn pause(State(state): State<AppState>) -> Answer<StatusCode> {
    state.engine.pause().await?;
    Ok(StatusCode::NO_CONTENT)
}

/// Goes on after a pause.
#[utoipa::path(post, path = "/queue/resume", tag = "work", responses(
    (status = 204, description = "the queue works"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn resume(State(state): State<AppState>) -> Answer<StatusCode> {
    state.engine.resume().await?;
    Ok(StatusCode::NO_CONTENT)
}

/// Gives a step up.
#[utoipa::path(post, path = "/jobs/{job}/cancel", tag = "work",
    params(("job" = String, Path, description = "the job's id")),
    responses(
    (status = 204, description = "it is given up"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn cancel(State(state): State<AppState>, Path(job): Path<String>) -> Answer<StatusCode> {
    state.engine.cancel(named(&job)?).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// Tries a step again that was given up.
#[utoipa::path(post, path = "/jobs/{job}/retry", tag = "work",
    params(("job" = String, Path, description = "the job's id")),
    responses(
    (status = 204, description = "it waits for its turn"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn retry(State(state): State<AppState>, Path(job): Path<String>) -> Answer<StatusCode> {
    state.engine.retry(named(&job)?).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// What is listened to again.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct ListenParams {
    /// Also what this model heard already: after other names or languages.
    #[serde(default)]
    #[param(default = false)]
    anew: bool,
}

/// Has an event listened to again by the speech model in use, wherever another one
/// did; what people put right stays.
#[utoipa::path(post, path = "/events/{event}/listen", tag = "work",
    params(("event" = String, Path, description = "the event's id, or its title"), ListenParams),
    responses(
    (status = 202, description = "it is in the queue", body = ListenAgain),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn listen(
    State(state): State<AppState>,
    Path(event): Path<String>,
    Query(asked): Query<ListenParams>,
) -> Answer<(StatusCode, Json<ListenAgain>)> {
    let event = state.store.find_event(&event).await?.id;
    let recordings = state.engine.listen_again(&event, asked.anew).await?;
    Ok((StatusCode::ACCEPTED, Json(ListenAgain { recordings })))
}

fn named(job: &str) -> Answer<JobId> {
    job.parse().map_err(|_| Problem::missing("job", job))
}
