//! The parts of an event: `/events/{event}/parts`.

use std::collections::BTreeSet;

use axum::extract::State;
use sayback_core::text::{MAX_NAME_CHARS, shown_name};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path};
use super::problem::{Answer, Problem};
use super::wire::{Part, Parts};
use crate::jobs::What;
use crate::store::PartRow;

/// Most parts of an event.
pub(super) const MAX_PARTS: usize = 200;
/// Times beyond this are no instants of an event, ms: a year.
const FAR_MS: i64 = 366 * 24 * 3_600_000;

/// The routes of parts.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new().routes(routes!(parts, set_parts))
}

/// The parts of an event: letters, vows, toasts.
#[utoipa::path(get, path = "/events/{event}/parts", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 200, body = Parts),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn parts(State(state): State<AppState>, Path(event): Path<String>) -> Answer<Json<Parts>> {
    let event = state.store.find_event(&event).await?;
    let rows = state.store.parts(&event.id).await?;
    Ok(Json(shown(rows)))
}

/// Gives an event its parts, in place of those it had.
#[utoipa::path(put, path = "/events/{event}/parts", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title")),
    request_body = Parts,
    responses(
    (status = 200, body = Parts, description = "the parts as they are kept"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn set_parts(
    State(state): State<AppState>,
    Path(event): Path<String>,
    Json(typed): Json<Parts>,
) -> Answer<Json<Parts>> {
    let event = state.store.find_event(&event).await?;
    let rows: Vec<PartRow> = typed.parts.into_iter().map(row).collect();
    sensible(&rows).map_err(|why| Problem::field("parts", why))?;
    state.store.set_parts(&event.id, &rows).await?;
    state.engine.changed(Some(event.id), What::Content);
    Ok(Json(shown(rows)))
}

/// Why parts can't be taken as they are.
fn sensible(rows: &[PartRow]) -> Result<(), String> {
    if rows.len() > MAX_PARTS {
        let count = rows.len();
        return Err(format!(
            "there are {count} parts; an event has at most {MAX_PARTS}"
        ));
    }
    let mut names = BTreeSet::new();
    for (n, row) in (1..).zip(rows) {
        let name = &row.name;
        if name.is_empty() {
            return Err(format!("part {n} has no name"));
        }
        if name.chars().count() > MAX_NAME_CHARS {
            return Err(format!(
                "the name of part {n} has more than {MAX_NAME_CHARS} characters"
            ));
        }
        if !names.insert(name) {
            return Err(format!("two parts are called '{name}'; give each its own"));
        }
        if row.end_ms <= row.start_ms {
            return Err(format!("part '{name}' ends before it begins"));
        }
        if row.start_ms < -FAR_MS || row.end_ms > FAR_MS {
            return Err(format!("part '{name}' lies more than a year away"));
        }
    }
    Ok(())
}

fn row(part: Part) -> PartRow {
    PartRow {
        name: shown_name(&part.name),
        start_ms: part.start_ms,
        end_ms: part.end_ms,
        required: part.required,
    }
}

fn shown(rows: Vec<PartRow>) -> Parts {
    let part = |row: PartRow| Part {
        name: row.name,
        start_ms: row.start_ms,
        end_ms: row.end_ms,
        required: row.required,
    };
    Parts {
        parts: rows.into_iter().map(part).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(name: &str, start_ms: i64, end_ms: i64) -> PartRow {
        row(Part {
            name: name.into(),
            start_ms,
            end_ms,
            required: true,
        })
    }

    #[test]
    fn what_makes_no_sense_is_told_by_name() {
        assert_eq!(
            sensible(&[part("letters", 0, 10), part("vows", 5, 20)]),
            Ok(())
        );
        for (parts, says) in [
            (vec![part(" \u{1b} ", 0, 1)], "part 1 has no name"),
            (
                vec![part("a", 0, 1), part(" a\t", 2, 3)],
                "two parts are called 'a'",
            ),
            (vec![part("a", 5, 5)], "part 'a' ends before it begins"),
            (vec![part("a", 0, i64::MAX)], "more than a year away"),
            (vec![part(&"x".repeat(81), 0, 1)], "more than 80 characters"),
            (
                (0..201).map(|n| part(&n.to_string(), 0, 1)).collect(),
                "201 parts; an event has at most 200",
            ),
        ] {
            let why = sensible(&parts).expect_err(says);
            assert!(why.contains(says), "{why}");
        }
    }
}
