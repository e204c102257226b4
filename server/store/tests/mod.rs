//! Holds the store to what its docs say.
//!
//! Completeness: every statement is declared by `statements!`, which lists it.
//! `every_statement_is_valid` has SQLite compile each of them against the
//! schema; `the_story_uses_every_statement` (in `story.rs`) fails if one was not
//! executed; that no other room holds SQL is a rule of `tests/it/tidy`.

mod before_search;
mod cuts;
mod cuts_many;
mod full;
mod glossary;
mod going_on;
mod meant;
mod older;
mod paging;
mod parts;
mod peaks;
mod put_right;
mod put_right_any;
mod put_right_stays;
mod scripts;
mod searching;
mod story;
mod who;
mod words;

use std::path::{Path, PathBuf};

pub(super) use full::limited;

use super::*;
use sayback_core::signal::peaks::Peaks;

/// Every statement of the store.
fn all_statements() -> Vec<&'static super::statement::Statement> {
    [
        asked::ALL,
        claiming::ALL,
        clock::ALL,
        super::cuts::ALL,
        super::cuts::VERSIONS_ALL,
        events::ALL,
        files::ALL,
        fixing::ALL,
        fixing::DESK_ALL,
        fixing::HISTORY_ALL,
        fixing::WRITTEN_ALL,
        super::glossary::ALL,
        found::ALL,
        grouping::ALL,
        index::ALL,
        intake::ALL,
        super::lexicon::ALL,
        listening::ALL,
        looking::ALL,
        super::meaning::ALL,
        moments::ALL,
        moved::ALL,
        super::parts::ALL,
        super::outline::ALL,
        super::peaks::ALL,
        super::people::ALL,
        queue::ALL,
        recordings::ALL,
        saved::ALL,
        super::scripts::ALL,
        search::ALL,
        segments::ALL,
        settings::ALL,
        solving::ALL,
        sources::ALL,
        super::speaking::ALL,
        status::ALL,
        wanting::ALL,
    ]
    .concat()
}

/// The moments that hold every word and phrase of a query, of one event or of all.
async fn holding(store: &Store, query: &str, event: Option<&EventId>) -> Vec<MomentId> {
    let mut query = sayback_core::text::Query::parse(query);
    query.literal = true;
    let wanted = store.wanted(&query).await.unwrap();
    let filter = Filter {
        events: event.map(|event| vec![event.clone()]),
        ..Filter::default()
    };
    if query.is_empty() {
        return Vec::new();
    }
    let found = store.matching(&query, &wanted, &filter, 0).await.unwrap();
    let nos: Vec<i64> = found.exact.into_iter().chain(found.near).collect();
    let said = store.said(&nos).await.unwrap();
    said.into_iter().map(|row| row.id).collect()
}

/// A store in a folder of its own, which goes when the guard goes.
async fn store() -> (tempfile::TempDir, Store) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).await.unwrap();
    (folder, store)
}

#[tokio::test]
async fn every_statement_is_valid() {
    let (_folder, store) = store().await;
    for statement in all_statements() {
        let explain = format!("EXPLAIN {}", statement.sql);
        sqlx::raw_sql(sqlx::AssertSqlSafe(explain))
            .execute(&store.write)
            .await
            .unwrap_or_else(|error| panic!("{}: {error}", statement.name));
    }
}

/// A list that a statement is given leads its loop: walked for each row of a table, a
/// long recording takes minutes.
#[tokio::test]
async fn given_lists_are_walked_once() {
    let (_folder, store) = store().await;
    let mut lists = 0;
    for statement in all_statements() {
        let given: Vec<&str> = statement
            .sql
            .split("json_each(?")
            .skip(1)
            .filter_map(|rest| rest.split_once(')')?.1.split_whitespace().next())
            .collect();
        let explain = format!("EXPLAIN QUERY PLAN {}", statement.sql);
        let plan: Vec<(i64, i64, i64, String)> = sqlx::query_as(sqlx::AssertSqlSafe(explain))
            .fetch_all(&store.write)
            .await
            .unwrap();
        for (at, (_, parent, _, detail)) in plan.iter().enumerate() {
            let list = detail.strip_prefix("SCAN ").and_then(|rest| {
                let (name, how) = rest.split_once(' ')?;
                (how.starts_with("VIRTUAL TABLE") && given.contains(&name)).then_some(name)
            });
            let Some(list) = list else { continue };
            lists += 1;
            let outer = plan[..at].iter().find(|(_, of, _, step)| {
                of == parent && (step.starts_with("SEARCH") || step.starts_with("SCAN"))
            });
            assert!(
                outer.is_none(),
                "{}: {list} inside {outer:?}",
                statement.name
            );
        }
    }
    assert!(lists > 10, "{lists}");
}

#[tokio::test]
async fn an_idle_look_never_walks_finished_jobs() {
    let (_folder, store) = store().await;
    for name in ["NEXT", "TO_DO", "YIELD"] {
        let of_that_name = |s: &&&'static super::statement::Statement| s.name == name;
        let all = all_statements();
        let statement = all.iter().find(of_that_name).unwrap();
        let explain = format!("EXPLAIN QUERY PLAN {}", statement.sql);
        let plan: Vec<(i64, i64, i64, String)> = sqlx::query_as(sqlx::AssertSqlSafe(explain))
            .fetch_all(&store.write)
            .await
            .unwrap();
        let jobs: Vec<&String> = plan
            .iter()
            .map(|(.., detail)| detail)
            .filter(|detail| ["job", "w"].contains(&detail.split(' ').nth(1).unwrap_or("")))
            .collect();
        assert!(!jobs.is_empty(), "{plan:?}");
        for detail in jobs {
            assert!(
                detail.contains("INDEX job_ready") || detail.contains("INDEX job_running"),
                "{name}: {detail}"
            );
        }
    }
}

#[tokio::test]
async fn a_data_folder_is_private_and_opens_twice() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("new");
    let first = Store::open(&data).await.unwrap();
    let second = Store::open(&data).await.unwrap();
    first
        .create_event(
            NewEvent {
                title: "One".into(),
                ..NewEvent::default()
            },
            1,
        )
        .await
        .unwrap();
    assert_eq!(second.events().await.unwrap().len(), 1);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(data.metadata().unwrap().permissions().mode() & 0o777, 0o700);
    }
}

#[tokio::test]
async fn broken_rules_name_themselves() {
    let (_folder, store) = store().await;
    let blank = store
        .create_event(
            NewEvent {
                title: "  ".into(),
                ..NewEvent::default()
            },
            1,
        )
        .await;
    assert_eq!(blank.unwrap_err().to_string(), "event title is blank");
    for (date, fine) in [
        ("2026-06-20", true),
        ("2026-12-31", true),
        ("2026-02-30", false),
        ("20.6.2026", false),
    ] {
        let new = NewEvent {
            title: "x".into(),
            date: Some(date.into()),
            frame_rate: None,
        };
        assert_eq!(store.create_event(new, 1).await.is_ok(), fine, "{date}");
    }
    let nowhere = EventId::from("no-such");
    assert_eq!(
        store.event(&nowhere).await.unwrap_err().to_string(),
        "there is no event 'no-such'"
    );
    assert_eq!(
        store
            .ensure_source(&nowhere, "a", None, None)
            .await
            .unwrap_err()
            .to_string(),
        "there is no event 'no-such'"
    );
    assert!(matches!(
        store.find_event("x").await.unwrap_err(),
        StoreError::Ambiguous { ids, .. } if ids.len() == 2
    ));
}

/// What is left out of a change stays; rates come back as they were given.
pub(super) async fn an_event_changes(store: &Store, event: &EventRow) {
    for (typed, kept) in [
        ("29.97df", "30000/1001df"),
        ("59.94", "60000/1001"),
        ("25", "25"),
    ] {
        let change = EventChange {
            frame_rate: Some(typed.parse().unwrap()),
            ..EventChange::default()
        };
        let row = store.change_event(&event.id, change).await.unwrap();
        assert_eq!(row.frame_rate.as_deref(), Some(kept));
        assert_eq!((&row.title, &row.date), (&event.title, &event.date));
    }
    let blank = EventChange {
        title: Some(" ".into()),
        ..EventChange::default()
    };
    let refused = store.change_event(&event.id, blank).await.unwrap_err();
    assert_eq!(refused.to_string(), "event title is blank");
    let unchanged = store.change_event(&event.id, EventChange::default()).await;
    assert_eq!(unchanged.unwrap(), *event);
}
