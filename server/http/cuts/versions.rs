//! Cut lists as they were: `/cuts/{cut}/versions`, and the way back.

use axum::extract::State;
use axum::http::StatusCode;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::super::AppState;
use super::super::extract::{Json, Path};
use super::super::problem::{Answer, Problem};
use super::super::shapes::{now_ms, rfc3339};
use super::super::wire::{CutRef, CutRestore, CutVersion, CutVersions, NewCutVersion};
use super::{a_name, edited, listed};
use crate::store::{self, CutEdit};

/// The routes of versions.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(versions, keep))
        .routes(routes!(forget))
        .routes(routes!(restore))
}

/// The versions of a cut list that are kept: the last hundred, fewer of long lists, and
/// all that have a name.
#[utoipa::path(get, path = "/cuts/{cut}/versions", tag = "cuts",
    params(("cut" = String, Path, description = "the list's id, or its name")),
    responses(
    (status = 200, body = CutVersions),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn versions(
    State(state): State<AppState>,
    Path(cut): Path<String>,
) -> Answer<Json<CutVersions>> {
    let row = state.store.find_cut(&cut).await?;
    let kept = state.store.cut_versions(&row.id).await?;
    Ok(Json(CutVersions {
        versions: kept.into_iter().map(told).collect(),
        cut: listed(row),
    }))
}

/// Gives the version of a cut list that stands a name, by which it is kept for good.
#[utoipa::path(post, path = "/cuts/{cut}/versions", tag = "cuts", request_body = NewCutVersion,
    params(("cut" = String, Path, description = "the list's id, or its name")),
    responses(
    (status = 201, body = CutVersion),
    (status = 409, description = "somebody was quicker, and `version` stands", body = Problem,
        content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn keep(
    State(state): State<AppState>,
    Path(cut): Path<String>,
    Json(asked): Json<NewCutVersion>,
) -> Answer<(StatusCode, Json<CutVersion>)> {
    let name = a_name(&asked.name)?;
    let row = state.store.find_cut(&cut).await?;
    let kept = state
        .store
        .name_cut_version(&row.id, asked.version, &name, now_ms())
        .await?;
    Ok((StatusCode::CREATED, Json(told(kept))))
}

/// Forgets a version that was kept.
#[utoipa::path(delete, path = "/cuts/{cut}/versions/{version}", tag = "cuts",
    params(("cut" = String, Path, description = "the list's id, or its name"),
        ("version" = i64, Path, description = "the version's number")),
    responses(
    (status = 204),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn forget(
    State(state): State<AppState>,
    Path((cut, version)): Path<(String, i64)>,
) -> Answer<StatusCode> {
    let row = state.store.find_cut(&cut).await?;
    state.store.forget_cut_version(&row.id, version).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// Goes back to a version that was kept, which is a new version; without saying which, to
/// the last one before this: doing so twice is as before.
#[utoipa::path(post, path = "/cuts/{cut}/restore", tag = "cuts", request_body = CutRestore,
    params(("cut" = String, Path, description = "the list's id, or its name")),
    responses(
    (status = 200, body = CutRef),
    (status = 409, description = "somebody was quicker, and `version` stands; or another list has \
        the name it had", body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn restore(
    State(state): State<AppState>,
    Path(cut): Path<String>,
    Json(asked): Json<CutRestore>,
) -> Answer<Json<CutRef>> {
    let edit = CutEdit::Restore(asked.to);
    let edited = edited(&state, &cut, asked.version, &edit).await?;
    Ok(Json(listed(edited.cut)))
}

fn told(kept: store::CutVersion) -> CutVersion {
    CutVersion {
        version: kept.version,
        name: kept.name,
        before: kept.before.to_string(),
        at: rfc3339(kept.at_ms),
        quotes: kept.quotes,
    }
}
