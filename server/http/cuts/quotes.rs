//! What is done to the quotes of a list: `/cuts/{cut}/quotes`.

use axum::extract::State;
use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::super::AppState;
use super::super::extract::{Json, Path, Query};
use super::super::problem::{Answer, Problem};
use super::super::wire::{
    CutChanged, CutOrder, CutRef, NewQuotes, Nudge, QuoteChange, QuoteNudge, QuotePlace,
};
use super::resolve::{self, Desk};
use super::{a_note, edited, listed, picked};
use crate::store::{self, CutEdit, CutEdited, QuoteId};

/// The routes of quotes.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(add))
        .routes(routes!(change, remove))
        .routes(routes!(place))
        .routes(routes!(nudge))
        .routes(routes!(order))
}

/// Puts quotes into a cut list.
#[utoipa::path(post, path = "/cuts/{cut}/quotes", tag = "cuts", request_body = NewQuotes,
    params(("cut" = String, Path, description = "the list's id, or its name")),
    responses(
    (status = 201, body = CutChanged),
    (status = 409, description = "somebody was quicker, and `version` stands", body = Problem,
        content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn add(
    State(state): State<AppState>,
    Path(cut): Path<String>,
    Json(asked): Json<NewQuotes>,
) -> Answer<(StatusCode, Json<CutChanged>)> {
    let row = state.store.find_cut(&cut).await?;
    let desk = Desk::of_cut(&state.store, &row).await?;
    let quotes = picked::all(&state.store, &desk, asked.quotes).await?;
    let place = asked.place.map(a_place);
    let edit = CutEdit::Add { place, quotes };
    let edited = edited(&state, row.id.as_str(), asked.version, &edit).await?;
    let told = changed(&state, edited).await?;
    Ok((StatusCode::CREATED, told))
}

/// Gives a quote other bounds, another hearing or note.
#[utoipa::path(patch, path = "/cuts/{cut}/quotes/{quote}", tag = "cuts",
    request_body = QuoteChange,
    params(("cut" = String, Path, description = "the list's id, or its name"),
        ("quote" = String, Path, description = "the quote's id")),
    responses(
    (status = 200, body = CutChanged),
    (status = 409, description = "somebody was quicker, and `version` stands", body = Problem,
        content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn change(
    State(state): State<AppState>,
    Path((cut, quote)): Path<(String, QuoteId)>,
    Json(asked): Json<QuoteChange>,
) -> Answer<Json<CutChanged>> {
    let row = state.store.find_cut(&cut).await?;
    let desk = Desk::of_cut(&state.store, &row).await?;
    let mut change = store::QuoteChange {
        begin: asked.begin.map(nudge_of),
        end: asked.end.map(nudge_of),
        hearing: match asked.hearing {
            None => None,
            Some(None) => Some(None),
            Some(Some(id)) => Some(Some(picked::hearing(&desk, &id)?)),
        },
        backups: asked.backups_wanted.map(picked::backups).transpose()?,
        note: asked.note.map(a_note).transpose()?,
    };
    if asked.start_ms.is_some() || asked.end_ms.is_some() {
        let (_, quotes) = state.store.whole_cut(&row.id).await?;
        let there = quotes.iter().find(|there| there.id == quote);
        let there = there.ok_or_else(|| Problem::missing("quote", quote.as_str()))?;
        let (begin, end) = desk.nudges_to(there, asked.start_ms, asked.end_ms)?;
        change.begin = begin.or(change.begin);
        change.end = end.or(change.end);
    }
    let edit = CutEdit::Change { quote, change };
    let edited = edited(&state, row.id.as_str(), asked.version, &edit).await?;
    changed(&state, edited).await
}

/// Has a quote begin or end later, or by less than nothing sooner, than it does.
#[utoipa::path(post, path = "/cuts/{cut}/quotes/{quote}/nudge", tag = "cuts",
    request_body = QuoteNudge,
    params(("cut" = String, Path, description = "the list's id, or its name"),
        ("quote" = String, Path, description = "the quote's id")),
    responses(
    (status = 200, body = CutChanged),
    (status = 409, description = "somebody was quicker, and `version` stands", body = Problem,
        content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn nudge(
    State(state): State<AppState>,
    Path((cut, quote)): Path<(String, QuoteId)>,
    Json(asked): Json<QuoteNudge>,
) -> Answer<Json<CutChanged>> {
    let edit = CutEdit::Nudge {
        quote,
        begin: nudge_of(asked.begin),
        end: nudge_of(asked.end),
    };
    let edited = edited(&state, &cut, asked.version, &edit).await?;
    changed(&state, edited).await
}

/// Puts a quote at another place.
#[utoipa::path(put, path = "/cuts/{cut}/quotes/{quote}/place", tag = "cuts",
    request_body = QuotePlace,
    params(("cut" = String, Path, description = "the list's id, or its name"),
        ("quote" = String, Path, description = "the quote's id")),
    responses(
    (status = 200, body = CutChanged),
    (status = 409, description = "somebody was quicker, and `version` stands", body = Problem,
        content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn place(
    State(state): State<AppState>,
    Path((cut, quote)): Path<(String, QuoteId)>,
    Json(asked): Json<QuotePlace>,
) -> Answer<Json<CutChanged>> {
    let place = a_place(asked.place);
    let edit = CutEdit::Move { quote, place };
    let edited = edited(&state, &cut, asked.version, &edit).await?;
    changed(&state, edited).await
}

/// Puts all quotes of a list in another order.
#[utoipa::path(put, path = "/cuts/{cut}/order", tag = "cuts", request_body = CutOrder,
    params(("cut" = String, Path, description = "the list's id, or its name")),
    responses(
    (status = 200, body = CutRef),
    (status = 409, description = "somebody was quicker, and `version` stands", body = Problem,
        content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn order(
    State(state): State<AppState>,
    Path(cut): Path<String>,
    Json(asked): Json<CutOrder>,
) -> Answer<Json<CutRef>> {
    let order = asked.quotes.into_iter().map(Into::into).collect();
    let edited = edited(&state, &cut, asked.version, &CutEdit::Order(order)).await?;
    Ok(Json(listed(edited.cut)))
}

/// Of which version a removal is one.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct RemoveParams {
    /// The version of the list that was looked at.
    version: i64,
}

/// Takes a quote out of a list.
#[utoipa::path(delete, path = "/cuts/{cut}/quotes/{quote}", tag = "cuts",
    params(("cut" = String, Path, description = "the list's id, or its name"),
        ("quote" = String, Path, description = "the quote's id"), RemoveParams),
    responses(
    (status = 200, body = CutRef),
    (status = 409, description = "somebody was quicker, and `version` stands", body = Problem,
        content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn remove(
    State(state): State<AppState>,
    Path((cut, quote)): Path<(String, QuoteId)>,
    Query(params): Query<RemoveParams>,
) -> Answer<Json<CutRef>> {
    let edited = edited(&state, &cut, params.version, &CutEdit::Drop(quote)).await?;
    Ok(Json(listed(edited.cut)))
}

/// A place; what can't be one is beyond all.
fn a_place(place: i64) -> usize {
    usize::try_from(place).unwrap_or(usize::MAX)
}

fn nudge_of(nudge: Nudge) -> store::Nudge {
    store::Nudge {
        ms: nudge.ms,
        frames: nudge.frames,
    }
}

/// The quotes that a change was about, as they lie now.
async fn changed(state: &AppState, edited: CutEdited) -> Answer<Json<CutChanged>> {
    let desk = Desk::of_cut(&state.store, &edited.cut).await?;
    let about: std::collections::HashSet<&QuoteId> = edited.about.iter().collect();
    let places = edited.quotes.iter().enumerate();
    let which: Vec<usize> = places
        .filter(|(_, quote)| about.contains(&quote.id))
        .map(|(n, _)| n)
        .collect();
    let told = resolve::told(&state.store, &desk, &edited.quotes, &which).await?;
    Ok(Json(CutChanged {
        cut: listed(edited.cut),
        length_ms: told.length_ms,
        quotes: told.quotes,
    }))
}
