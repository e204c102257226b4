//! Who said that? `GET /search`.

pub(super) mod answer;
pub(super) mod said;

use std::time::Instant;

use axum::extract::State;
use sayback_core::text;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Query};
use super::problem::{Answer, Problem};
use super::wire::SearchAnswer;

/// The best so many moments are looked at closely; a query that
/// more of them hold is too common to be read through anyway.
const CANDIDATES: u32 = 2_000;

/// The most hits in one answer.
const LIMIT_MAX: usize = 200;

/// The routes of search.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new().routes(routes!(search))
}

/// What to look for, and where.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct SearchParams {
    /// Words in any order; a "quoted phrase"; a trailing `*`. Anything else is
    /// literal text.
    q: String,
    /// An event's id or title; all events when it is left out.
    event: Option<String>,
    /// The most hits in the answer, 1 to 200.
    #[serde(default = "default_limit")]
    #[param(default = 20, minimum = 1, maximum = 200)]
    limit: usize,
    /// How many hits to pass over.
    #[serde(default)]
    #[param(default = 0, minimum = 0)]
    offset: usize,
}

fn default_limit() -> usize {
    20
}

/// Finds words: each moment they were said in once, with every recording that heard
/// it.
#[utoipa::path(get, path = "/search", tag = "search", params(SearchParams), responses(
    (status = 200, body = SearchAnswer),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn search(
    State(state): State<AppState>,
    Query(params): Query<SearchParams>,
) -> Answer<Json<SearchAnswer>> {
    let started = Instant::now();
    if params.limit == 0 || params.limit > LIMIT_MAX {
        return Err(Problem::field("limit", "limit must be from 1 to 200"));
    }
    let event = match &params.event {
        Some(name) => Some(state.store.find_event(name).await?),
        None => None,
    };
    let query = text::Query::parse(&params.q);
    let event = event.as_ref().map(|event| &event.id);
    let candidates = state.store.search(&query, event, CANDIDATES).await?;
    let said = said::moments(&query, candidates);
    let total = said.len();
    let page: Vec<_> = said
        .into_iter()
        .skip(params.offset)
        .take(params.limit)
        .collect();
    Ok(Json(SearchAnswer {
        query: params.q,
        total,
        hits: answer::hits(&state.store, &page).await?,
        took_ms: u64::try_from(started.elapsed().as_millis()).unwrap_or(u64::MAX),
    }))
}
