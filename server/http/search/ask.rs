//! What is asked, and of what?

use std::collections::HashSet;

use axum::http::StatusCode;
use sayback_core::text;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::super::problem::Problem;
use crate::store::{EventId, Filter, Store};

/// The most hits in one answer.
const LIMIT_MAX: usize = 200;

/// How sources may be placed.
const PLACEMENTS: [&str; 5] = ["worn", "feed", "stand", "ambient", "camera"];

/// What to look for, and where. What is left out does not matter.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct SearchParams {
    /// Words as they are remembered; a "quoted phrase" asks for the very words; a trailing
    /// `*` for the rest of a word. Anything else is literal text. May be empty where
    /// something else is asked for.
    #[serde(default)]
    #[param(default = "")]
    pub q: String,
    /// Whether `q` is still being typed: its last word may be the beginning of one.
    #[serde(default)]
    #[param(default = false)]
    pub typing: bool,
    /// An event's id or title.
    pub event: Option<String>,
    /// The name of a part.
    pub part: Option<String>,
    /// Who speaks: an id or a name, in whichever event they do.
    pub person: Option<String>,
    /// A source that heard it: its id or label.
    pub source: Option<String>,
    /// How a source that heard it is placed: `worn`, `feed`, `stand`, `ambient` or
    /// `camera`.
    pub placement: Option<String>,
    /// Whether `source` and `placement` must be those of the best hearing.
    #[serde(default)]
    #[param(default = false)]
    pub best: bool,
    /// Events of this day or later, as `2026-06-20`.
    pub from: Option<String>,
    /// Events of this day or earlier.
    pub to: Option<String>,
    /// The language of most of the words, ISO 639-1.
    pub language: Option<String>,
    /// The least certainty of the matched words, 0 to 1.
    #[param(minimum = 0.0, maximum = 1.0)]
    pub confidence: Option<f32>,
    /// Whether two sources have it clean or usable.
    pub backup: Option<bool>,
    /// The order of hits; by relevance if it is left out.
    #[serde(default)]
    #[param(inline)]
    pub sort: Sort,
    /// Whether to count what was found by event, person, source and so on.
    #[serde(default)]
    #[param(default = false)]
    pub facets: bool,
    /// Whether to look in one event also for what means the like of `q`, where the model
    /// of meaning is on the shelf.
    #[serde(default)]
    #[param(default = false)]
    pub meaning: bool,
    /// The most hits in the answer, 1 to 200.
    #[serde(default = "default_limit")]
    #[param(default = 20, minimum = 1, maximum = 200)]
    pub limit: usize,
    /// How many hits to pass over.
    #[serde(default)]
    #[param(default = 0, minimum = 0)]
    pub offset: usize,
}

/// The order of hits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Sort {
    /// The best answer first.
    #[default]
    Relevance,
    /// By event, and in it by the event clock.
    Clock,
}

fn default_limit() -> usize {
    20
}

impl SearchParams {
    /// The query.
    pub fn query(&self) -> text::Query {
        let mut query = text::Query::parse(&self.q);
        if self.typing && self.q.ends_with(|c: char| c.is_alphanumeric()) {
            query.begin_last();
        }
        query
    }

    /// What moments must be like.
    ///
    /// # Errors
    /// A problem for a parameter out of range, or an event that does not exist.
    pub async fn filter(&self, store: &Store) -> Result<Filter, Problem> {
        self.check()?;
        let mut filter = Filter {
            best: self.best,
            backup: self.backup,
            part: self.part.as_deref().map(|part| part.trim().to_owned()),
            placements: self.placement.clone().map(|placement| vec![placement]),
            languages: self.language.clone().map(|language| vec![language]),
            ..Filter::default()
        };
        if let Some(event) = &self.event {
            filter.events = Some(vec![store.find_event(event).await?.id]);
        }
        if let (Some(part), None) = (&filter.part, &filter.events) {
            filter.events = Some(store.events_with_part(part).await?);
        }
        if self.from.is_some() || self.to.is_some() {
            let from = day("from", self.from.as_deref())?;
            let to = day("to", self.to.as_deref())?;
            let (first, last) = ("0000-00-00".to_owned(), "9999-99-99".to_owned());
            let then = store
                .events_between(&from.unwrap_or(first), &to.unwrap_or(last))
                .await?;
            filter.events = Some(match filter.events.take() {
                Some(named) => {
                    let then: HashSet<EventId> = then.into_iter().collect();
                    named.into_iter().filter(|id| then.contains(id)).collect()
                }
                None => then,
            });
        }
        if let Some(person) = &self.person {
            filter.people = Some(store.people_called(person).await?);
        }
        if let Some(source) = &self.source {
            filter.sources = Some(store.sources_called(source).await?);
        }
        Ok(filter)
    }

    /// Whether all of it is in range.
    ///
    /// # Errors
    /// A problem that names what is not.
    pub fn check(&self) -> Result<(), Problem> {
        if self.limit == 0 || self.limit > LIMIT_MAX {
            return Err(Problem::field("limit", "limit must be from 1 to 200"));
        }
        if self
            .confidence
            .is_some_and(|least| !(0.0..=1.0).contains(&least))
        {
            return Err(Problem::field(
                "confidence",
                "confidence must be from 0 to 1",
            ));
        }
        if let Some(placement) = &self.placement
            && !PLACEMENTS.contains(&placement.as_str())
        {
            let known = PLACEMENTS.join(", ");
            return Err(Problem::field(
                "placement",
                format!("placement must be one of {known}"),
            ));
        }
        day("from", self.from.as_deref())?;
        day("to", self.to.as_deref())?;
        if self.part.as_deref().is_some_and(|part| part.contains('\0')) {
            return Err(Problem::new(StatusCode::BAD_REQUEST, "part holds a NUL"));
        }
        Ok(())
    }
}

/// A day as events have it: they are compared as text.
fn day(name: &str, given: Option<&str>) -> Result<Option<String>, Problem> {
    let Some(given) = given else { return Ok(None) };
    match given.trim().parse::<jiff::civil::Date>() {
        Ok(day) => Ok(Some(day.to_string())),
        Err(_) => {
            let detail = format!("{name} must be a day such as 2026-06-20");
            Err(Problem::field(name, detail))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn however_a_day_is_written_it_is_compared_as_events_have_it() {
        for given in ["2026-06-20", "20260620", " 2026-06-20 "] {
            let read = day("from", Some(given)).ok().flatten();
            assert_eq!(read.as_deref(), Some("2026-06-20"), "{given}");
        }
        assert_eq!(day("to", None).ok(), Some(None));
        for given in ["", "soon", "2026-02-30", "20.6.2026"] {
            assert!(day("to", Some(given)).is_err(), "{given}");
        }
    }
}
