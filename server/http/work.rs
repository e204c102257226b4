//! The queue: pause, go on, give up, try again.

use axum::extract::State;
use axum::http::StatusCode;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::Path;
use super::problem::{Answer, Problem};
use crate::store::JobId;

/// The routes of the queue.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(pause))
        .routes(routes!(resume))
        .routes(routes!(cancel))
        .routes(routes!(retry))
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

fn named(job: &str) -> Answer<JobId> {
    job.parse().map_err(|_| Problem::missing("job", job))
}
