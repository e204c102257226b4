//! What does an event look like as a whole? `/events/{event}/outline`.

use std::collections::HashMap;
use std::hash::Hash;

use axum::extract::State;
use sayback_core::quality::{self, BACKED_UP};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Json, Path};
use super::problem::{Answer, Problem};
use super::wire::{EventRef, Outline, OutlineMoments, Person};
use crate::store::{
    EventRow, OutlineRow, OutlinedHearing, OutlinedMoment, PersonId, RecordingId, SourceId,
};

/// The routes of outlines.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new().routes(routes!(outline))
}

/// All moments of an event's clock, without their words: what a page draws.
#[utoipa::path(get, path = "/events/{event}/outline", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title")),
    responses(
    (status = 200, body = Outline),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn outline(
    State(state): State<AppState>,
    Path(event): Path<String>,
) -> Answer<Json<Outline>> {
    let event = state.store.find_event(&event).await?;
    let row = state.store.outline(&event.id).await?;
    // A day has some ten thousand hearings.
    let drawn = tokio::task::spawn_blocking(move || drawn(event, &row)).await;
    Ok(Json(drawn.map_err(Problem::internal)?))
}

/// Where what is named stands in the lists.
struct Places<'a> {
    people: HashMap<&'a PersonId, usize>,
    recordings: HashMap<&'a RecordingId, usize>,
    /// Of each recording.
    sources: Vec<&'a SourceId>,
}

impl<'a> Places<'a> {
    fn of(row: &'a OutlineRow) -> Self {
        Self {
            people: numbered(row.people.iter().map(|(id, _)| id)),
            recordings: numbered(row.recordings.iter().map(|(id, _)| id)),
            sources: row.recordings.iter().map(|(_, source)| source).collect(),
        }
    }

    /// How many sources have a moment well enough; two stand for all above.
    fn good(&self, moment: &OutlinedMoment) -> Option<usize> {
        let source = |hearing: &OutlinedHearing| {
            let source = self
                .sources
                .get(*self.recordings.get(&hearing.recording)?)?;
            Some((hearing.heard == 1, hearing.verdict, *source))
        };
        let hearings = moment.hearings.iter().filter_map(source);
        quality::needs_backup(moment.begins.as_deref())
            .then(|| quality::usable_sources(hearings).len().min(BACKED_UP))
    }

    fn best(&self, moment: &OutlinedMoment) -> Option<usize> {
        let best = moment.hearings.iter().find(|hearing| hearing.rank == 1)?;
        self.recordings.get(&best.recording).copied()
    }
}

fn numbered<'a, T: Eq + Hash>(ids: impl Iterator<Item = &'a T>) -> HashMap<&'a T, usize> {
    ids.zip(0..).collect()
}

fn drawn(event: EventRow, row: &OutlineRow) -> Outline {
    let places = Places::of(row);
    let mut moments = OutlineMoments::default();
    for moment in &row.moments {
        let person = moment.person.as_ref();
        let person = person.and_then(|id| places.people.get(id).copied());
        moments.id.push(moment.id.0.clone());
        moments.start_ms.push(moment.start_ms);
        moments.end_ms.push(moment.end_ms);
        moments.person.push(person);
        moments.certainty.push(moment.certainty.map(hundredth));
        moments.best.push(places.best(moment));
        moments.good.push(places.good(moment));
        let words = moment
            .begins
            .as_deref()
            .is_some_and(|text| !text.is_empty());
        moments.doubtful.push(moment.doubted == 1 || !words);
    }
    let people = row.people.iter();
    let recordings = row.recordings.iter();
    Outline {
        event: EventRef {
            id: event.id.0,
            title: event.title,
        },
        people: people
            .map(|(id, name)| Person {
                id: id.0.clone(),
                name: name.clone(),
            })
            .collect(),
        recordings: recordings.map(|(id, _)| id.0.clone()).collect(),
        moments,
    }
}

fn hundredth(share: f32) -> f64 {
    (f64::from(share) * 100.0).round() / 100.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use sayback_core::quality::Verdict;

    fn heard(recording: &str, rank: i64, verdict: Verdict) -> OutlinedHearing {
        OutlinedHearing {
            recording: recording.into(),
            rank,
            heard: 1,
            verdict,
        }
    }

    #[test]
    fn a_moment_is_told_by_numbers() {
        let [a, b, c] = ["a", "b", "c"].map(RecordingId::from);
        let row = OutlineRow {
            people: vec![("p".into(), "Maro".into()), ("q".into(), "Ines".into())],
            // The first two are channels of one recorder.
            recordings: vec![(a, "s".into()), (b, "s".into()), (c, "t".into())],
            moments: Vec::new(),
        };
        let places = Places::of(&row);
        let mut moment = OutlinedMoment {
            id: "m".into(),
            start_ms: 0,
            end_ms: 1,
            person: Some("q".into()),
            certainty: Some(0.777),
            doubted: 0,
            begins: Some("S".into()),
            hearings: vec![
                heard("b", 1, Verdict::Clean),
                heard("a", 2, Verdict::Usable),
                heard("c", 3, Verdict::Poor),
            ],
        };
        assert_eq!(
            (places.best(&moment), places.good(&moment)),
            (Some(1), Some(1))
        );
        moment.hearings[2].verdict = Verdict::Usable;
        assert_eq!(places.good(&moment), Some(2));
        moment.hearings[2].heard = 0;
        assert_eq!(places.good(&moment), Some(1));
        moment.begins = Some(String::new());
        assert_eq!(places.good(&moment), None);
        moment.hearings.clear();
        moment.begins = None;
        assert_eq!(
            (places.best(&moment), places.good(&moment)),
            (None, Some(0))
        );
        assert_eq!(hundredth(0.777), 0.78);
    }
}
