//! The parts of an event, and what is not known yet of who heard what.

use super::going_on::Desk;
use super::*;

fn part(name: &str, start_ms: i64, end_ms: i64, required: bool) -> PartRow {
    PartRow {
        name: name.into(),
        start_ms,
        end_ms,
        required,
    }
}

/// Gives an event its parts, takes them away again, and says what is open.
pub(super) async fn given(store: &Store, event: &EventId) {
    assert_eq!(store.parts(event).await.unwrap(), []);
    let parts = [
        part("letters", -500, 60_000, true),
        part("party", 0, 1, false),
    ];
    store.set_parts(event, &parts).await.unwrap();
    assert_eq!(store.parts(event).await.unwrap(), parts);
    // What breaks a rule changes nothing.
    for (wrong, says) in [
        (part(" ", 0, 1, true), "part name is blank"),
        (part("vows", 5, 5, true), "part is empty"),
    ] {
        let refused = store.set_parts(event, &[wrong]).await.unwrap_err();
        assert_eq!(refused.to_string(), says);
    }
    let twice = [part("vows", 0, 1, true), part("vows", 2, 3, true)];
    assert!(matches!(
        store.set_parts(event, &twice).await.unwrap_err(),
        StoreError::Exists { .. }
    ));
    assert_eq!(store.parts(event).await.unwrap(), parts);
    let nobody = EventId::from("nobody");
    assert_eq!(
        store
            .set_parts(&nobody, &parts)
            .await
            .unwrap_err()
            .to_string(),
        "there is no event 'nobody'"
    );
    store.set_parts(event, &[]).await.unwrap();
    assert_eq!(store.parts(event).await.unwrap(), []);
    store.unsettled(event).await.unwrap();
    super::scripts::kept(store, event).await;
    super::peaks::drawn_and_outlined(store, event).await;
}

#[tokio::test]
async fn what_waits_or_failed_is_not_settled() {
    let desk = Desk::of(2).await;
    let open = async || desk.store.unsettled(&desk.event).await.unwrap();
    let align = Unsettled { open: 1, failed: 0 };
    assert_eq!(open().await, align, "the clock waits to be solved");
    desk.align().await;
    assert_eq!(open().await, align, "moments wait to be found");
}

#[tokio::test]
async fn what_an_earlier_version_measured_is_measured_again() {
    let desk = Desk::of(2).await;
    assert_eq!(desk.store.unmeasured().await.unwrap(), []);
    sqlx::raw_sql("UPDATE track SET quality = NULL")
        .execute(&desk.store.write)
        .await
        .unwrap();
    let old = desk.store.unmeasured().await.unwrap();
    let ids: Vec<&RecordingId> = old.iter().map(|one| &one.id).collect();
    let mut all = [desk.id(0), desk.id(1)];
    all.sort();
    assert_eq!(ids, all);
    assert!(old[0].path.ends_with("a.wav") || old[0].path.ends_with("b.wav"));
    desk.store.measure_again(&old[..1]).await.unwrap();
    // It is on its way; the other is not.
    assert_eq!(desk.store.unmeasured().await.unwrap(), old[1..]);
    let detect = desk.claim(JobKind::Detect).await;
    assert_eq!(detect.subject, old[0].id.as_str());
}
