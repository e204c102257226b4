//! What was found, counted.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use sayback_core::quality::{Span, part_of};
use sayback_core::text::How;
use sayback_core::units::EventMs;

use super::super::wire::{Count, Facets};
use super::rank::Ranked;
use crate::store::{Called, EventId, FactsRow, Store, StoreError};

/// So many of a kind are told, those with most hits first.
const MOST: usize = 100;

/// Counts all hits, not only those of a page.
///
/// # Errors
/// When the database can't be read.
pub async fn facets(store: &Store, all: &[Ranked]) -> Result<Facets, StoreError> {
    let nos: Vec<i64> = all.iter().map(|one| one.no).collect();
    let rows = store.facts_of(&nos).await?;
    let mut counted: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for row in &rows {
        // Two sources may be placed alike.
        let facts: BTreeSet<&str> = row.facts.split_ascii_whitespace().collect();
        for fact in facts {
            if let Some(kind) = fact.get(..1) {
                *counted.entry((kind, &fact[1..])).or_default() += 1;
            }
        }
    }
    let of = |kind: &str| -> Vec<(String, usize)> {
        let mut of: Vec<(String, usize)> = counted
            .iter()
            .filter(|((own, _), _)| *own == kind)
            .map(|((_, id), count)| ((*id).to_owned(), *count))
            .collect();
        of.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(&b.0)));
        of.truncate(MOST);
        of
    };
    let events: Vec<&EventId> = {
        let mut events: Vec<&EventId> = rows.iter().map(|row| &row.event_id).collect();
        events.sort();
        events.dedup();
        events
    };
    let titles = store.event_titles(events.iter().copied()).await?;
    let titles = titles.into_iter().map(|event| Called {
        id: event.id.0,
        name: event.title,
        placement: None,
    });
    let (people, sources) = (of("p"), of("s"));
    let names = store.names_of(&ids(&people)).await?;
    let labels = store.labels_of(&ids(&sources)).await?;
    let manner = |how| all.iter().filter(|one| one.how == how).count();
    let backup: HashMap<String, usize> = of("r").into_iter().collect();
    Ok(Facets {
        parts: parts(store, &events, &rows).await?,
        events: named(of("e"), titles.collect()),
        people: named(people, names),
        sources: named(sources, labels),
        placements: plain(of("k")),
        languages: plain(of("l")),
        matches: [How::Exact, How::Close, How::SoundsAlike]
            .into_iter()
            .map(|how| count(how.name(), how.name(), manner(how)))
            .filter(|count| count.hits > 0)
            .collect(),
        backed_up: backup.get("1").copied().unwrap_or(0),
        not_backed_up: backup.get("0").copied().unwrap_or(0),
    })
}

async fn parts(
    store: &Store,
    events: &[&EventId],
    rows: &[FactsRow],
) -> Result<Vec<Count>, StoreError> {
    let mut of_event: HashMap<EventId, (Vec<Span>, Vec<String>)> = HashMap::new();
    for part in store.parts_of(events).await? {
        let (spans, names) = of_event.entry(part.event_id).or_default();
        spans.push(Span {
            start: EventMs(part.start_ms),
            end: EventMs(part.end_ms),
        });
        names.push(part.name);
    }
    let mut counted: BTreeMap<&str, usize> = BTreeMap::new();
    for row in rows.iter().filter(|row| row.island == 0) {
        let at = Span {
            start: EventMs(row.start_ms),
            end: EventMs(row.end_ms),
        };
        if let Some((spans, names)) = of_event.get(&row.event_id)
            && let Some(name) = part_of(spans, at).and_then(|n| names.get(n))
        {
            *counted.entry(name).or_default() += 1;
        }
    }
    let mut counts: Vec<Count> = counted
        .into_iter()
        .map(|(name, hits)| count(name, name, hits))
        .collect();
    counts.sort_by_key(|count| std::cmp::Reverse(count.hits));
    Ok(counts)
}

fn ids(counted: &[(String, usize)]) -> Vec<String> {
    counted.iter().map(|(id, _)| hyphened(id)).collect()
}

/// An id as it was before the index took the hyphens out of it: those of a UUID.
fn hyphened(id: &str) -> String {
    match uuid::Uuid::try_parse(id) {
        Ok(uuid) => uuid.to_string(),
        Err(_) => id.to_owned(),
    }
}

/// With names; what has gone meanwhile is left out.
fn named(counted: Vec<(String, usize)>, called: Vec<Called>) -> Vec<Count> {
    let called: HashMap<&str, &Called> = called.iter().map(|one| (one.id.as_str(), one)).collect();
    let named = counted.into_iter().filter_map(|(id, hits)| {
        let one = called.get(hyphened(&id).as_str())?;
        Some(Count {
            placement: one.placement.clone(),
            ..count(&one.id, &one.name, hits)
        })
    });
    named.collect()
}

fn plain(counted: Vec<(String, usize)>) -> Vec<Count> {
    let counts = counted.into_iter();
    counts
        .map(|(name, hits)| count(&name, &name, hits))
        .collect()
}

fn count(id: &str, name: &str, hits: usize) -> Count {
    Count {
        id: id.to_owned(),
        name: name.to_owned(),
        placement: None,
        hits,
    }
}
