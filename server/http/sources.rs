//! Sources, put right: `/sources/{source}`.

use axum::extract::State;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::add::labelled;
use super::extract::{Json, Path};
use super::problem::{Answer, Problem};
use super::wire::{Source, SourceChange};
use crate::jobs::What;
use crate::store::{Placement, SourceId};

/// The routes of sources.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new().routes(routes!(change))
}

/// Gives a source another label or placement. With another placement the best hearings
/// are chosen again, and who speaks is found again.
#[utoipa::path(patch, path = "/sources/{source}", tag = "events", request_body = SourceChange,
    params(("source" = String, Path, description = "the source's id")),
    responses(
    (status = 200, body = Source),
    (status = 409, description = "another source is called so: a label names one",
        body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn change(
    State(state): State<AppState>,
    Path(source): Path<SourceId>,
    Json(change): Json<SourceChange>,
) -> Answer<Json<Source>> {
    let label = change.label.as_deref().map(labelled).transpose()?;
    let placement = change.placement.as_deref().map(str::parse::<Placement>);
    let placement = placement
        .transpose()
        .map_err(|why| Problem::field("placement", why))?;
    let row = state
        .store
        .change_source(&source, label.as_deref(), placement)
        .await?;
    let event = row.event_id.clone();
    state.engine.changed(Some(event), What::Content);
    Ok(Json(row.into()))
}
