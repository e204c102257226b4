//! All that was said in an event: with silence between, two people at once, and backups
//! that have only a part.

use std::collections::BTreeSet;

use sayback::core::timecode::FrameRate;
use sayback::export::cut::{Cut, CutFormat, Kind, Options, Take};

use super::list::{day, random_day};
use super::timeline::events;
use super::{Job, array, job, number, read, written};

/// The lines of a list at their own times: seconds between most, each seventh while the
/// one before still speaks, each fifth with a backup that begins later or ends sooner.
fn event(rate: FrameRate, count: usize) -> Cut {
    let mut cut = random_day(rate, count);
    let hz: Vec<u64> = cut
        .media
        .iter()
        .map(|m| u64::from(m.sample_rate_hz))
        .collect();
    let mut end_ms = 0;
    for (n, quote) in cut.quotes.iter_mut().enumerate() {
        let take = &quote.takes[0];
        let length_ms = (take.to - take.from) * 1_000 / hz[take.media];
        let at_ms = match n % 7 {
            6 => end_ms - length_ms.min(50).min(end_ms),
            _ => end_ms + 40 * (n as u64 % 90),
        };
        quote.at_ms = Some(at_ms);
        end_ms = end_ms.max(at_ms + length_ms);
        let later_ms = length_ms / 3;
        if n % 5 == 0 && length_ms > 1_000 {
            let media = (quote.takes[0].media + 1) % 5;
            quote.takes.push(Take {
                media,
                from: 0,
                to: (length_ms - later_ms) * hz[media] / 1_000 / 2,
                later: later_ms * hz[media] / 1_000,
                verdict: "usable".into(),
                ..Take::default()
            });
        }
    }
    cut.quotes.sort_by_key(|quote| quote.at_ms);
    Cut {
        kind: Kind::Transcript { from_ms: 0 },
        ..cut
    }
}

/// Every line is on a track that is heard, at its time; every backup beside it, where the
/// part belongs that it has.
#[test]
fn a_timeline_has_every_line_at_its_time() {
    let cut = event(FrameRate::R25, 400);
    let found = read(&[job(&cut, CutFormat::Otio, "otio", &Options::of(&cut))]);
    let laid = cut.laid().expect("it can be laid");
    let second = laid.ticks_a_second() as f64;
    let (mut heard, mut backups, mut parts) = (BTreeSet::new(), 0, 0);
    for track in array(&found[0]["tracks"]) {
        for clip in array(&track["clips"]) {
            let told = &clip["metadata"]["sayback"];
            let placed = &laid.quotes()[number(&told["quote"]) as usize - 1];
            let take = &placed.quote.takes[number(&told["take"]) as usize];
            let media = &cut.media[take.media];
            let hz = f64::from(media.sample_rate_hz);
            let wanted = placed.start as f64 / second + take.later as f64 / hz;
            let off = number(&clip["in_parent"]["at_s"]) - wanted;
            assert!(off.abs() * hz < 1e-3, "{off} of {clip}");
            let begins = media.time_reference.unwrap_or(0) + take.from;
            assert_eq!(number(&clip["source"]["start"]), begins as f64);
            match track["enabled"] == true {
                true => assert!(heard.insert(placed.number), "twice: {clip}"),
                false => backups += 1,
            }
            parts += usize::from(take.later > 0);
        }
    }
    let wanted: usize = cut.quotes.iter().map(|quote| quote.takes.len() - 1).sum();
    assert_eq!((heard.len(), backups), (400, wanted));
    assert!(parts > 40, "{parts}");
    // None is moved by more than what counts as touching.
    for placed in laid.quotes() {
        let at = placed.quote.at_ms.expect("a time") as f64;
        let off_ms = placed.start as f64 / second * 1_000.0 - at;
        assert!((-0.01..=20.01).contains(&off_ms), "{off_ms}");
    }
    let names: BTreeSet<&str> = array(&found[0]["tracks"])
        .iter()
        .filter_map(|track| track["name"].as_str())
        .collect();
    assert!(
        names.contains("Chosen") && names.contains("Chosen 2"),
        "{names:?}"
    );
}

/// The adapter refuses two events at one instant: those have a list of their own.
#[test]
fn edit_decision_lists_of_an_event_are_read_at_every_rate() {
    for rate in [FrameRate::R25, FrameRate::R29_97_DROP, FrameRate::R59_94] {
        let cut = event(rate, 200);
        let laid = cut.laid().expect("it can be laid");
        for per_source in [false, true] {
            let options = Options {
                per_source,
                ..Options::of(&cut)
            };
            assert_eq!(options.start_frame, 0, "labels tell the event clock");
            let lists = written(&cut, CutFormat::Edl, &options);
            assert!(lists.iter().any(|list| list.name.contains("_beside_1")));
            let jobs = lists.into_iter().map(|file| Job {
                kind: "edl",
                file,
                rate: rate.per_second(),
            });
            let jobs: Vec<Job> = jobs.collect();
            let found: Vec<_> = read(&jobs).iter().flat_map(events).collect();
            let starts: BTreeSet<u64> = found.iter().map(|event| event.0).collect();
            for placed in laid.quotes() {
                assert!(starts.contains(&placed.first_frame), "{}", placed.number);
            }
            if !per_source {
                assert_eq!(found.len(), laid.quotes().len());
            }
        }
    }
}

/// Captions and speakers are at the event's times, and doubt is told.
#[test]
fn captions_of_an_event_say_what_is_doubtful() {
    let mut cut = day(FrameRate::R25);
    cut.kind = Kind::Transcript { from_ms: 0 };
    for (n, quote) in cut.quotes.iter_mut().enumerate() {
        quote.at_ms = Some(3_600_000 + n as u64 * 60_000);
    }
    cut.quotes[0].doubt = Some("far away".into());
    (cut.quotes[1].unwritten, cut.quotes[1].text) = (true, String::new());
    cut.quotes[1].words.clear();
    let options = Options::of(&cut);
    let found = read(&[
        job(&cut, CutFormat::Srt, "srt", &options),
        job(&cut, CutFormat::Vtt, "vtt", &options),
        job(&cut, CutFormat::Csv, "csv", &options),
    ]);
    let srt = array(&found[0]);
    assert_eq!(srt[0][0], 3_600_000);
    assert!(
        srt[0][2].as_str().expect("text").contains("[?]"),
        "{}",
        srt[0]
    );
    let second: Vec<_> = srt.iter().filter(|cue| cue[0] == 3_660_000).collect();
    assert_eq!(second.len(), 1);
    assert!(
        second[0][2]
            .as_str()
            .expect("text")
            .contains("[not written down yet]")
    );
    assert_eq!(array(&found[1]).len(), srt.len());
    let rows = array(&found[2]);
    assert_eq!(
        (&rows[0]["doubt"], &rows[1]["doubt"], &rows[2]["doubt"]),
        (
            &"far away".into(),
            &"not written down yet".into(),
            &"".into()
        )
    );
    assert_eq!(rows[0]["cut_in"], "01:00:00:00");
}
