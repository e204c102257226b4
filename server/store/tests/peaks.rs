//! What recordings look like, and an event as a whole.

use sayback_core::signal::peaks::{BIN_BYTES, LEVELS, PeakMaker, TILE_BINS, bins_at, level_for};

use super::super::peaks::Drawing;
use super::going_on::Desk;
use super::older::{earlier, is_whole};
use super::story::NOW;
use super::words::{hearing, moment};
use super::*;

/// A minute and a bit: two tiles of the finest level.
fn wave(level: f32) -> Peaks {
    let mut maker = PeakMaker::new(1, 1_000).unwrap();
    maker.push(&vec![level; 61_005]);
    maker.finish(&[])
}

async fn drawn(store: &Store, event: &EventId, most: u64) -> Vec<DrawnRow> {
    store
        .peaks_of_event(event, move |bins| level_for(bins, most))
        .await
        .unwrap()
}

/// Draws a recording of the event, asks for it in every way, and outlines the event.
pub(super) async fn drawn_and_outlined(store: &Store, event: &EventId) {
    let id = &store.recordings(event).await.unwrap()[0].id;
    for peaks in [wave(0.25), wave(-0.25)] {
        let mut transaction = store.begin().await.unwrap();
        let drawing = Drawing::of(&peaks);
        store.draw(&mut transaction, id, drawing).await.unwrap();
        transaction.commit().await.unwrap();
        assert_eq!(store.peak_bins(id).await.unwrap(), Some(6_101));
        let mut tiles = 0;
        for tile in peaks.tiles() {
            let kept = store.peak_tile(id, tile.level, tile.number).await.unwrap();
            assert_eq!(kept, Some(tile.body));
            tiles += 1;
        }
        let all: i64 = sqlx::query_scalar("SELECT count(*) FROM peaks")
            .fetch_one(&store.read)
            .await
            .unwrap();
        assert_eq!((tiles, all), (7, 7), "in place of those before");
        for (most, level) in [(16_384, 0), (6_101, 0), (6_100, 1), (2, 5)] {
            let own: Vec<u8> = peaks
                .tiles()
                .filter(|tile| tile.level == level)
                .flat_map(|tile| tile.body)
                .collect();
            let row = DrawnRow {
                recording_id: id.clone(),
                level,
                body: own,
            };
            assert_eq!(drawn(store, event, most).await, [row]);
        }
    }
    assert_eq!(store.peak_tile(id, 0, 2).await.unwrap(), None);
    assert_eq!(store.peak_tile(id, LEVELS, 0).await.unwrap(), None);
    assert_eq!(store.peak_bins(&"nobody".into()).await.unwrap(), None);
    assert_eq!(drawn(store, &"nobody".into(), 1).await, []);
    let outline = store.outline(event).await.unwrap();
    assert_eq!(outline.recordings[0].0, *id);
    assert_eq!(
        store.outline(&"nobody".into()).await.unwrap(),
        OutlineRow::default()
    );
}

#[tokio::test]
async fn recordings_are_drawn_in_the_order_they_are_told_in() {
    let desk = Desk::of(2).await;
    for (n, level) in [(0, 0.25), (1, -1.0)] {
        let mut transaction = desk.store.begin().await.unwrap();
        let drawing = Drawing::of(&wave(level));
        let own = desk.store.draw(&mut transaction, desk.id(n), drawing);
        own.await.unwrap();
        transaction.commit().await.unwrap();
    }
    let rows = drawn(&desk.store, &desk.event, 16_384).await;
    let mut ids = [desk.id(0), desk.id(1)];
    ids.sort();
    assert_eq!([&rows[0].recording_id, &rows[1].recording_id], ids);
    for row in rows {
        let byte = if row.recording_id == *desk.id(0) {
            64
        } else {
            -127_i8 as u8
        };
        assert_eq!(row.body.len(), bins_at(0, 6_101) as usize * BIN_BYTES);
        assert!(row.body.len() > TILE_BINS * BIN_BYTES);
        assert!(row.body.chunks(3).all(|bin| bin == [byte, byte, 0]));
    }
}

#[tokio::test]
async fn an_outline_has_every_moment_with_those_who_heard_it() {
    let desk = Desk::of(2).await;
    let [a, b] = [0, 1].map(|n| desk.id(n).clone());
    let second = moment(&[hearing(&b, 2_000, 3_000), hearing(&a, 2_010, 3_010)]);
    let mut unheard = moment(&[hearing(&a, 5_000, 6_000), hearing(&b, 5_000, 6_000)]);
    unheard.hearings[1].heard = false;
    let found = [second, unheard, moment(&[hearing(&a, 0, 1_000)])];
    desk.align().await;
    let ids = desk.group(&found).await;
    let outline = desk.store.outline(&desk.event).await.unwrap();
    let rows = desk.store.recordings(&desk.event).await.unwrap();
    let mut recordings: Vec<_> = rows.into_iter().map(|r| (r.id, r.source_id)).collect();
    recordings.sort();
    assert_eq!(
        (&outline.people, &outline.recordings),
        (&vec![], &recordings)
    );
    let told: Vec<_> = outline.moments.iter().map(|m| m.id.clone()).collect();
    assert_eq!(told, ids, "in order of time");
    let heard: Vec<Vec<_>> = outline
        .moments
        .iter()
        .map(|m| {
            m.hearings
                .iter()
                .map(|h| (&h.recording, h.rank, h.heard))
                .collect()
        })
        .collect();
    assert_eq!(heard[0], [(&a, 1, 1)]);
    assert_eq!(heard[1], [(&b, 1, 1), (&a, 2, 1)]);
    assert_eq!(heard[2], [(&a, 1, 1)], "who did not hear it is left out");
    assert!(
        outline
            .moments
            .iter()
            .all(|m| m.begins.is_none() && m.certainty.is_none())
    );

    desk.store.put_first(&a).await.unwrap();
    desk.listen().await;
    let person = desk.store.add_person(&desk.event, "Maro", None).await;
    let person = person.unwrap().id;
    sqlx::query("UPDATE moment SET person_id = ?1, certainty = 0.875, island = id = ?2")
        .bind(&person)
        .bind(&ids[2])
        .execute(&desk.store.write)
        .await
        .unwrap();
    let outline = desk.store.outline(&desk.event).await.unwrap();
    assert_eq!(outline.people, [(person.clone(), "Maro".to_owned())]);
    assert_eq!(outline.moments.len(), 2, "only those of the event clock");
    let first = &outline.moments[0];
    assert_eq!(
        (first.person.as_ref(), first.certainty),
        (Some(&person), Some(0.875))
    );
    assert_eq!(first.begins.as_deref(), Some("S"));
}

#[tokio::test]
async fn nothing_of_other_events_is_walked() {
    let (_folder, store) = store().await;
    for name in [
        "OUTLINE",
        "PEAK_BINS",
        "PEAK_BODY",
        "PEAK_BINS_OF_EVENT",
        "PEAK_TILES",
        "FORGET_PEAKS",
    ] {
        let all = all_statements();
        let statement = all.iter().find(|s| s.name == name).unwrap();
        let explain = format!("EXPLAIN QUERY PLAN {}", statement.sql);
        let plan: Vec<(i64, i64, i64, String)> = sqlx::query_as(sqlx::AssertSqlSafe(explain))
            .fetch_all(&store.write)
            .await
            .unwrap();
        let steps: Vec<&String> = plan.iter().map(|(.., step)| step).collect();
        let found = steps.iter().filter(|step| step.starts_with("SEARCH"));
        assert!(found.count() > 0, "{name}: {steps:?}");
        let walked = |step: &&&String| {
            step.starts_with("SCAN ")
                && !step.starts_with("SCAN i VIRTUAL TABLE")
                && !step.starts_with("SCAN CONSTANT ROW")
        };
        assert_eq!(steps.iter().find(walked), None, "{name}: {steps:?}");
    }
}

/// A recording that was listened through before there were peaks, with its levels known.
const CONTENT: &str = "
    INSERT INTO event (id, title, date, frame_rate, created_at_ms)
        VALUES ('e', 'The landing', NULL, '25', 1);
    INSERT INTO source VALUES ('s', 'e', 'lav', 'worn', NULL, 0);
    INSERT INTO file VALUES (hex(zeroblob(32)), CAST('/cards/a.wav' AS BLOB), 'a.wav', 1, 5, 'wav',
        'pcm', 'audio/wav', 48000, 2, 16, 480000, 10000, '[]');
    INSERT INTO recording (id, event_id, source_id, file_hash, pick, channels_why, segment_count)
        VALUES ('r1', 'e', 's', hex(zeroblob(32)), '1', '', 0);
    INSERT INTO track (recording_id, body, quality) VALUES ('r1', x'00', x'00');
    INSERT INTO job (kind, subject, event_id, state, audio_ms, progress)
        VALUES ('detect', 'r1', 'e', 'done', 10000, 1);
";

#[tokio::test]
async fn what_was_listened_through_before_there_were_peaks_is_listened_through_again() {
    let folder = tempfile::tempdir().unwrap();
    earlier(folder.path(), 14, CONTENT).await;
    let store = Store::open(folder.path()).await.unwrap();
    is_whole(&mut store.write.acquire().await.unwrap()).await;
    let id = RecordingId::from("r1");
    assert_eq!(store.peak_bins(&id).await.unwrap(), None);
    let old = store.unmeasured().await.unwrap();
    assert_eq!(old.iter().map(|one| &one.id).collect::<Vec<_>>(), [&id]);
    store.measure_again(&old).await.unwrap();
    let owner = "w1";
    let claim = super::story::claim(&store, Lane::Light, owner).await;
    assert_eq!(
        (claim.kind, claim.subject.as_str()),
        (JobKind::Detect, "r1")
    );
    let recording = store.recording(&id).await.unwrap();
    let peaks = wave(0.5);
    let detected = Detected {
        recording: &recording,
        segments: &[],
        track: &[1],
        quality: &[1],
        peaks: &peaks,
        warnings: &[],
    };
    let done = store.finish_detect(&claim.lease(), &detected, NOW).await;
    done.unwrap();
    assert_eq!(store.unmeasured().await.unwrap(), []);
    assert_eq!(store.peak_bins(&id).await.unwrap(), Some(peaks.bins()));
    // It goes with its recording.
    sqlx::raw_sql("DELETE FROM recording")
        .execute(&store.write)
        .await
        .unwrap();
    let left: i64 =
        sqlx::query_scalar("SELECT (SELECT count(*) FROM peaks) + (SELECT count(*) FROM waveform)")
            .fetch_one(&store.write)
            .await
            .unwrap();
    assert_eq!(left, 0);
}

#[tokio::test]
async fn a_recording_without_a_sample_is_known_to_have_none() {
    let desk = Desk::of(1).await;
    assert_eq!(desk.store.peak_bins(desk.id(0)).await.unwrap(), Some(0));
    assert_eq!(desk.store.unmeasured().await.unwrap(), []);
    let rows = drawn(&desk.store, &desk.event, 100).await;
    assert_eq!((rows.len(), rows[0].level, rows[0].body.len()), (1, 0, 0));
}
