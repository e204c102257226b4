//! The written texts of an event.

use super::story::NOW;
use super::*;

/// Keeps a text, changes it, marks a part by it, takes it away.
pub(super) async fn kept(store: &Store, event: &EventId) {
    assert_eq!(store.scripts(event).await.unwrap(), []);
    let letter = NewScript {
        title: " Letter ",
        text: "Dear Corin,",
        part: None,
    };
    let row = store.add_script(event, letter, 1, NOW).await.unwrap();
    assert_eq!(
        (row.title.as_str(), row.version, row.created_at_ms),
        ("Letter", 1, NOW)
    );
    assert_eq!(
        store.scripts(event).await.unwrap(),
        std::slice::from_ref(&row)
    );
    let full = store.add_script(event, letter, 1, NOW).await.unwrap_err();
    assert!(full.to_string().contains("at most 1"), "{full}");

    let other = NewScript {
        text: "Dear Ottilie,",
        part: Some("letters"),
        ..letter
    };
    let changed = store.change_script(&row.id, 1, other).await.unwrap();
    let changed = changed.expect("nobody was quicker");
    assert_eq!(
        (changed.text.as_str(), changed.version),
        ("Dear Ottilie,", 2)
    );
    assert_eq!(store.change_script(&row.id, 1, letter).await.unwrap(), None);
    assert_eq!(store.script(&row.id).await.unwrap(), changed);

    let long = "x".repeat(200_001);
    for (wrong, says) in [
        (
            NewScript {
                title: " ",
                ..letter
            },
            "script title is blank",
        ),
        (
            NewScript {
                text: &long,
                ..letter
            },
            "script text is too long",
        ),
    ] {
        let refused = store.add_script(event, wrong, 9, NOW).await.unwrap_err();
        assert_eq!(refused.to_string(), says);
    }

    let part = |start_ms, end_ms| PartRow {
        name: "the letter".into(),
        start_ms,
        end_ms,
        required: false,
    };
    store.mark_part(&row.id, &part(5, 50)).await.unwrap();
    store.mark_part(&row.id, &part(7, 70)).await.unwrap();
    assert_eq!(store.parts(event).await.unwrap(), [part(7, 70)]);
    let marked = store.script(&row.id).await.unwrap();
    assert_eq!(
        (marked.part.as_deref(), marked.version),
        (Some("the letter"), 4)
    );
    let empty = store.mark_part(&row.id, &part(9, 9)).await.unwrap_err();
    assert_eq!(empty.to_string(), "part is empty");
    store.set_parts(event, &[]).await.unwrap();

    assert_eq!(store.delete_script(&row.id).await.unwrap(), *event);
    let gone = format!("there is no script '{}'", row.id);
    for error in [
        store.script(&row.id).await.unwrap_err(),
        store.delete_script(&row.id).await.unwrap_err(),
        store.mark_part(&row.id, &part(1, 2)).await.unwrap_err(),
        store.change_script(&row.id, 4, letter).await.unwrap_err(),
    ] {
        assert_eq!(error.to_string(), gone);
    }
    let nobody = EventId::from("nobody");
    let error = store.add_script(&nobody, letter, 9, NOW).await.unwrap_err();
    assert_eq!(error.to_string(), "there is no event 'nobody'");
}

#[tokio::test]
async fn texts_go_with_their_event() {
    let (_folder, store) = store().await;
    let new = NewEvent {
        title: "Landing".into(),
        ..NewEvent::default()
    };
    let event = store.create_event(new, NOW).await.unwrap().id;
    let letter = NewScript {
        title: "Letter",
        text: "Dear Corin,",
        part: None,
    };
    let id = store.add_script(&event, letter, 9, NOW).await.unwrap().id;
    sqlx::query("DELETE FROM event WHERE id = ?1")
        .bind(&event)
        .execute(&store.write)
        .await
        .unwrap();
    assert!(matches!(
        store.script(&id).await,
        Err(StoreError::Unknown { .. })
    ));
}
