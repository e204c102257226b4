//! Searches under a name: `/searches`.

use axum::extract::State;
use axum::http::StatusCode;
use sayback_core::text::shown_name;
use serde::Deserialize;
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::super::AppState;
use super::super::extract::{Json, Path};
use super::super::problem::{Answer, Problem};
use super::super::shapes::{now_ms, rfc3339};
use super::super::wire::{SavedSearch, SavedSearches};
use super::ask::SearchParams;

/// The longest name and the longest search kept, in characters.
const LONGEST_NAME: usize = 200;
const LONGEST_SEARCH: usize = 8_000;
/// The most searches kept.
const MOST_SAVED: u32 = 1_000;

/// The routes of saved searches.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(list, save))
        .routes(routes!(forget))
}

/// A search to keep.
#[derive(Debug, Deserialize, ToSchema)]
struct NewSearch {
    /// What it is to be called.
    name: String,
    /// Its parameters as the address of a search has them: `q=kettle&person=Ines`.
    asked: String,
}

/// All saved searches, by name.
#[utoipa::path(get, path = "/searches", tag = "search", responses(
    (status = 200, body = SavedSearches),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn list(State(state): State<AppState>) -> Answer<Json<SavedSearches>> {
    let saved = state.store.saved_searches().await?;
    Ok(Json(SavedSearches {
        searches: saved.into_iter().map(shape).collect(),
    }))
}

/// Keeps a search under a name.
#[utoipa::path(post, path = "/searches", tag = "search", request_body = NewSearch, responses(
    (status = 201, body = SavedSearch),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn save(
    State(state): State<AppState>,
    Json(new): Json<NewSearch>,
) -> Answer<(StatusCode, Json<SavedSearch>)> {
    let name = shown_name(&new.name);
    if name.chars().count() > LONGEST_NAME {
        let detail = format!("name may have {LONGEST_NAME} characters");
        return Err(Problem::field("name", detail));
    }
    if new.asked.chars().count() > LONGEST_SEARCH {
        let detail = format!("asked may have {LONGEST_SEARCH} characters");
        return Err(Problem::field("asked", detail));
    }
    let uri = format!("/?{}", new.asked).parse::<axum::http::Uri>();
    let read = uri
        .ok()
        // What is behind a '#' is no part of it.
        .filter(|_| !new.asked.contains('#'))
        .and_then(|uri| axum::extract::Query::<SearchParams>::try_from_uri(&uri).ok());
    if read.is_none_or(|asked| asked.check().is_err()) {
        let detail = "asked must be the parameters of a search, as q=kettle&person=Ines";
        return Err(Problem::field("asked", detail));
    }
    let saved = state
        .store
        .save_search(&name, &new.asked, MOST_SAVED, now_ms())
        .await?;
    Ok((StatusCode::CREATED, Json(shape(saved))))
}

/// Forgets a saved search.
#[utoipa::path(delete, path = "/searches/{search}", tag = "search",
    params(("search" = String, Path, description = "its id, or its name")),
    responses(
    (status = 204, description = "forgotten"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn forget(State(state): State<AppState>, Path(search): Path<String>) -> Answer<StatusCode> {
    state.store.forget_search(&shown_name(&search)).await?;
    Ok(StatusCode::NO_CONTENT)
}

fn shape(saved: crate::store::SavedSearch) -> SavedSearch {
    SavedSearch {
        id: saved.id,
        name: saved.name,
        asked: saved.asked,
        created_at: rfc3339(saved.created_at_ms),
    }
}
