//! Where do the recordings of an event lie? `/events/{event}/clock`, and what a
//! person says about it.

mod answer;
mod fix;
pub mod picture;
mod told;

use axum::extract::State;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path};
use super::problem::{Answer, Problem};
use super::wire::{Clock, ClockFix, Solve};
use crate::jobs::What;
use crate::store::RecordingId;
use answer::Gathered;

/// What a picture that is opened by itself may use: its own colours.
const PICTURE_POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'";

/// The routes of the clock.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(show))
        .routes(routes!(svg))
        .routes(routes!(solve))
        .routes(routes!(place, release))
}

/// Where every recording of an event lies, how that was found and how sure it is.
#[utoipa::path(get, path = "/events/{event}/clock", tag = "clock",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 200, body = Clock),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn show(State(state): State<AppState>, Path(event): Path<String>) -> Answer<Json<Clock>> {
    let event = state.store.find_event(&event).await?;
    let gathered = Gathered::of(&state.store, event).await?;
    Ok(Json(
        gathered.clock(state.store.pairs(&gathered.event.id).await?),
    ))
}

/// The clock of an event as a picture.
#[utoipa::path(get, path = "/events/{event}/clock.svg", tag = "clock",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 200, description = "every recording as a bar on the event clock", body = String,
        content_type = "image/svg+xml"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn svg(State(state): State<AppState>, Path(event): Path<String>) -> Answer<Response> {
    let event = state.store.find_event(&event).await?;
    let gathered = Gathered::of(&state.store, event).await?;
    let segments = state.store.segments_of_event(&gathered.event.id).await?;
    // A million stretches of speech take a while.
    let drawn = tokio::task::spawn_blocking(move || picture::draw(&gathered.picture(&segments)));
    let svg = drawn.await.map_err(Problem::internal)?;
    let headers = [
        (header::CONTENT_TYPE, "image/svg+xml"),
        (header::CONTENT_SECURITY_POLICY, PICTURE_POLICY),
    ]
    .map(|(name, value)| (name, HeaderValue::from_static(value)));
    Ok((headers, svg).into_response())
}

/// Has the clock of an event solved again.
#[utoipa::path(post, path = "/events/{event}/clock/solve", tag = "clock", request_body = Solve,
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 202, description = "it is in the queue"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn solve(
    State(state): State<AppState>,
    Path(event): Path<String>,
    Json(asked): Json<Solve>,
) -> Answer<StatusCode> {
    let event = state.store.find_event(&event).await?.id;
    state.store.ask_solve(&event, asked.anew).await?;
    state.engine.changed(Some(event), What::Queue);
    Ok(StatusCode::ACCEPTED)
}

/// Says where a recording lies; the event is solved again, and the solve keeps to
/// it.
#[utoipa::path(put, path = "/recordings/{recording}/clock", tag = "clock", request_body = ClockFix,
    params(("recording" = String, Path, description = "the recording's id")),
    responses(
    (status = 202, description = "it is kept, and the event is in the queue"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn place(
    State(state): State<AppState>,
    Path(recording): Path<RecordingId>,
    Json(said): Json<ClockFix>,
) -> Answer<StatusCode> {
    let row = state.store.recording(&recording).await?;
    let others = state.store.recordings(&row.event_id).await?;
    let fix = fix::checked(&said, &row, &others)?;
    state.store.set_fix(&recording, &fix).await?;
    state.engine.changed(Some(row.event_id), What::Queue);
    Ok(StatusCode::ACCEPTED)
}

/// Takes back what was said about the place of a recording; the event is solved
/// again.
#[utoipa::path(delete, path = "/recordings/{recording}/clock", tag = "clock",
    params(("recording" = String, Path, description = "the recording's id")),
    responses(
    (status = 202, description = "it is forgotten, and the event is in the queue"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn release(
    State(state): State<AppState>,
    Path(recording): Path<RecordingId>,
) -> Answer<StatusCode> {
    let row = state.store.recording(&recording).await?;
    if !state.store.clear_fix(&recording).await? {
        return Err(Problem::of(
            StatusCode::NOT_FOUND,
            "no-such-fix",
            "Nothing to release",
            format!(
                "'{}' is not fixed by hand, so there is nothing to release",
                row.name
            ),
        ));
    }
    state.engine.changed(Some(row.event_id), What::Queue);
    Ok(StatusCode::ACCEPTED)
}
