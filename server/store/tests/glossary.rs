//! Names and languages of an event.

use super::going_on::Desk;
use super::story::NOW;
use super::words::{first, grouped, hearing, moment};
use super::*;

/// Gives an event with words its names and languages.
pub(super) async fn given(store: &Store, event: &EventId, moments: &[MomentId]) {
    assert!(store.glossary(event).await.unwrap().is_empty());
    assert!(store.languages(event).await.unwrap().is_empty());
    let names = ["Ottilie".to_owned(), "Tarrow \"Landing\"".to_owned()];
    let before = store.words_of(moments).await.unwrap();
    assert!(!before.is_empty());

    // The names decide what stands there; what was heard is what it is made of.
    let loud = |id: &MomentId, attempts: &[AttemptRow]| {
        let mut made = first(id, attempts);
        for word in &mut made.words {
            let heard = std::mem::replace(&mut word.text, "Ottilie".into());
            word.heard = Some(heard);
            word.language = Some("en".into());
        }
        made
    };
    store.set_glossary(event, &names, &loud).await.unwrap();
    assert_eq!(store.glossary(event).await.unwrap(), names);
    let now = store.words_of(moments).await.unwrap();
    assert!(now.iter().all(|word| word.text == "Ottilie"));
    let heard: Vec<_> = now.iter().map(|word| word.heard.clone().unwrap()).collect();
    let texts: Vec<_> = before.iter().map(|word| word.text.clone()).collect();
    assert_eq!(heard, texts);
    let rows = store.moments_by_ids(moments).await.unwrap();
    assert_eq!(rows[0].language.as_deref(), Some("en"));

    store.reword(moments, &first).await.unwrap();
    assert_eq!(store.words_of(moments).await.unwrap(), before);
    store
        .set_languages(event, &["en".into(), "de".into()])
        .await
        .unwrap();
    assert_eq!(store.languages(event).await.unwrap(), ["en", "de"]);
    let row = store.event(event).await.unwrap();
    assert_eq!((row.names, row.languages.0.len()), (2, 2));

    // What comes after is of an event without names.
    store.set_glossary(event, &[], &first).await.unwrap();

    let nobody = EventId::from("nobody");
    assert!(matches!(
        store.glossary(&nobody).await,
        Err(StoreError::Unknown { .. })
    ));
}

#[tokio::test]
async fn names_that_come_while_moments_are_found_have_them_found_once_more() {
    let desk = Desk::of(1).await;
    let store = &desk.store;
    desk.align().await;
    let found = [moment(&[hearing(desk.id(0), 0, 1_000)])];
    let group = desk.claim(JobKind::Group).await;
    let names = ["Ottilie".to_owned()];
    store
        .set_glossary(&desk.event, &names, &first)
        .await
        .unwrap();
    let of_before = grouped(&desk.event, &found);
    let done = store.finish_group(&group.lease(), &of_before, NOW).await;
    done.unwrap();
    let moments = || store.moments(&desk.event, None, None, 100, 0);
    assert!(moments().await.unwrap().is_empty());

    let group = desk.claim(JobKind::Group).await;
    let of_now = Grouped {
        names: &names,
        ..of_before
    };
    let done = store.finish_group(&group.lease(), &of_now, NOW).await;
    done.unwrap();
    assert_eq!(moments().await.unwrap().len(), 1);
}
