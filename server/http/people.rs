//! Who speaks? `/events/{event}/people`, `/people/{person}`, and what is kept of voices.

use std::collections::HashMap;

use axum::extract::State;
use axum::http::StatusCode;
use sayback_core::text::{MAX_NAME_CHARS, shown_name};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path};
use super::problem::{Answer, Problem};
use super::shapes::now_ms;
use super::wire::{
    EventRef, Merge, MomentSpeaker, NewPerson, Perhaps, Person, PersonChange, PersonDetail,
    PersonList, Speaker, ToldSpeaker, VoiceRules, Wearer, Wearers, Worn,
};
use crate::jobs::What;
use crate::store::{
    EventId, EventRow, MomentId, MomentRow, PersonId, PersonRow, SourceId, Store, StoreError,
};

/// Most wearers of one source.
const MAX_WEARERS: usize = 200;

/// The routes of people.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(people, add))
        .routes(routes!(change, remove))
        .routes(routes!(merge))
        .routes(routes!(wearers, set_wearers))
        .routes(routes!(tell))
        .routes(routes!(find, forget))
        .routes(routes!(rules, set_rules))
}

/// The people of an event, with how much they say and what they wear.
#[utoipa::path(get, path = "/events/{event}/people", tag = "people",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 200, body = PersonList),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn people(
    State(state): State<AppState>,
    Path(event): Path<String>,
) -> Answer<Json<PersonList>> {
    let event = state.store.find_event(&event).await?;
    Ok(Json(list(&state, event).await?))
}

/// Adds a person to an event.
#[utoipa::path(post, path = "/events/{event}/people", tag = "people", request_body = NewPerson,
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 201, body = PersonDetail),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn add(
    State(state): State<AppState>,
    Path(event): Path<String>,
    Json(new): Json<NewPerson>,
) -> Answer<(StatusCode, Json<PersonDetail>)> {
    let event = state.store.find_event(&event).await?;
    let name = a_name("name", &new.name)?;
    let role = new.role.map(|role| a_role(&role)).transpose()?;
    let role = role.filter(|role| !role.is_empty());
    let row = state
        .store
        .add_person(&event.id, &name, role.as_deref())
        .await?;
    state.engine.changed(Some(event.id), What::Content);
    Ok((StatusCode::CREATED, Json(detail(row, Vec::new()))))
}

/// Gives a person another name or role. A name makes an unnamed speaker a person,
/// wherever they speak.
#[utoipa::path(patch, path = "/people/{person}", tag = "people", request_body = PersonChange,
    params(("person" = String, Path, description = "the person's id")),
    responses(
    (status = 200, body = PersonDetail),
    (status = 409, description = "somebody is called so already: merge the two",
        body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn change(
    State(state): State<AppState>,
    Path(person): Path<PersonId>,
    Json(change): Json<PersonChange>,
) -> Answer<Json<PersonDetail>> {
    let name = change.name.map(|name| a_name("name", &name)).transpose()?;
    let role = change.role.map(|role| a_role(&role)).transpose()?;
    let row = state
        .store
        .change_person(&person, name.as_deref(), role.as_deref())
        .await?;
    state
        .engine
        .changed(Some(row.event_id.clone()), What::Content);
    one(&state.store, row).await.map(Json)
}

/// Takes a person away. What they said is nobody's until who speaks is found again,
/// and what is kept of their voice is gone.
#[utoipa::path(delete, path = "/people/{person}", tag = "people",
    params(("person" = String, Path, description = "the person's id")),
    responses(
    (status = 204),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn remove(State(state): State<AppState>, Path(person): Path<PersonId>) -> Answer<StatusCode> {
    let event = state.store.delete_person(&person).await?;
    state.engine.changed(Some(event), What::Content);
    Ok(StatusCode::NO_CONTENT)
}

/// Makes two people one: everything this one said and wore is the other's.
#[utoipa::path(post, path = "/people/{person}/merge", tag = "people", request_body = Merge,
    params(("person" = String, Path, description = "the id of the one who is no more afterwards")),
    responses(
    (status = 200, description = "the one who stays", body = PersonDetail),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn merge(
    State(state): State<AppState>,
    Path(person): Path<PersonId>,
    Json(asked): Json<Merge>,
) -> Answer<Json<PersonDetail>> {
    let by = a_name("by", &asked.by)?;
    let into = PersonId::from(asked.into);
    state
        .store
        .merge_people(&person, &into, &by, now_ms())
        .await?;
    let row = state.store.person(&into).await?;
    state
        .engine
        .changed(Some(row.event_id.clone()), What::Content);
    one(&state.store, row).await.map(Json)
}

/// Who wears a source, and from when on.
#[utoipa::path(get, path = "/sources/{source}/wearers", tag = "people",
    params(("source" = String, Path, description = "the source's id")),
    responses(
    (status = 200, body = Wearers),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn wearers(
    State(state): State<AppState>,
    Path(source): Path<SourceId>,
) -> Answer<Json<Wearers>> {
    Ok(Json(worn(&state.store, &source).await?))
}

/// Says who wears a source: from the start, and who has it from which instant on where
/// people swap. Who speaks is found again.
#[utoipa::path(put, path = "/sources/{source}/wearers", tag = "people", request_body = Wearers,
    params(("source" = String, Path, description = "the source's id")),
    responses(
    (status = 200, body = Wearers),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn set_wearers(
    State(state): State<AppState>,
    Path(source): Path<SourceId>,
    Json(asked): Json<Wearers>,
) -> Answer<Json<Wearers>> {
    let refused = |why: String| Problem::field("wearers", why);
    if asked.wearers.len() > MAX_WEARERS {
        return Err(refused(format!(
            "a source has at most {MAX_WEARERS} wearers"
        )));
    }
    let row = state.store.source(&source).await?;
    let people = state.store.people(&row.event_id).await?;
    let mut first = None;
    let mut later = Vec::new();
    for wearer in asked.wearers {
        let person = PersonId::from(wearer.person);
        if !people.iter().any(|one| one.id == person) {
            return Err(refused(format!(
                "there is no person '{person}' in the event of that source"
            )));
        }
        match wearer.from_ms {
            None if first.is_some() => {
                return Err(refused(
                    "two wear it from the start; say from_ms of one".into(),
                ));
            }
            None => first = Some(person),
            Some(from_ms) => later.push((from_ms, person)),
        }
    }
    // Whoever is the first has it from the start.
    if first.is_none() && !later.is_empty() {
        later.sort();
        first = Some(later.remove(0).1);
    }
    state
        .store
        .set_wearers(&source, first.as_ref(), &later)
        .await?;
    state.engine.changed(Some(row.event_id), What::Content);
    Ok(Json(worn(&state.store, &source).await?))
}

/// Says who speaks in a moment. It is certain from then on, and the rest of the event
/// learns from it.
#[utoipa::path(put, path = "/moments/{moment}/person", tag = "people", request_body = ToldSpeaker,
    params(("moment" = String, Path, description = "the moment's id")),
    responses(
    (status = 200, body = MomentSpeaker),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn tell(
    State(state): State<AppState>,
    Path(moment): Path<MomentId>,
    Json(asked): Json<ToldSpeaker>,
) -> Answer<Json<MomentSpeaker>> {
    let by = a_name("by", &asked.by)?;
    let row = the_moment(&state.store, &moment).await?;
    let person = asked.person.map(PersonId::from);
    if let Some(person) = &person {
        let people = state.store.people(&row.event_id).await?;
        if !people.iter().any(|one| one.id == *person) {
            let why = format!("there is no person '{person}' in that event");
            return Err(Problem::field("person", why));
        }
    }
    state
        .store
        .tell_speaker(&moment, person.as_ref(), &by, now_ms())
        .await?;
    state.engine.changed(Some(row.event_id), What::Content);
    let row = the_moment(&state.store, &moment).await?;
    Ok(Json(MomentSpeaker {
        moment: row.id.0.clone(),
        person: speaker(&row),
        also: also(&row),
    }))
}

/// Has who speaks in an event found again.
#[utoipa::path(post, path = "/events/{event}/voices", tag = "people",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 202),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn find(State(state): State<AppState>, Path(event): Path<String>) -> Answer<StatusCode> {
    let event = state.store.find_event(&event).await?;
    state.store.find_speakers(&event.id).await?;
    state.engine.changed(Some(event.id), What::Content);
    Ok(StatusCode::ACCEPTED)
}

/// Forgets what is kept of voices in an event. Who speaks where stays.
#[utoipa::path(delete, path = "/events/{event}/voices", tag = "people",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 204),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn forget(State(state): State<AppState>, Path(event): Path<String>) -> Answer<StatusCode> {
    let event = state.store.find_event(&event).await?;
    state.store.forget_voices(&event.id).await?;
    state.engine.changed(Some(event.id), What::Content);
    Ok(StatusCode::NO_CONTENT)
}

/// What may be done with voices beyond their own event.
#[utoipa::path(get, path = "/voices", tag = "people", responses(
    (status = 200, body = VoiceRules),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn rules(State(state): State<AppState>) -> Answer<Json<VoiceRules>> {
    let across_events = state.store.voices_across_events().await?;
    Ok(Json(VoiceRules { across_events }))
}

/// Turns looking for people of one event among those of others on or off. Voices are
/// biometric data: it is off until somebody turns it on.
#[utoipa::path(put, path = "/voices", tag = "people", request_body = VoiceRules, responses(
    (status = 200, body = VoiceRules),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn set_rules(
    State(state): State<AppState>,
    Json(rules): Json<VoiceRules>,
) -> Answer<Json<VoiceRules>> {
    state
        .store
        .set_voices_across_events(rules.across_events)
        .await?;
    Ok(Json(rules))
}

/// Who speaks in a moment; `None` where that is not known.
pub fn speaker(row: &MomentRow) -> Option<Speaker> {
    Some(Speaker {
        id: row.person_id.clone()?.0,
        name: row.person_name.clone()?,
        certainty: row.certainty.unwrap_or(0.0),
        why: row.person_why.clone().unwrap_or_default(),
    })
}

/// Who speaks in a moment at the same time.
pub fn also(row: &MomentRow) -> Option<Person> {
    Some(Person {
        id: row.also_id.clone()?.0,
        name: row.also_name.clone()?,
    })
}

async fn the_moment(store: &Store, id: &MomentId) -> Answer<MomentRow> {
    let mut rows = store.moments_by_ids(std::slice::from_ref(id)).await?;
    rows.pop()
        .ok_or_else(|| Problem::missing("moment", id.as_str()))
}

async fn list(state: &AppState, event: EventRow) -> Result<PersonList, StoreError> {
    let store = &state.store;
    let rows = store.people(&event.id).await?;
    let mut wears = wears(store, &event.id).await?;
    let mut perhaps = state.engine.perhaps(&event.id, &rows).await?;
    let people = rows.into_iter().map(|row| {
        let worn = wears.remove(&row.id);
        let perhaps = perhaps.remove(&row.id).map(|(other, alike)| Perhaps {
            name: other.name,
            event: other.title,
            alike,
        });
        PersonDetail {
            perhaps,
            ..detail(row, worn.unwrap_or_default())
        }
    });
    Ok(PersonList {
        people: people.collect(),
        event: EventRef {
            id: event.id.0,
            title: event.title,
        },
    })
}

async fn one(store: &Store, row: PersonRow) -> Answer<PersonDetail> {
    let mut wears = wears(store, &row.event_id).await?;
    let worn = wears.remove(&row.id).unwrap_or_default();
    Ok(detail(row, worn))
}

fn detail(row: PersonRow, wears: Vec<Worn>) -> PersonDetail {
    PersonDetail {
        id: row.id.0,
        name: row.name,
        role: row.role,
        unnamed: row.unnamed,
        moments: row.moments,
        spoken_ms: row.spoken_ms,
        has_voice: row.has_voice,
        wears,
        perhaps: None,
    }
}

async fn wears(store: &Store, event: &EventId) -> Result<HashMap<PersonId, Vec<Worn>>, StoreError> {
    let sources = store.sources(event).await?;
    let mut all: HashMap<PersonId, Vec<Worn>> = HashMap::new();
    for row in store.wearers(event).await? {
        let Some(source) = sources.iter().find(|source| source.id == row.source_id) else {
            continue;
        };
        all.entry(row.person_id).or_default().push(Worn {
            source: source.id.0.clone(),
            label: source.label.clone(),
            from_ms: row.from_ms,
        });
    }
    Ok(all)
}

async fn worn(store: &Store, source: &SourceId) -> Answer<Wearers> {
    let row = store.source(source).await?;
    let all = store.wearers(&row.event_id).await?.into_iter();
    let own = all.filter(|wearing| wearing.source_id == *source);
    let wearers = own.map(|wearing| Wearer {
        person: wearing.person_id.0,
        from_ms: wearing.from_ms,
    });
    Ok(Wearers {
        wearers: wearers.collect(),
    })
}

/// A name as it is kept.
fn a_name(field: &'static str, typed: &str) -> Answer<String> {
    let name = shown_name(typed);
    if name.is_empty() {
        return Err(Problem::field(field, format!("{field} is empty")));
    }
    if name.chars().count() > MAX_NAME_CHARS {
        let why = format!("{field} has more than {MAX_NAME_CHARS} characters");
        return Err(Problem::field(field, why));
    }
    Ok(name)
}

/// A role as it is kept; it may be empty.
fn a_role(typed: &str) -> Answer<String> {
    let role = shown_name(typed);
    if role.chars().count() > MAX_NAME_CHARS {
        let why = format!("role has more than {MAX_NAME_CHARS} characters");
        return Err(Problem::field("role", why));
    }
    Ok(role)
}
