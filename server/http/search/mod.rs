//! Who said that? `GET /search`, and what goes with it.

pub(super) mod answer;
mod ask;
mod facets;
mod meaning;
mod rank;
pub(super) mod said;
mod saved;

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
use super::wire::{SearchAnswer, Suggestion, Suggestions};
use crate::store::MOST_PAGED;
use ask::{SearchParams, Sort};

/// The most suggestions in an answer.
const SUGGESTED: usize = 12;

/// The routes of search.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(search))
        .routes(routes!(suggest))
        .merge(saved::routes())
}

/// Finds words: each moment they were said in once, with every recording that heard
/// it. The very words come first, then what is close to them, then what sounds like them.
#[utoipa::path(get, path = "/search", tag = "search", params(SearchParams), responses(
    (status = 200, body = SearchAnswer),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn search(
    State(state): State<AppState>,
    Query(params): Query<SearchParams>,
) -> Answer<Json<SearchAnswer>> {
    let started = Instant::now();
    let store = &state.store;
    let filter = params.filter(store).await?;
    let query = params.query();
    let wanted = store.wanted(&query).await?;
    let until = match (params.sort, params.confidence) {
        (Sort::Relevance, None) => params.offset.saturating_add(params.limit),
        // Which come first by the clock, and how many are sure, is known when all are.
        _ => MOST_PAGED,
    };
    let matching = store.matching(&query, &wanted, &filter, until).await?;
    let more = matching.more;
    let all = rank::ranked(store, &wanted, matching, params.sort, params.confidence).await?;
    let facets = match params.facets {
        true => Some(facets::facets(store, &all).await?),
        false => None,
    };
    let by_meaning = match (params.meaning, &filter.events) {
        (true, Some(events)) if events.len() == 1 => {
            Some(meaning::found(&state, &params.q, &filter).await?)
        }
        (true, _) => {
            let detail = "meaning is looked for in one event: say which";
            return Err(Problem::field("meaning", detail));
        }
        (false, _) => None,
    };
    let total = all.len();
    let mut page: Vec<_> = all
        .into_iter()
        .skip(params.offset)
        .take(params.limit)
        .collect();
    rank::settle(store, &wanted, &mut page).await?;
    Ok(Json(SearchAnswer {
        query: params.q,
        total,
        more,
        hits: answer::hits(store, &page).await?,
        facets,
        by_meaning,
        took_ms: u64::try_from(started.elapsed().as_millis()).unwrap_or(u64::MAX),
    }))
}

/// What is typed.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct SuggestParams {
    /// The beginning of a word.
    begin: String,
    /// An event's id or title; all events when it is left out.
    event: Option<String>,
}

/// Words that were said and begin so, those of most moments first.
#[utoipa::path(get, path = "/search/words", tag = "search", params(SuggestParams), responses(
    (status = 200, body = Suggestions),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn suggest(
    State(state): State<AppState>,
    Query(params): Query<SuggestParams>,
) -> Answer<Json<Suggestions>> {
    let event = match &params.event {
        Some(event) => Some(state.store.find_event(event).await?.id),
        None => None,
    };
    let begin = text::normal(&params.begin);
    let words = match begin.is_empty() {
        true => Vec::new(),
        false => {
            let store = &state.store;
            store.suggestions(&begin, event.as_ref(), SUGGESTED).await?
        }
    };
    let words = words.into_iter().map(|term| Suggestion {
        word: term.text,
        moments: term.moments,
    });
    Ok(Json(Suggestions {
        words: words.collect(),
    }))
}
