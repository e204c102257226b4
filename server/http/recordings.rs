//! Recordings: `/recordings`.

use axum::extract::State;
use axum::http::StatusCode;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path};
use super::problem::{Answer, Problem};
use super::wire::Recording;
use crate::store::RecordingId;

/// The routes of recordings.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(show))
        .routes(routes!(first))
}

/// One recording.
#[utoipa::path(get, path = "/recordings/{recording}", tag = "recordings",
    params(("recording" = String, Path, description = "the recording's id")),
    responses(
    (status = 200, body = Recording),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn show(
    State(state): State<AppState>,
    Path(recording): Path<RecordingId>,
) -> Answer<Json<Recording>> {
    Ok(Json(state.store.recording(&recording).await?.into()))
}

/// Works on this recording before all others.
#[utoipa::path(post, path = "/recordings/{recording}/first", tag = "work",
    params(("recording" = String, Path, description = "the recording's id")),
    responses(
    (status = 204, description = "it goes first"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn first(
    State(state): State<AppState>,
    Path(recording): Path<RecordingId>,
) -> Answer<StatusCode> {
    state.engine.look_at(&recording).await?;
    Ok(StatusCode::NO_CONTENT)
}
