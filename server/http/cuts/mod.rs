//! Cut lists: `/events/{event}/cuts`, `/cuts/{cut}` and the quotes of it.
//!
//! A list is shown as everything lies now: its quotes keep where they lie in files, and
//! [`resolve`] works out from that where they are on the clock, which words stand there
//! and who heard them.

mod hand_over;
mod picked;
mod quotes;
mod resolve;
mod sound;
mod spoken;
#[cfg(test)]
mod tests;
mod versions;

use axum::extract::State;
use axum::http::StatusCode;
use sayback_core::text::shown_name;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path, Query};
use super::problem::{Answer, Problem};
use super::shapes::{now_ms, rfc3339};
use super::wire::{Cut, CutChange, CutLists, CutRef, EventRef, NewCut, Quote};
use crate::jobs::What;
use crate::store::{CutEdit, CutEdited, CutRow, EventRow, MOST_QUOTES};
pub use hand_over::HandOvers;
use resolve::Desk;

/// The most cut lists of an event.
const MAX_CUTS: u32 = 200;
/// The most characters of a name, and of a note.
const MAX_NAME: usize = 200;
const MAX_NOTE: usize = 10_000;

/// The routes of cut lists.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(list, make))
        .routes(routes!(show, change, remove))
        .merge(quotes::routes())
        .merge(versions::routes())
        .merge(hand_over::routes())
}

/// The cut lists of an event, without their quotes.
#[utoipa::path(get, path = "/events/{event}/cuts", tag = "cuts",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 200, body = CutLists),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn list(State(state): State<AppState>, Path(event): Path<String>) -> Answer<Json<CutLists>> {
    let event = state.store.find_event(&event).await?;
    let rows = state.store.cuts(&event.id).await?;
    Ok(Json(CutLists {
        cuts: rows.into_iter().map(listed).collect(),
        event: reference(event),
    }))
}

/// Makes an empty cut list.
#[utoipa::path(post, path = "/events/{event}/cuts", tag = "cuts", request_body = NewCut,
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 201, body = CutRef),
    (status = 409, description = "there is one of that name", body = Problem,
        content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn make(
    State(state): State<AppState>,
    Path(event): Path<String>,
    Json(new): Json<NewCut>,
) -> Answer<(StatusCode, Json<CutRef>)> {
    let event = state.store.find_event(&event).await?;
    let (name, note) = (a_name(&new.name)?, a_note(new.note)?);
    let row = state
        .store
        .add_cut(&event.id, &name, &note, MAX_CUTS, now_ms())
        .await?;
    state.engine.changed(Some(event.id), What::Content);
    Ok((StatusCode::CREATED, Json(listed(row))))
}

/// What is told of a list: everything, or less of a long one.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ShowParams {
    /// Whether the words of quotes are told one by one.
    #[serde(default = "yes")]
    #[param(default = true)]
    words: bool,
    /// Whether the hearings that are not used are told of.
    #[serde(default = "yes")]
    #[param(default = true)]
    backups: bool,
    /// The place of the first quote that is told, from 1.
    #[serde(default)]
    #[param(minimum = 1)]
    from: Option<usize>,
    /// So many quotes at most.
    #[serde(default)]
    #[param(minimum = 1, maximum = 2000)]
    limit: Option<usize>,
}

fn yes() -> bool {
    true
}

impl ShowParams {
    /// Which of so many quotes.
    fn which(&self, quotes: usize) -> Answer<Vec<usize>> {
        let from = self.from.unwrap_or(1).checked_sub(1);
        let from = from.ok_or_else(|| Problem::field("from", "places count from 1"))?;
        let limit = self.limit.unwrap_or(MOST_QUOTES);
        if limit == 0 || limit > MOST_QUOTES {
            let why = format!("limit is 1 to {MOST_QUOTES}");
            return Err(Problem::field("limit", why));
        }
        Ok((from..quotes).take(limit).collect())
    }

    /// Leaves out what was not asked for.
    fn lean(&self, quotes: &mut [Quote]) {
        for quote in quotes {
            if !self.words {
                quote.words.clear();
            }
            if !self.backups {
                quote.backups.clear();
            }
        }
    }
}

/// A cut list with its quotes as they lie now: where on the clock, which words stand
/// there, the hearing to be used and the backups at the same instant.
#[utoipa::path(get, path = "/cuts/{cut}", tag = "cuts",
    params(("cut" = String, Path, description = "the list's id, or its name"), ShowParams),
    responses(
    (status = 200, body = Cut),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn show(
    State(state): State<AppState>,
    Path(cut): Path<String>,
    Query(asked): Query<ShowParams>,
) -> Answer<Json<Cut>> {
    let row = state.store.find_cut(&cut).await?;
    let (row, quotes) = state.store.whole_cut(&row.id).await?;
    let event = state.store.event(&row.event_id).await?;
    let desk = Desk::of_cut(&state.store, &row).await?;
    let which = asked.which(quotes.len())?;
    let mut told = resolve::told(&state.store, &desk, &quotes, &which).await?;
    asked.lean(&mut told.quotes);
    Ok(Json(Cut {
        frame_rate: row.frame_rate.clone(),
        length_ms: told.length_ms,
        quotes: told.quotes,
        cut: listed(row),
        event: reference(event),
    }))
}

/// Gives a cut list another name or note.
#[utoipa::path(patch, path = "/cuts/{cut}", tag = "cuts", request_body = CutChange,
    params(("cut" = String, Path, description = "the list's id, or its name")),
    responses(
    (status = 200, body = CutRef),
    (status = 409, description = "somebody was quicker, and `version` stands; or there is one of \
        that name", body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn change(
    State(state): State<AppState>,
    Path(cut): Path<String>,
    Json(asked): Json<CutChange>,
) -> Answer<Json<CutRef>> {
    let edit = CutEdit::Name {
        name: asked.name.map(|name| a_name(&name)).transpose()?,
        note: asked.note.map(a_note).transpose()?,
    };
    let edited = edited(&state, &cut, asked.version, &edit).await?;
    Ok(Json(listed(edited.cut)))
}

/// Takes a cut list away with all its versions.
#[utoipa::path(delete, path = "/cuts/{cut}", tag = "cuts",
    params(("cut" = String, Path, description = "the list's id, or its name")),
    responses(
    (status = 204),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn remove(State(state): State<AppState>, Path(cut): Path<String>) -> Answer<StatusCode> {
    let row = state.store.find_cut(&cut).await?;
    let event = state.store.delete_cut(&row.id).await?;
    state.engine.changed(Some(event), What::Content);
    Ok(StatusCode::NO_CONTENT)
}

/// Does something to a list, and lets everybody know.
async fn edited(state: &AppState, cut: &str, version: i64, edit: &CutEdit) -> Answer<CutEdited> {
    let row = state.store.find_cut(cut).await?;
    let edited = state
        .store
        .edit_cut(&row.id, version, edit, now_ms())
        .await?;
    state.engine.changed(Some(row.event_id), What::Content);
    Ok(edited)
}

/// A name as it is kept.
fn a_name(name: &str) -> Answer<String> {
    let name = shown_name(name);
    if name.is_empty() {
        return Err(Problem::field("name", "a name needs a character to see"));
    }
    if name.chars().count() > MAX_NAME {
        let why = format!("a name has at most {MAX_NAME} characters");
        return Err(Problem::field("name", why));
    }
    Ok(name)
}

/// A note as it is kept: as it was typed.
fn a_note(note: String) -> Answer<String> {
    if note.chars().count() > MAX_NOTE {
        let why = format!("a note has at most {MAX_NOTE} characters");
        return Err(Problem::field("note", why));
    }
    if note.contains(|c: char| c.is_control() && !c.is_whitespace()) {
        return Err(Problem::field("note", "the note holds control characters"));
    }
    Ok(note)
}

fn reference(event: EventRow) -> EventRef {
    EventRef {
        id: event.id.0,
        title: event.title,
    }
}

fn listed(row: CutRow) -> CutRef {
    CutRef {
        id: row.id.0,
        name: row.name,
        note: row.note,
        version: row.version,
        quotes: row.quotes,
        created_at: rfc3339(row.created_at_ms),
        changed_at: rfc3339(row.changed_at_ms),
    }
}

#[cfg(test)]
mod kept {
    use super::*;

    #[test]
    fn names_and_notes_are_kept_as_people_see_them() {
        for (typed, kept) in [
            (" Kurzer\r\nFilm ", "Kurzer Film"),
            ("Ελλάδα \u{202e}τραγούδι", "Ελλάδα τραγούδι"),
            ("a\0b", "a b"),
        ] {
            assert_eq!(a_name(typed).unwrap(), kept);
        }
        for bad in ["", "\0", " \n", &"x".repeat(201), &"x".repeat(1 << 20)] {
            assert!(a_name(bad).is_err(), "{} bytes", bad.len());
        }
        assert_eq!(a_note("one\n\ttwo".into()).unwrap(), "one\n\ttwo");
        for bad in ["a\0b".to_owned(), "x".repeat(10_001), "x".repeat(1 << 20)] {
            assert!(a_note(bad).is_err());
        }
    }
}
