//! The index: what is found through filters, that it is as the words are, and that
//! nothing of an event stays when it goes.

use sayback_core::text::Query;

use super::put_right::{fix, heard, written};
use super::*;

async fn matching(store: &Store, query: &str, filter: &Filter) -> Vec<MomentId> {
    let query = Query::parse(query);
    let wanted = store.wanted(&query).await.unwrap();
    let found = store.matching(&query, &wanted, filter, 0).await.unwrap();
    let nos: Vec<i64> = found.exact.into_iter().chain(found.near).collect();
    let said = store.said(&nos).await.unwrap();
    said.into_iter().map(|row| row.id).collect()
}

/// Part of the story: the index is as the words are, and can be made again.
pub(super) async fn indexed(store: &Store, event: &EventId) {
    for _ in 0..2 {
        let check = store.check_index(event).await.unwrap();
        assert_eq!(check.wrong, []);
        assert!(check.moments > 0);
        store.rebuild_index(event).await.unwrap();
    }
    let said = store.suggestions("kett", Some(event), 5).await.unwrap();
    assert_eq!(said[0].text, "kettle");
    let elsewhere = EventId::fresh();
    let said = store
        .suggestions("kett", Some(&elsewhere), 5)
        .await
        .unwrap();
    assert_eq!(said, []);
}

/// Part of the story: looks at what else search asks for, and takes the event away.
pub(super) async fn searched_and_gone(store: &Store, event: &EventId) {
    let events = [event];
    assert_eq!(store.event_titles(events).await.unwrap()[0].id, *event);
    let source = store.sources(event).await.unwrap()[0].id.clone();
    let labels = store
        .labels_of(std::slice::from_ref(&source.0))
        .await
        .unwrap();
    let called = store.sources_called(&labels[0].name.to_uppercase()).await;
    assert!(called.unwrap().contains(&source));
    let person = store.people(event).await.unwrap()[0].clone();
    let names = store
        .names_of(std::slice::from_ref(&person.id.0))
        .await
        .unwrap();
    assert_eq!(names[0].name, person.name);
    let called = store.people_called(&person.name.to_lowercase()).await;
    assert!(called.unwrap().contains(&person.id));
    assert!(!store.placements_of(&events).await.unwrap().is_empty());
    store.parts_of(&events).await.unwrap();
    store.facts_of(&[1]).await.unwrap();
    assert_eq!(store.events_with_part("no such").await.unwrap(), []);
    store.said_around(&[1]).await.unwrap();
    store.wearers_of(&events).await.unwrap();
    assert!(
        store
            .events_between("1900-01-01", "1900-01-02")
            .await
            .unwrap()
            .is_empty()
    );
    let filter = Filter {
        events: Some(vec![event.clone()]),
        part: Some("toasts".into()),
        ..Filter::default()
    };
    assert!(matching(store, "kettle", &filter).await.is_empty());
    let saved = store
        .save_search("Kettles", "q=kettle", 2, 1)
        .await
        .unwrap();
    assert_eq!(
        store.saved_searches().await.unwrap(),
        std::slice::from_ref(&saved)
    );
    let twice = store
        .save_search("Kettles", "q=rope", 2, 2)
        .await
        .unwrap_err();
    assert!(matches!(twice, StoreError::Exists { .. }), "{twice}");
    let full = store
        .save_search("Ropes", "q=rope", 1, 2)
        .await
        .unwrap_err();
    assert!(matches!(full, StoreError::Unfit { .. }), "{full}");
    store.forget_search("Kettles").await.unwrap();
    assert!(store.forget_search(&saved.id).await.is_err());
    store.remove_event(event).await.unwrap();
    assert!(store.remove_event(event).await.is_err());
    let filter = Filter {
        part: None,
        ..filter
    };
    assert!(matching(store, "", &filter).await.is_empty());
}

#[tokio::test]
async fn filters_leave_what_they_name() {
    let (desk, ids) = heard(&["he rang the bell twice", "the bell is old"]).await;
    let store = &desk.store;
    let all = Filter::default();
    assert_eq!(matching(store, "bell", &all).await, ids);
    let row = &store.recordings(&desk.event).await.unwrap()[0];
    for (what, filter, found) in [
        (
            "its event",
            Filter {
                events: Some(vec![desk.event.clone()]),
                ..all.clone()
            },
            2,
        ),
        (
            "another",
            Filter {
                events: Some(vec!["e".into()]),
                ..all.clone()
            },
            0,
        ),
        (
            "none",
            Filter {
                events: Some(Vec::new()),
                ..all.clone()
            },
            0,
        ),
        (
            "its source",
            Filter {
                sources: Some(vec![row.source_id.clone()]),
                ..all.clone()
            },
            2,
        ),
        (
            "nobody",
            Filter {
                people: Some(vec!["p".into()]),
                ..all.clone()
            },
            0,
        ),
        (
            "worn",
            Filter {
                placements: Some(vec!["feed".into()]),
                ..all.clone()
            },
            0,
        ),
        (
            "a language",
            Filter {
                languages: Some(vec!["de".into()]),
                ..all.clone()
            },
            0,
        ),
    ] {
        assert_eq!(
            matching(store, "bell", &filter).await.len(),
            found,
            "{what}"
        );
    }
    // Without words, everything that is left.
    let filter = Filter {
        events: Some(vec![desk.event.clone()]),
        ..all.clone()
    };
    assert_eq!(matching(store, "", &filter).await, ids);
    assert!(matching(store, "", &all).await.is_empty());
    // By part, as the middle of a moment lies.
    let part = PartRow {
        name: "letters".into(),
        start_ms: 0,
        end_ms: 4_000,
        required: false,
    };
    store.set_parts(&desk.event, &[part]).await.unwrap();
    let filter = Filter {
        part: Some("letters".into()),
        ..all.clone()
    };
    assert_eq!(matching(store, "bell", &filter).await, ids[..1]);
    // By person, as soon as one is told.
    let person = store.add_person(&desk.event, "Maro", None).await.unwrap();
    sqlx::query("UPDATE moment SET person_id = ?1 WHERE id = ?2")
        .bind(&person.id)
        .bind(&ids[1])
        .execute(&store.write)
        .await
        .unwrap();
    let filter = Filter {
        people: Some(vec![person.id]),
        ..all
    };
    assert_eq!(matching(store, "bell", &filter).await, ids[1..]);
    assert_eq!(store.check_index(&desk.event).await.unwrap().wrong, []);
}

#[tokio::test]
async fn an_index_that_is_not_as_the_words_is_told_and_made_again() {
    let (desk, ids) = heard(&["he rang the bell twice", "the bell is old"]).await;
    let store = &desk.store;
    for (damage, wrong) in [
        ("DELETE FROM said WHERE no = 1", 1),
        ("UPDATE said SET facts = 'e' WHERE no = 2", 1),
        ("UPDATE word SET text = 'rope' WHERE text = 'bell'", 2),
    ] {
        sqlx::query(damage).execute(&store.write).await.unwrap();
        let check = store.check_index(&desk.event).await.unwrap();
        assert_eq!(check.wrong.len(), wrong, "{damage}");
        store.rebuild_index(&desk.event).await.unwrap();
        assert_eq!(
            store.check_index(&desk.event).await.unwrap().wrong,
            [],
            "{damage}"
        );
    }
    assert_eq!(holding(store, "rope", None).await, ids);
    // The full-text index itself.
    sqlx::query("DELETE FROM said_fts_data WHERE id > 10")
        .execute(&store.write)
        .await
        .unwrap();
    assert!(store.check_index(&desk.event).await.is_err());
}

#[tokio::test]
async fn words_are_known_as_they_come_and_go() {
    let (desk, ids) = heard(&["he rang the bell twice", "the bell is old"]).await;
    let store = &desk.store;
    let near = async |query: &str| matching(store, query, &Filter::default()).await;
    assert_eq!(near("old bel").await, ids);
    // A correction counts at once, also for what sounds like it.
    fix(store, &ids[0], written("he rang for Ottilie"))
        .await
        .unwrap();
    assert_eq!(near("otterly").await, ids[..1]);
    let terms: Vec<(String, i64)> = sqlx::query_as("SELECT text, moments FROM term ORDER BY text")
        .fetch_all(&store.write)
        .await
        .unwrap();
    let terms: Vec<(&str, i64)> = terms.iter().map(|(text, n)| (text.as_str(), *n)).collect();
    // What the model heard before stays as what was heard otherwise.
    for term in [("bell", 2), ("ottilie", 1), ("old", 1), ("twice", 1)] {
        assert!(terms.contains(&term), "{term:?} {terms:?}");
    }
    // Nothing of an event stays when it goes.
    store.remove_event(&desk.event).await.unwrap();
    let left: (i64, i64, i64) = sqlx::query_as(
        "SELECT (SELECT count(*) FROM term), (SELECT count(*) FROM said),
            (SELECT count(*) FROM said_fts WHERE said_fts MATCH 'bell OR ottilie OR old')",
    )
    .fetch_one(&store.write)
    .await
    .unwrap();
    assert_eq!(left, (0, 0, 0));
    assert!(near("bell").await.is_empty());
    assert_eq!(store.suggestions("b", None, 9).await.unwrap(), []);
}
