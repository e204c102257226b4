//! Events: `/events`.

use axum::extract::State;
use axum::http::StatusCode;
use sayback_core::timecode::FrameRate;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path};
use super::problem::{Answer, Problem};
use super::wire::{Event, EventChange, EventDetail, EventList, IndexState, NewEvent};
use crate::jobs::What;
use crate::store::{self, EventId};

/// The routes of events.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(list, create))
        .routes(routes!(show, change, remove))
        .routes(routes!(check_index, rebuild_index))
}

/// All events, the newest first.
#[utoipa::path(get, path = "/events", tag = "events", responses(
    (status = 200, body = EventList),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn list(State(state): State<AppState>) -> Answer<Json<EventList>> {
    let rows = state.store.events().await?;
    let events = rows.into_iter().rev().map(Into::into).collect();
    Ok(Json(EventList { events }))
}

/// Makes an event.
#[utoipa::path(post, path = "/events", tag = "events", request_body = NewEvent, responses(
    (status = 201, body = Event),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn create(
    State(state): State<AppState>,
    Json(new): Json<NewEvent>,
) -> Answer<(StatusCode, Json<Event>)> {
    let new = store::NewEvent {
        title: new.title,
        date: new.date,
        frame_rate: rate_of(new.frame_rate.as_deref())?,
    };
    let now_ms = super::shapes::now_ms();
    let row = state.store.create_event(new, now_ms).await?;
    state.engine.changed(Some(row.id.clone()), What::Content);
    Ok((StatusCode::CREATED, Json(row.into())))
}

/// An event with its sources, recordings, and what was not opened.
#[utoipa::path(get, path = "/events/{event}", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 200, body = EventDetail),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn show(
    State(state): State<AppState>,
    Path(event): Path<String>,
) -> Answer<Json<EventDetail>> {
    let event = state.store.find_event(&event).await?;
    let sources = state.store.sources(&event.id).await?;
    let recordings = state.store.recordings(&event.id).await?;
    let intakes = state.store.intakes(&event.id).await?;
    Ok(Json(EventDetail {
        event: event.into(),
        sources: sources.into_iter().map(Into::into).collect(),
        recordings: recordings.into_iter().map(Into::into).collect(),
        intakes: intakes.into_iter().map(Into::into).collect(),
    }))
}

/// Gives an event another title, day or frame rate; what is left out stays. Quotes that
/// are nudged by frames go by the new rate.
#[utoipa::path(patch, path = "/events/{event}", tag = "events", request_body = EventChange,
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 200, body = Event),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn change(
    State(state): State<AppState>,
    Path(event): Path<String>,
    Json(asked): Json<EventChange>,
) -> Answer<Json<Event>> {
    if asked.title.is_none() && asked.date.is_none() && asked.frame_rate.is_none() {
        let why = "say what changes: title, date or frame_rate";
        return Err(Problem::field("title", why));
    }
    let event = state.store.find_event(&event).await?;
    let change = store::EventChange {
        title: asked.title,
        date: asked.date,
        frame_rate: rate_of(asked.frame_rate.as_deref())?,
    };
    let row = state.store.change_event(&event.id, change).await?;
    state.engine.changed(Some(event.id), What::Content);
    Ok(Json(row.into()))
}

/// The rate that was typed, if one was.
pub(super) fn rate_of(typed: Option<&str>) -> Answer<Option<FrameRate>> {
    let read = typed.map(str::parse).transpose();
    read.map_err(|why| Problem::field("frame_rate", format!("frame_rate: {why}")))
}

/// Removes an event with all that is known of it: recordings, words, people, changes, and
/// uploaded files that no other event uses. Files that were added where they lie stay.
#[utoipa::path(delete, path = "/events/{event}", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 204, description = "removed"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn remove(State(state): State<AppState>, Path(event): Path<String>) -> Answer<StatusCode> {
    let event = state.store.find_event(&event).await?;
    state.engine.remove_event(&event.id).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// Compares the search index of an event with its words.
#[utoipa::path(get, path = "/events/{event}/index", tag = "search",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 200, body = IndexState),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn check_index(
    State(state): State<AppState>,
    Path(event): Path<String>,
) -> Answer<Json<IndexState>> {
    let event = state.store.find_event(&event).await?;
    index_state(&state, &event.id).await
}

/// Makes the search index of an event again from its words, and compares them.
#[utoipa::path(post, path = "/events/{event}/index", tag = "search",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 200, body = IndexState),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn rebuild_index(
    State(state): State<AppState>,
    Path(event): Path<String>,
) -> Answer<Json<IndexState>> {
    let event = state.store.find_event(&event).await?;
    state.store.rebuild_index(&event.id).await?;
    index_state(&state, &event.id).await
}

async fn index_state(state: &AppState, event: &EventId) -> Answer<Json<IndexState>> {
    let check = state.store.check_index(event).await?;
    Ok(Json(IndexState {
        moments: check.moments,
        wrong: check.wrong.into_iter().map(|id| id.0).collect(),
    }))
}
