//! All that was said in an event, on its clock, in the formats of cut lists:
//! `GET /events/{event}/files`.
//!
//! Each moment is an item at its instant, its best hearing first and the others behind
//! it. Moments are looked at some hundreds at a time, so that what is known of them on
//! the way is never in memory for all.

use axum::extract::State;
use axum::response::Response;
use sayback_core::timecode::FrameRate;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::super::super::AppState;
use super::super::super::extract::{Path, Query};
use super::super::super::problem::{Answer, Problem};
use super::super::super::wire::{LeftOut, Quote, SaidFiles};
use super::super::resolve::{self, Desk};
use super::super::sound;
use super::list::{Gathered, rate};
use super::pieces::{pieces, what_there_is};
use super::{How, format_of, left_out, pipe, written};
use crate::export::cut::{self, Cut, CutFormat, Kind};
use crate::store::{EventRow, MomentRow, PersonId, Store};

/// The most moments of one file: a day of talk without a pause.
const MOST_MOMENTS: u32 = 20_000;
/// Moments that are looked at together.
const AT_ONCE: usize = 500;

/// The routes of what was said.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new().routes(routes!(files))
}

/// What of it.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct What {
    /// Only a part of the event, by its name.
    part: Option<String>,
    /// Only what one person says, by their id or name.
    person: Option<String>,
}

/// All that was said in an event, or in a part of it, or by one person, in an open
/// format: mostly one file. Times are those of the event clock, labels count from it.
/// Sound lies where it lies, by its `file:` URL. What is doubtful or not written down yet
/// is marked.
#[utoipa::path(get, path = "/events/{event}/files", tag = "events",
    params(("event" = String, Path, description = "the event's id, or its title"), How, What),
    responses(
    (status = 200, body = SaidFiles),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn files(
    State(state): State<AppState>,
    Path(event): Path<String>,
    Query(how): Query<How>,
    Query(what): Query<What>,
) -> Answer<Response> {
    let format = format_of(&how.format)?;
    let event = state.store.find_event(&event).await?;
    let rate = rate(how.frame_rate.as_deref(), &event, &[format])?;
    let said = Said::of(&state.store, event, &what).await?;
    let answer = tokio::task::spawn_blocking(move || said.written(rate, format, &how));
    let answer = answer.await.map_err(Problem::internal)??;
    Ok(pipe::json(answer))
}

/// What was said.
struct Said {
    title: String,
    event: EventRow,
    /// Where its clock begins, ms of the event clock.
    from_ms: i64,
    gathered: Gathered,
    not_on_clock: i64,
}

impl Said {
    async fn of(store: &Store, event: EventRow, what: &What) -> Answer<Self> {
        let (title, within, by) = asked(store, &event, what).await?;
        let (all, placed) = (
            store.moment_count(&event.id, None, None).await?,
            store
                .moment_count(&event.id, Some(i64::MIN), Some(i64::MAX))
                .await?,
        );
        let (from, to) = within.unwrap_or((i64::MIN, i64::MAX));
        let (from, to) = (Some(from), Some(to));
        let moments = store
            .moments(&event.id, from, to, MOST_MOMENTS + 1, 0)
            .await?;
        if moments.len() > MOST_MOMENTS as usize {
            let why = format!("that is more than {MOST_MOMENTS} moments; ask part by part");
            return Err(Problem::field("part", why));
        }
        let from_ms = moments.first().map_or(0, |first| first.start_ms.min(0));
        let is_wanted = |row: &MomentRow| {
            let middle = i64::midpoint(row.start_ms, row.end_ms);
            let inside = within.is_none_or(|(from, to)| (from..to).contains(&middle));
            let theirs = by.as_ref().is_none_or(|id| {
                row.person_id.as_ref() == Some(id) || row.also_id.as_ref() == Some(id)
            });
            inside && theirs && row.text.as_deref() != Some("")
        };
        let moments: Vec<MomentRow> = moments.into_iter().filter(is_wanted).collect();
        let mut said = Self {
            title,
            from_ms,
            gathered: Gathered::default(),
            not_on_clock: all - placed,
            event,
        };
        said.gather(store, &moments).await?;
        Ok(said)
    }

    async fn gather(&mut self, store: &Store, moments: &[MomentRow]) -> Answer<()> {
        let rate = self.event.frame_rate.clone();
        let desk = Desk::of(store, &self.event.id, rate).await?;
        let online = sound::online(&desk).await?;
        for (n, some) in moments.chunks(AT_ONCE).enumerate() {
            let quotes = resolve::of_moments(store, &desk, &online, some).await?;
            for (place, (quote, row)) in (n * AT_ONCE + 1..).zip(quotes.iter().zip(some)) {
                let Some(quote) = quote else {
                    let why = "no recording that has it is on the event clock any more";
                    self.gathered.left_out.push(left_out(place, why));
                    continue;
                };
                if let Err(why) = self.add(&desk, quote, row) {
                    self.gathered.left_out.push(LeftOut { place, ..why });
                }
            }
        }
        let by_time = |quote: &cut::Quote| quote.at_ms;
        self.gathered.quotes.sort_by_key(by_time);
        Ok(())
    }

    fn add(&mut self, desk: &Desk, quote: &Quote, row: &MomentRow) -> Result<(), LeftOut> {
        let start_ms = quote.start_ms.unwrap_or(row.start_ms) - self.from_ms;
        let (late_ms, all) = match pieces(desk, quote) {
            Ok(all) => (0, all),
            Err(why) => {
                let (late_ms, piece) = what_there_is(desk, quote).ok_or(why)?;
                (late_ms, vec![piece])
            }
        };
        let mut at_ms = start_ms + late_ms;
        for piece in &all {
            let length_ms = piece.quote.length_ms;
            if let Some(added) = self.gathered.add(desk, piece) {
                added.at_ms = Some(u64::try_from(at_ms).unwrap_or(0));
                added.also.clone_from(&row.also_name);
                added.doubt.clone_from(&row.doubt);
                added.unwritten = row.text.is_none();
            }
            at_ms += length_ms;
        }
        Ok(())
    }

    fn written(self, rate: FrameRate, format: CutFormat, how: &How) -> Answer<SaidFiles> {
        let cut = Cut {
            kind: Kind::Transcript {
                from_ms: self.from_ms,
            },
            title: self.title,
            event: self.event.title,
            date: self.event.date,
            rate,
            media: self.gathered.media,
            quotes: self.gathered.quotes,
        };
        let files = written(&cut, &[format], how)?;
        Ok(SaidFiles {
            moments: cut.quotes.len(),
            files: files.into_iter().map(|(_, file)| file).collect(),
            not_on_clock: self.not_on_clock,
            from_ms: self.from_ms,
            left_out: self.gathered.left_out,
        })
    }
}

/// The title of what was asked for, the stretch of the event clock that it is within, and
/// by whom.
type Wanted = (String, Option<(i64, i64)>, Option<PersonId>);

async fn asked(store: &Store, event: &EventRow, what: &What) -> Answer<Wanted> {
    let (mut title, mut within, mut by) = (event.title.clone(), None, None);
    if let Some(name) = &what.part {
        let parts = store.parts(&event.id).await?;
        let part = parts.into_iter().find(|part| part.name == name.trim());
        let part = part.ok_or_else(|| Problem::missing("part", name))?;
        title = format!("{title}, {}", part.name);
        within = Some((part.start_ms, part.end_ms));
    }
    if let Some(name) = &what.person {
        let people = store.people(&event.id).await?;
        let is_it = |id: &str, called: &str| id == name.trim() || called == name.trim();
        let person = people
            .into_iter()
            .find(|one| is_it(one.id.as_str(), &one.name));
        let person = person.ok_or_else(|| Problem::missing("person", name))?;
        title = format!("{title}, {}", person.name);
        by = Some(person.id);
    }
    Ok((title, within, by))
}
