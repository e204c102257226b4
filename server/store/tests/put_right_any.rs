//! Whatever people do in whatever order: what holds of it, and that it can be taken
//! back.

use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};

use super::going_on::Desk;
use super::put_right::{all, fix, heard, row, written};
use super::*;

/// Something to do: with which moment, what, and three numbers to do it with.
type Any = (prop::sample::Index, u8, i64, i64, Vec<String>);

fn anything() -> impl Strategy<Value = Any> {
    let word = "[a-c]{1,3}[.,-]?|[—Éé]";
    (
        any::<prop::sample::Index>(),
        0..6_u8,
        -200..1_200_i64,
        -200..1_200_i64,
        prop::collection::vec(word, 0..7),
    )
}

async fn ids(desk: &Desk) -> Vec<MomentId> {
    let rows = desk.store.moments(&desk.event, None, None, 100, 0).await;
    rows.unwrap().into_iter().map(|row| row.id).collect()
}

/// Share, in thousandths, of where a moment lies in the file of its words.
fn within(hearing: &HearingRow, share: i64) -> i64 {
    hearing.start_ms + (hearing.end_ms - hearing.start_ms) * share / 1_000
}

/// Does it, if it makes sense; the moment and the version to go back to.
async fn done(desk: &Desk, any: &Any) -> Option<(MomentId, i64)> {
    let (which, what, a, b, texts) = any;
    let store = &desk.store;
    let ids = ids(desk).await;
    let moment = &ids[which.index(ids.len())];
    let now = row(store, moment).await;
    let hearings = store
        .hearings_of(std::slice::from_ref(moment))
        .await
        .unwrap();
    let own = hearings
        .iter()
        .find(|h| Some(&h.recording_id) == now.words_from.as_ref());
    let own = own.unwrap();
    let count = store
        .words_of(std::slice::from_ref(moment))
        .await
        .unwrap()
        .len();
    let change = match what {
        0 | 1 => written(&texts.join(" ")),
        2 => Fix::Split(Cut::At(within(own, *a))),
        3 => Fix::Split(Cut::Word(texts.len())),
        4 => {
            let word = WordTimes {
                n: texts.len(),
                start_ms: within(own, (*a).min(*b)),
                end_ms: within(own, (*a).max(*b)),
            };
            Fix::Times {
                start_ms: (a % 3 == 0).then(|| within(own, *a)),
                end_ms: (b % 3 == 0).then(|| within(own, *b)),
                words: if word.n < count && a % 2 == 0 {
                    vec![word]
                } else {
                    Vec::new()
                },
            }
        }
        _ => {
            let with = ids[(which.index(ids.len()) + 1) % ids.len()].clone();
            let version = row(store, &with).await.version;
            Fix::Join { with, version }
        }
    };
    match fix(store, moment, change).await {
        Ok(left) => {
            assert_eq!(left[0], *moment);
            let changed = row(store, moment).await.version > now.version;
            changed.then(|| (moment.clone(), now.version))
        }
        Err(StoreError::Unfit { .. }) => {
            assert_eq!(
                row(store, moment).await,
                now,
                "what is refused changes nothing"
            );
            None
        }
        Err(error) => panic!("{error}"),
    }
}

async fn whole(desk: &Desk) {
    let store = &desk.store;
    let mut texts = 0;
    for (moment, words, hearings) in all(store, &desk.event).await {
        let own = hearings
            .iter()
            .find(|h| Some(&h.recording_id) == moment.words_from.as_ref());
        let own = own.unwrap();
        let mut at = own.start_ms;
        for word in &words {
            assert!(
                at <= word.start_ms && word.start_ms < word.end_ms,
                "{words:?}"
            );
            at = word.end_ms;
        }
        assert!(at <= own.end_ms, "{words:?} in {own:?}");
        let shown: Vec<&str> = words.iter().map(|word| word.text.as_str()).collect();
        assert_eq!(moment.text.as_deref(), Some(shown.join(" ").as_str()));
        // Both recorders, where the clock says: the second 500 ms later, 100 ppm fast.
        assert_eq!(hearings.len(), 2);
        for hearing in &hearings {
            let late = if hearing.recording_id == *desk.id(1) {
                500
            } else {
                0
            };
            let off = (hearing.start_ms - late - moment.start_ms).abs();
            assert!(
                off <= 2 && hearing.start_ms < hearing.end_ms,
                "{hearing:?} {moment:?}"
            );
        }
        texts += usize::from(!shown.is_empty());
    }
    let index = store.check_index(&desk.event).await.unwrap();
    assert_eq!((index.moments, index.wrong), (texts, Vec::new()));
}

#[test]
fn words_stay_in_order_and_everything_can_be_taken_back() {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let texts = ["he rang the bell twice", "the tide is out"];
    let (desk, _) = runtime.block_on(heard(&texts));
    let before = runtime.block_on(all(&desk.store, &desk.event));
    // One data folder for all: what is taken back is as it was.
    let config = Config {
        cases: 48,
        failure_persistence: None,
        ..Config::default()
    };
    let mut runner = TestRunner::new(config);
    let did = std::cell::Cell::new(0);
    runner
        .run(&prop::collection::vec(anything(), 1..10), |deeds| {
            runtime.block_on(async {
                let mut back = Vec::new();
                for deed in &deeds {
                    if let Some(change) = done(&desk, deed).await {
                        back.push(change);
                        whole(&desk).await;
                    }
                }
                did.set(did.get() + back.len());
                for (moment, to) in back.into_iter().rev() {
                    let now = row(&desk.store, &moment).await.version;
                    // Undoing is a change too: what is to be undone is the newest that
                    // left this version.
                    let changes = desk.store.changes(&moment, 100, 0).await.unwrap();
                    assert!(changes.iter().any(|change| change.version > to), "{now}");
                    fix(&desk.store, &moment, Fix::Undo { to }).await.unwrap();
                    whole(&desk).await;
                }
                assert_eq!(all(&desk.store, &desk.event).await, before);
            });
            Ok(())
        })
        .unwrap();
    assert!(did.get() > 48, "{} changes", did.get());
}
