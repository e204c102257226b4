//! What the moments of an event mean: kept, found, and gone with their words.

use sayback_core::meaning::Meaning;

use super::story::{NOW, claim};
use super::*;

fn pointing(no: i64, numbers: &[f32]) -> NewMeaning {
    NewMeaning {
        no,
        fingerprint: vec![7; 16],
        vector: Meaning::towards(numbers).to_bytes(),
    }
}

async fn near(store: &Store, event: Option<&EventId>) -> Vec<MeantRow> {
    let question = Meaning::towards(&[1.0, 0.1]).to_question();
    store.nearest(&question, event, 5).await.unwrap()
}

/// The job that finds it, done.
async fn find(store: &Store) {
    let job = claim(store, Lane::Light, "n").await;
    assert_eq!(job.kind, JobKind::Meaning);
    store.finish_meaning(&job.lease(), NOW).await.unwrap();
}

/// Of an event with a moment that has words and nothing left to do, in a store where
/// nobody looks for meaning.
pub(super) async fn kept_found_and_gone(store: &Store, event: &EventId) {
    let nothing = store.claim(Lane::Light, "n", NOW, 1).await.unwrap();
    assert!(nothing.is_none());
    assert!(!store.look_for_meaning(false).await.unwrap());
    // What was said before is looked at once, in every event.
    assert!(store.look_for_meaning(true).await.unwrap());
    assert!(!store.look_for_meaning(true).await.unwrap());
    while store.to_do().await.unwrap().light {
        find(store).await;
    }

    let said = store.to_be_meant(event).await.unwrap();
    let row = &said[0];
    assert!(!row.text.is_empty() && row.fingerprint.is_none());
    assert_eq!(near(store, None).await, []);
    let gone = pointing(1 << 40, &[1.0]);
    let kept = [pointing(row.no, &[0.0, 1.0]), gone];
    store.keep_meaning(event, &kept).await.unwrap();
    store
        .keep_meaning(event, &[pointing(row.no, &[1.0])])
        .await
        .unwrap();
    assert_eq!(
        store.to_be_meant(event).await.unwrap()[0]
            .fingerprint
            .as_deref(),
        Some(&[7; 16][..])
    );
    let found = near(store, Some(event)).await;
    assert_eq!(found.len(), 1);
    assert!(
        found[0].likeness > 0.99 && found[0].event == *event,
        "{found:?}"
    );
    assert_eq!(near(store, None).await, found);
    assert_eq!(near(store, Some(&EventId::from("other"))).await, []);

    // Other words mean something else: at once, and it is found anew behind who speaks.
    let change = "UPDATE moment SET text = text || ' indeed' WHERE no = ?1";
    sqlx::query(change)
        .bind(row.no)
        .execute(&store.write)
        .await
        .unwrap();
    assert_eq!(near(store, None).await, []);
    store.find_speakers(event).await.unwrap();
    let voices = claim(store, Lane::Light, "v").await;
    assert_eq!(voices.kind, JobKind::Voices);
    let spoken = Spoken {
        seen: store.speech_seen(event).await.unwrap(),
        ..Spoken::default()
    };
    let lease = voices.lease();
    store
        .finish_voices(&lease, event, &spoken, NOW)
        .await
        .unwrap();
    find(store).await;

    // It goes with the moment.
    store
        .keep_meaning(event, &[pointing(row.no, &[1.0])])
        .await
        .unwrap();
    let count = "SELECT count(*) FROM meaning";
    assert_eq!(counted(store, count).await, 1);
    let gone = "DELETE FROM moment WHERE no = ?1";
    sqlx::query(gone)
        .bind(row.no)
        .execute(&store.write)
        .await
        .unwrap();
    assert_eq!(counted(store, count).await, 0);

    // Without a model nothing is queued.
    assert!(!store.look_for_meaning(false).await.unwrap());
    store.find_speakers(event).await.unwrap();
    let lease = claim(store, Lane::Light, "v").await.lease();
    let spoken = Spoken {
        seen: store.speech_seen(event).await.unwrap(),
        ..Spoken::default()
    };
    store
        .finish_voices(&lease, event, &spoken, NOW)
        .await
        .unwrap();
}

async fn counted(store: &Store, sql: &'static str) -> i64 {
    sqlx::query_scalar(sql)
        .fetch_one(&store.read)
        .await
        .unwrap()
}
