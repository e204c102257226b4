//! Files as they come: twice, moved, broken, oddly named, many, out of bounds.

use std::path::Path;
use std::sync::atomic::Ordering;
use std::time::Instant;

use sayback::jobs::{Idle, Roots};
use sayback::media::ChannelChoice;
use sayback::store::{IntakeState, RecordingState};

use super::desk::{Desk, Ears, add};
use crate::media::{ffmpeg, make};

#[tokio::test]
async fn a_file_goes_all_the_way() {
    let desk = Desk::new(Ears::default()).await;
    let line = desk.line("letter-corin-1", "REC_0001.flac");
    let report = desk.add_and_wait(&[&line]).await;
    assert_eq!(
        (
            report.accepted.len(),
            report.already.len(),
            report.refused.len()
        ),
        (1, 0, 0)
    );

    let recordings = desk.store().recordings(&desk.event.id).await.unwrap();
    let [recording] = recordings.as_slice() else {
        panic!("{recordings:?}")
    };
    assert_eq!(recording.state, RecordingState::Ready);
    assert_eq!(
        (recording.take_order, recording.take_of),
        (Some(1), Some(1))
    );
    assert_eq!(
        (recording.rate_hz, recording.pick.as_str()),
        (16_000, "mix")
    );
    assert!(recording.speech_ms.unwrap() > 1_000, "{recording:?}");
    assert_eq!(recording.model.as_deref(), Some("ears"));

    let heard = desk.store().moments_of(&recording.id).await.unwrap();
    let word = &heard[0].words[0];
    let found = crate::app::saying(desk.store(), &word.text, None).await;
    assert_eq!(found[0], heard[0].moment.id);
    assert!(heard.iter().all(|heard| heard.moment.text.is_some()));

    let status = desk.engine.status(Some(&desk.event.id)).await.unwrap();
    assert_eq!(status.row.audio_ms_done, status.row.audio_ms_total);
    // Probe, detect, align, group, transcribe, voices.
    assert_eq!((status.row.jobs.done, status.time_left_ms), (6, Some(0)));
}

#[tokio::test]
async fn the_same_file_twice_changes_nothing() {
    let desk = Desk::new(Ears::default()).await;
    let line = desk.line("letter-corin-1", "a/REC_0001.flac");
    desk.add_and_wait(&[&line]).await;
    let before = desk.store().recordings(&desk.event.id).await.unwrap();

    let again = desk.add_and_wait(&[&line]).await;
    assert_eq!(again.already[0].recording, before[0].id);

    // The same sound under another name is known once it was hashed.
    let copy = desk.line("letter-corin-1", "b/copy.flac");
    let report = desk.add_and_wait(&[&copy]).await;
    let intake = desk
        .store()
        .intake(&report.accepted[0].intake)
        .await
        .unwrap();
    assert_eq!(intake.state, IntakeState::Opened);
    let reason = intake.reason.unwrap();
    assert!(
        reason.starts_with("the same sound as") && reason.contains("REC_0001"),
        "{reason}"
    );
    // And from then on at once, for as long as the first one lies there.
    let again = desk.add_and_wait(&[&copy]).await;
    assert_eq!(again.already[0].recording, before[0].id);

    assert_eq!(
        desk.store().recordings(&desk.event.id).await.unwrap(),
        before
    );
    assert_eq!(desk.ears.heard.load(Ordering::SeqCst), 1);
    std::fs::remove_file(&line).unwrap();
    let again = desk.add_and_wait(&[&copy]).await;
    assert_eq!(again.accepted.len(), 1);
    let moved = &desk.store().recordings(&desk.event.id).await.unwrap()[0];
    assert_eq!(moved.path.0, copy.canonicalize().unwrap());
}

#[tokio::test]
async fn a_refused_file_that_was_mended_is_opened_and_the_refusal_is_gone() {
    let desk = Desk::new(Ears::default()).await;
    let path = desk.file("letter.wav", b"Dear all, this is no sound.");
    let first = desk.add_and_wait(&[&path]).await;
    let intakes = desk.store().intakes(&desk.event.id).await.unwrap();
    assert_eq!(intakes[0].state, IntakeState::Refused);
    desk.line("letter-corin-1", "letter.wav");
    let second = desk.add_and_wait(&[&path]).await;
    assert_eq!(first, second, "the same intake");
    assert_eq!(desk.store().intakes(&desk.event.id).await.unwrap(), []);
    let recordings = desk.store().recordings(&desk.event.id).await.unwrap();
    assert_eq!(recordings[0].state, RecordingState::Ready);
    assert!(
        desk.engine
            .status(None)
            .await
            .unwrap()
            .row
            .problems
            .is_empty()
    );
}

#[tokio::test]
async fn what_was_cancelled_goes_on_when_it_is_added_again() {
    let ears = Ears::default();
    ears.missing.store(true, Ordering::SeqCst);
    let desk = Desk::new(ears).await;
    let line = desk.line("letter-corin-1", "REC_0001.flac");
    desk.add(&[&line]).await;
    desk.engine.run_until_idle().await.unwrap();
    let recording = desk.store().recordings(&desk.event.id).await.unwrap()[0]
        .id
        .clone();
    let jobs = desk.store().jobs_of(recording.as_str()).await.unwrap();
    desk.engine.cancel(jobs.last().unwrap().id).await.unwrap();
    desk.ears.missing.store(false, Ordering::SeqCst);
    let again = desk.add_and_wait(&[&line]).await;
    assert_eq!(again.accepted.len(), 1);
    let row = desk.store().recording(&recording).await.unwrap();
    assert_eq!(row.state, RecordingState::Ready);
}

#[tokio::test]
async fn other_channels_asked_for_before_the_first_were_opened_are_not_lost() {
    let desk = Desk::idle().await;
    let line = desk.line("letter-corin-1", "REC_0001.flac");
    let mut intakes = Vec::new();
    for channels in [ChannelChoice::Only(1), ChannelChoice::Mix] {
        let mut ask = add(&desk.event.id, &[&line]);
        ask.channels = channels;
        intakes.push(desk.engine.add(ask).await.unwrap().accepted);
    }
    assert_ne!(intakes[0], intakes[1]);
    let counts = desk.store().queue_counts(None).await.unwrap();
    assert_eq!(counts.waiting, 2);
}

#[tokio::test]
async fn a_moved_file_is_found_again_and_goes_on() {
    let ears = Ears::default();
    ears.missing.store(true, Ordering::SeqCst);
    let desk = Desk::new(ears.clone()).await;
    let line = desk.line("letter-corin-1", "REC_0001.flac");
    desk.add(&[&line]).await;
    assert!(matches!(
        desk.engine.run_until_idle().await.unwrap(),
        Idle::NoModel(_)
    ));

    // Gone before it is written down: that step fails and says what to do.
    desk.engine.shutdown().await;
    let moved = desk.cards.path().join("archive.flac");
    std::fs::rename(&line, &moved).unwrap();
    ears.missing.store(false, Ordering::SeqCst);
    let engine = sayback::jobs::Engine::start(desk.store().clone(), super::desk::quick(&ears))
        .await
        .unwrap();
    assert_eq!(engine.run_until_idle().await.unwrap(), Idle::Done);
    let failed = &desk.store().recordings(&desk.event.id).await.unwrap()[0];
    assert_eq!(failed.state, RecordingState::Failed);
    assert!(
        failed
            .error
            .as_deref()
            .unwrap()
            .contains("add it from where it is now"),
        "{failed:?}"
    );

    engine.add(add(&desk.event.id, &[&moved])).await.unwrap();
    assert_eq!(engine.run_until_idle().await.unwrap(), Idle::Done);
    let found = &desk.store().recordings(&desk.event.id).await.unwrap()[0];
    assert_eq!(
        (found.id.clone(), found.state),
        (failed.id.clone(), RecordingState::Ready)
    );
    assert_eq!(found.path.0, moved.canonicalize().unwrap());
    engine.shutdown().await;
}

#[tokio::test]
async fn a_bad_file_says_why_and_the_others_go_on() {
    let desk = Desk::new(Ears::default()).await;
    desk.line("letter-corin-1", "good.flac");
    desk.file("letter.wav", b"Dear all, this is no sound.");
    desk.file("empty.wav", b"");
    desk.file("notes.txt", b"passed over");
    desk.file(".hidden.wav", b"passed over");
    desk.file("what.xyz", b"?");
    let cards = desk.cards.path().to_owned();
    let report = desk.add_and_wait(&[&cards, &cards.join("gone.wav")]).await;
    assert_eq!(report.accepted.len(), 3);
    let refused: Vec<String> = report.refused.iter().map(ToString::to_string).collect();
    assert_eq!(refused.len(), 2, "{refused:?}");
    assert!(
        refused[0].starts_with("what.xyz has no ending"),
        "{refused:?}"
    );
    assert_eq!(refused[1], "gone.wav is not there");

    let intakes = desk.store().intakes(&desk.event.id).await.unwrap();
    assert_eq!(intakes.len(), 2);
    for intake in intakes {
        assert_eq!(intake.state, IntakeState::Refused);
        let reason = intake.reason.unwrap();
        assert!(reason.contains(&intake.name), "{reason}");
    }
    let recordings = desk.store().recordings(&desk.event.id).await.unwrap();
    assert_eq!(recordings[0].state, RecordingState::Ready);
}

#[cfg(unix)]
#[tokio::test]
async fn any_name_a_file_can_have_is_kept_byte_for_byte() {
    use std::os::unix::ffi::OsStrExt;
    let desk = Desk::new(Ears::default()).await;
    let names: [&[u8]; 4] = [
        b"two\nlines.flac",
        b"\"quoted\" 'n' \\.flac",
        b"\xff\xfe.flac",
        b"-v.flac",
    ];
    for (n, name) in names.iter().enumerate() {
        let line = super::desk::line(&format!("letter-corin-{}", n + 1));
        let name = std::ffi::OsStr::from_bytes(name);
        desk.file(name, &std::fs::read(line).unwrap());
    }
    let cards = desk.cards.path().to_owned();
    let report = desk.add_and_wait(&[&cards]).await;
    assert_eq!(report.accepted.len(), names.len());
    let recordings = desk.store().recordings(&desk.event.id).await.unwrap();
    assert_eq!(recordings.len(), names.len());
    for name in names {
        let name = std::ffi::OsStr::from_bytes(name);
        let kept = recordings
            .iter()
            .find(|r| r.path.file_name() == Some(name))
            .unwrap();
        assert_eq!(kept.state, RecordingState::Ready);
        assert!(!kept.name.contains('\n'), "{}", kept.name);
    }
}

#[cfg(unix)]
#[tokio::test]
async fn nothing_outside_the_roots_is_looked_at() {
    let desk = Desk::new(Ears::default()).await;
    let inside = desk.line("letter-corin-1", "inside/a.flac");
    let outside = desk.line("letter-corin-2", "outside/b.flac");
    let root = desk.cards.path().join("inside");
    std::os::unix::fs::symlink(&outside, root.join("link.flac")).unwrap();
    std::os::unix::fs::symlink(outside.parent().unwrap(), root.join("linked")).unwrap();
    let up = root.join("../outside/b.flac");
    let absent = desk.cards.path().join("outside/absent.flac");
    let mut ask = add(
        &desk.event.id,
        &[&root, &outside, &up, &absent, &root.join("linked/b.flac")],
    );
    ask.roots = Roots::Under(vec![root.clone()]);
    let report = desk.engine.add(ask).await.unwrap();
    let accepted: Vec<&Path> = report.accepted.iter().map(|a| a.file.as_path()).collect();
    assert_eq!(accepted, [inside.canonicalize().unwrap()]);
    // The linked folder in the walk is left alone without a word; all else is
    // refused in the same words, whether it is there or not.
    assert_eq!(report.refused.len(), 5, "{report:?}");
    for refused in report.refused {
        assert!(refused.reason.contains("outside the folders"), "{refused}");
    }
}

#[tokio::test]
async fn a_folder_of_folders_is_a_source_each_unless_one_is_named() {
    let desk = Desk::idle().await;
    desk.line("letter-corin-1", "day/lav/a.flac");
    desk.line("letter-corin-2", "day/lav/deep/b.flac");
    desk.line("letter-corin-3", "day/feed/c.flac");
    desk.line("letter-corin-4", "day/d.flac");
    let day = desk.cards.path().join("day");
    let mut ask = add(&desk.event.id, &[&day]);
    ask.source = None;
    assert_eq!(desk.engine.add(ask).await.unwrap().accepted.len(), 4);
    let mut made: Vec<(String, String)> = desk
        .store()
        .intakes(&desk.event.id)
        .await
        .unwrap()
        .into_iter()
        .map(|intake| (intake.source_label, intake.name))
        .collect();
    made.sort();
    let expected = [
        ("day", "d.flac"),
        ("feed", "c.flac"),
        ("lav", "a.flac"),
        ("lav", "b.flac"),
    ];
    assert_eq!(
        made,
        expected.map(|(label, name)| (label.to_owned(), name.to_owned()))
    );
}

#[tokio::test]
async fn other_channels_of_a_known_file_may_be_asked_for() {
    let desk = Desk::new(Ears::default()).await;
    let wav = desk.cards.path().join("pair.wav");
    let ffmpeg = std::process::Command::new(xtask::oracle::ffmpeg())
        .args(["-v", "error", "-i"])
        .arg(super::desk::line("letter-corin-1"))
        .args(["-ac", "2"])
        .arg(&wav)
        .status()
        .unwrap();
    assert!(ffmpeg.success());
    desk.add_and_wait(&[&wav]).await;
    let picks = |rows: Vec<sayback::store::RecordingRow>| {
        rows.into_iter().map(|row| row.pick).collect::<Vec<_>>()
    };
    let first = picks(desk.store().recordings(&desk.event.id).await.unwrap());
    assert_eq!(first.len(), 1, "twice the same channel is one recording");
    let mut ask = add(&desk.event.id, &[&wav]);
    ask.channels = ChannelChoice::Only(2);
    desk.engine.add(ask).await.unwrap();
    assert_eq!(desk.engine.run_until_idle().await.unwrap(), Idle::Done);
    let both = picks(desk.store().recordings(&desk.event.id).await.unwrap());
    assert_eq!(both.len(), 2, "{both:?}");
    assert!(both.contains(&"2".to_owned()));
    let mut again = add(&desk.event.id, &[&wav]);
    again.channels = ChannelChoice::Only(2);
    assert_eq!(desk.engine.add(again).await.unwrap().already.len(), 1);
}

/// Files at once that a careless drag of a whole archive may bring.
const MANY: usize = 10_000;

#[tokio::test]
async fn ten_thousand_files_at_once_are_queued_in_seconds() {
    let desk = Desk::idle().await;
    for n in 0..MANY {
        desk.file(format!("card-{}/{n}.wav", n % 10), n.to_string().as_bytes());
    }
    let before = resident_kib();
    let start = Instant::now();
    let cards = desk.cards.path().to_owned();
    let report = desk.add(&[&cards]).await;
    let took = start.elapsed();
    let grown = resident_kib().saturating_sub(before);
    println!("{MANY} files queued in {took:?}, {grown} KiB more resident");
    assert_eq!((report.accepted.len(), report.refused.len()), (MANY, 0));
    let waiting = desk
        .store()
        .queue_counts(Some(&desk.event.id))
        .await
        .unwrap()
        .waiting;
    assert_eq!(waiting, MANY as i64);
    // The same again finds them waiting, and queues none twice.
    assert_eq!(desk.add(&[&cards]).await, report);
    // Three paths each in memory (found, report) are 3 MB; 64 MB say that
    // nothing else is kept. A minute is patience, not a goal.
    assert!(grown < 64 * 1024, "{grown} KiB");
    assert!(took.as_secs() < 60, "{took:?}");
}

/// Resident memory of this process, KiB.
fn resident_kib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmRSS:"));
    line.and_then(|line| line.split_whitespace().nth(1)?.parse().ok())
        .unwrap_or(0)
}

#[tokio::test]
async fn what_reading_finds_wrong_is_told_with_the_recording() {
    let desk = Desk::new(Ears::default()).await;
    let silence = vec![0.0; 48_000];
    let broken = [&silence[..], &[f32::NAN; 3], &silence].concat();
    let broken = desk.file("broken.wav", &make::float(1, 16_000, &broken));
    // Two recordings, one after the other in the same file.
    let wav = desk.file("in.wav", &make::plain(1, 48_000, &make::talk(1, 48_000, 3)));
    let chained = desk.cards.path().join("chained.opus");
    ffmpeg(&["-i", wav.to_str().unwrap(), chained.to_str().unwrap()]);
    let one = std::fs::read(&chained).unwrap();
    // The second with a serial number of its own, as its stream must have.
    ffmpeg(&[
        "-i",
        wav.to_str().unwrap(),
        "-serial_offset",
        "7",
        chained.to_str().unwrap(),
    ]);
    let other = std::fs::read(&chained).unwrap();
    std::fs::write(&chained, [one, other].concat()).unwrap();
    desk.add_and_wait(&[&broken, &chained]).await;
    let recordings = desk.store().recordings(&desk.event.id).await.unwrap();
    let told = |name: &str| {
        let of = recordings.iter().find(|row| row.path.ends_with(name));
        of.unwrap().warnings.0.join("; ")
    };
    assert!(told("broken.wav").contains("3 samples"), "{recordings:?}");
    assert!(
        told("chained.opus").contains("second recording"),
        "{recordings:?}"
    );
}
