//! Files that are sent: `PUT /events/{event}/uploads/{file_name}`.

use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::add::{How, labelled, named};
use super::extract::{Json, Path, Query};
use super::incoming;
use super::problem::{Answer, Problem};
use super::wire::{FileBytes, Uploaded};
use crate::jobs::{Upload, safe_name};

/// The routes of uploads.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new().routes(routes!(upload))
}

/// The recorder the file comes from.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct UploadParams {
    /// The recorder's label.
    #[param(pattern = "\\S")]
    source: String,
    /// `worn`, `feed`, `stand`, `ambient` or `camera`.
    #[param(pattern = "^(worn|feed|stand|ambient|camera)$")]
    placement: Option<String>,
    /// Who wears it.
    #[param(pattern = "\\S")]
    person: Option<String>,
    /// `auto`, `mix`, `split`, or a channel's number from 1.
    #[param(pattern = "^(auto|mix|split|[1-8])$")]
    channels: Option<String>,
}

/// Takes in a file that is sent as the body. What does not arrive whole is not
/// kept.
#[utoipa::path(put, path = "/events/{event}/uploads/{file_name}", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title"),
        ("file_name" = String, Path, description = "the file's name, without folders"),
        UploadParams),
    request_body(content = FileBytes, content_type = "application/octet-stream"),
    responses(
    (status = 201, body = Uploaded),
    (status = 413, body = Problem, content_type = "application/problem+json"),
    (status = 507, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn upload(
    State(state): State<AppState>,
    Path((event, name)): Path<(String, String)>,
    Query(params): Query<UploadParams>,
    headers: HeaderMap,
    body: Body,
) -> Answer<(StatusCode, Json<Uploaded>)> {
    let event = state.store.find_event(&event).await?;
    let file_name = safe_name(&name)?.to_owned();
    let how = How::of(&params.placement, &params.channels)?;
    // Everything is looked at before the body, which may be 64 GiB.
    let source = labelled(&params.source)?;
    let person = params.person.as_deref().map(named).transpose()?;
    let partial = state.engine.incoming()?;
    let (length, body) = (announced(&headers), body.into_data_stream());
    let received = incoming::receive(partial, &name, length, state.limits, body).await?;
    let upload = Upload {
        event: event.id,
        source,
        placement: how.placement,
        person,
        channels: how.channels,
        file_name,
        received: received.path().to_path_buf(),
    };
    let intake = state.engine.add_upload(upload).await?.0;
    Ok((StatusCode::CREATED, Json(Uploaded { intake })))
}

/// How many bytes the sender says will come.
fn announced(headers: &HeaderMap) -> Option<u64> {
    headers
        .get(header::CONTENT_LENGTH)?
        .to_str()
        .ok()?
        .parse()
        .ok()
}
