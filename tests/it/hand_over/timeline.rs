//! Timelines and edit decision lists.

use std::collections::BTreeSet;

use sayback::core::timecode::FrameRate;
use sayback::export::cut::{Cut, CutFormat, Laid, Media, Options, Placed};
use serde_json::Value;

use super::list::{day, random_day};
use super::{Job, array, job, number, read, written};

/// All clips of a kind of track: the chosen ones, or the backups.
fn clips(found: &Value, enabled: bool) -> Vec<&Value> {
    let tracks = array(&found["tracks"]).iter();
    let wanted = tracks.filter(|track| track["enabled"] == enabled);
    wanted.flat_map(|track| array(&track["clips"])).collect()
}

/// Less than a thousandth of a sample apart, of a number of seconds and a position in ticks.
fn is_at(seconds: &Value, ticks: u128, laid: &Laid<'_>, hz: u32) {
    let exact = ticks as f64 / laid.ticks_a_second() as f64;
    let off = (number(seconds) - exact).abs() * f64::from(hz);
    assert!(off < 1e-3, "{seconds} where {exact} is meant");
}

/// A stretch of a recording in its own samples, to the sample.
fn is_stretch(found: &Value, media: &Media, from: u64, length: u64) {
    let start = media.time_reference.unwrap_or(0) + from;
    assert_eq!(number(&found["start"]), start as f64);
    assert_eq!(number(&found["length"]), length as f64);
    assert_eq!(number(&found["rate"]), f64::from(media.sample_rate_hz));
}

/// That a timeline has each quote where and from where the list has it.
pub(super) fn is_the_cut(found: &Value, cut: &Cut) {
    let laid = cut.laid().expect("it can be cut");
    let chosen = clips(found, true);
    assert_eq!(chosen.len(), laid.quotes().len());
    for (clip, placed) in chosen.iter().zip(laid.quotes()) {
        is_clip(clip, placed.media, &laid, placed);
        let (take, length) = (placed.take, placed.take.to - placed.take.from);
        is_stretch(&clip["source"], placed.media, take.from, length);
        is_at(
            &clip["in_parent"]["length_s"],
            placed.end - placed.start,
            &laid,
            placed.media.sample_rate_hz,
        );
    }
    let backups = clips(found, false);
    let wanted: usize = cut.quotes.iter().map(|quote| quote.takes.len() - 1).sum();
    assert_eq!(backups.len(), wanted);
    for clip in backups {
        let told = &clip["metadata"]["sayback"];
        let number_of = told["quote"].as_u64().expect("a number") as usize;
        let placed = &laid.quotes()[number_of - 1];
        let take = &placed.quote.takes[told["take"].as_u64().expect("a rank") as usize];
        let media = &cut.media[take.media];
        is_clip(clip, media, &laid, placed);
        // As long as the chosen one at most, and no sample less than there is room for.
        let room = (placed.end - placed.start) * u128::from(media.sample_rate_hz)
            / u128::from(laid.ticks_a_second());
        let length = u64::try_from(room)
            .expect("it fits")
            .min(take.to - take.from);
        is_stretch(&clip["source"], media, take.from, length);
    }
}

/// Same instant, same file, all of it available.
fn is_clip(clip: &Value, media: &Media, laid: &Laid<'_>, placed: &Placed<'_>) {
    is_at(
        &clip["in_parent"]["at_s"],
        placed.start,
        laid,
        media.sample_rate_hz,
    );
    assert_eq!(clip["url"].as_str(), Some(&*media.target_url));
    is_stretch(&clip["available"], media, 0, media.samples);
    assert_eq!(clip["of_media"]["sayback"]["online"], media.online);
}

#[test]
fn timelines_have_the_same_times_to_opentimelineio() {
    let cuts: Vec<Cut> = FrameRate::ALL.map(day).into();
    let jobs: Vec<Job> = cuts
        .iter()
        .map(|cut| job(cut, CutFormat::Otio, "otio", &Options::of(cut)))
        .collect();
    for (found, cut) in read(&jobs).iter().zip(&cuts) {
        is_the_cut(found, cut);
        let start = Options::of(cut).start_frame as f64;
        let told = array(&found["start"]);
        assert_eq!(
            (number(&told[0]), number(&told[1])),
            (start, cut.rate.per_second())
        );
        assert_eq!(
            found["metadata"]["sayback"]["drop_frame"],
            cut.rate.is_drop()
        );
        let names: BTreeSet<&str> = array(&found["tracks"])
            .iter()
            .filter_map(|t| t["name"].as_str())
            .collect();
        assert!(
            names.contains("Chosen") && names.contains("Backup: Corin, lapel"),
            "{names:?}"
        );
        assert!(
            array(&found["tracks"])
                .iter()
                .all(|track| track["kind"] == "Audio")
        );
    }
}

#[test]
fn markers_lie_on_the_words_to_opentimelineio() {
    let cut = day(FrameRate::R24);
    let options = Options {
        word_markers: true,
        ..Options::of(&cut)
    };
    let found = read(&[job(&cut, CutFormat::Otio, "otio", &options)]);
    for (clip, quote) in clips(&found[0], true).iter().zip(&cut.quotes) {
        let media = &cut.media[quote.takes[0].media];
        let markers = array(&clip["markers"]);
        assert_eq!(markers.len(), 1 + quote.words.len());
        for (marker, word) in markers[1..].iter().zip(&quote.words) {
            is_stretch(&marker["marked"], media, word.from, word.to - word.from);
            assert_eq!(marker["name"].as_str(), Some(&*word.text));
        }
    }
    let by = |quote: usize, marker: usize| {
        clips(&found[0], true)[quote]["markers"][marker]["metadata"]["sayback"]["person"].clone()
    };
    assert_eq!(
        (by(1, 1), by(1, 5), by(8, 1)),
        ("Corin".into(), "the vicar".into(), Value::Null)
    );
}

/// The events of an edit decision list: those of a cut with two channels stand on two
/// tracks, so each is taken once.
pub(super) fn events(found: &Value) -> Vec<(u64, u64, u64, String)> {
    assert!(found["refused"].is_null(), "{found}");
    let mut events = BTreeSet::new();
    for track in array(&found["tracks"]) {
        let rate = number(&track["range"]["rate"]);
        // The adapter keeps where a track starts as a negative time.
        let start = -number(&track["range"]["start"]);
        assert!(start == start.round(), "{track}");
        for clip in array(&track["clips"]) {
            assert_eq!(number(&clip["source"]["rate"]), rate);
            let whole = |value: f64| {
                assert!((value - value.round()).abs() < 1e-6, "{value}");
                value.round() as u64
            };
            events.insert((
                whole(start + number(&clip["in_parent"]["start"])),
                whole(number(&clip["source"]["start"])),
                whole(number(&clip["source"]["length"])),
                clip["metadata"]["cmx_3600"]["reel"]
                    .as_str()
                    .unwrap_or_default()
                    .to_owned(),
            ));
        }
    }
    events.into_iter().collect()
}

#[test]
fn edit_decision_lists_have_the_same_frames_to_the_adapter() {
    let cuts: Vec<Cut> = FrameRate::ALL
        .into_iter()
        .flat_map(|rate| [day(rate), random_day(rate, 60)])
        .collect();
    let jobs: Vec<Job> = cuts
        .iter()
        .map(|cut| job(cut, CutFormat::Edl, "edl", &Options::of(cut)))
        .collect();
    for (found, cut) in read(&jobs).iter().zip(&cuts) {
        let (laid, start) = (
            cut.laid().expect("it can be cut"),
            Options::of(cut).start_frame,
        );
        let events = events(found);
        assert_eq!(events.len(), cut.quotes.len(), "at {}", cut.rate);
        for (event, placed) in events.iter().zip(laid.quotes()) {
            let (record, source, length, reel) = event;
            assert_eq!(*record, start + placed.first_frame, "at {}", cut.rate);
            assert_eq!(*length, placed.end_frame - placed.first_frame);
            // The first frame may be one off at most, by what the recorder says.
            let begins = placed.media.time_reference.unwrap_or(0) + placed.take.from;
            let first = cut.rate.frame_at(begins, placed.media.sample_rate_hz);
            let first = first % cut.rate.frames_in_a_day();
            assert!(first.abs_diff(*source) <= 1, "{event:?}: {first}");
            assert!(!reel.is_empty() && reel.len() <= 8, "{reel}");
        }
        assert_eq!(found["name"].as_str(), Some(cut.title.as_str()));
    }
}

/// One locator a marker, named, inside its event on the record side. The adapter reads
/// those of lists that drop no label: after a semicolon it sees none.
#[test]
fn locators_are_read_where_no_label_is_dropped() {
    let cuts: Vec<Cut> = FrameRate::ALL.map(day).into();
    let options = |cut| Options {
        word_markers: true,
        ..Options::of(cut)
    };
    let jobs: Vec<Job> = cuts
        .iter()
        .map(|cut| job(cut, CutFormat::Edl, "edl", &options(cut)))
        .collect();
    for (found, cut) in read(&jobs).iter().zip(&cuts) {
        let laid = cut.laid().expect("it can be cut");
        let start = Options::of(cut).start_frame;
        let mut read = BTreeSet::new();
        for clip in array(&found["tracks"])
            .iter()
            .flat_map(|track| array(&track["clips"]))
        {
            for marker in array(&clip["markers"]) {
                let frame = number(&marker["marked"]["start"]) as u64 - start;
                let name = marker["name"].as_str().expect("a name").to_owned();
                assert!(!name.is_empty());
                read.insert((frame, name));
            }
        }
        if cut.rate.is_drop() {
            assert!(read.is_empty());
            continue;
        }
        for placed in laid.quotes() {
            let inside = read
                .iter()
                .filter(|(frame, _)| (placed.first_frame..placed.end_frame).contains(frame));
            let names: Vec<&str> = inside.map(|(_, name)| name.as_str()).collect();
            for word in &placed.quote.words {
                assert!(
                    names.contains(&word.text.as_str()),
                    "{} in {names:?}",
                    word.text
                );
            }
            assert_eq!(names.len(), 1 + placed.quote.words.len(), "{names:?}");
        }
    }
}

/// Each recorder's list alone is read, with backups at the frames of the whole list.
#[test]
fn a_list_for_each_recorder_is_read_too() {
    let cut = random_day(FrameRate::R25, 100);
    let options = Options {
        per_source: true,
        ..Options::of(&cut)
    };
    let laid = cut.laid().expect("it can be cut");
    let jobs: Vec<Job> = written(&cut, CutFormat::Edl, &options)
        .into_iter()
        .map(|file| Job {
            kind: "edl",
            file,
            rate: 25.0,
        })
        .collect();
    // Two of the six recordings are of one recorder, and one is in no quote.
    assert_eq!(jobs.len(), 4);
    let starts: BTreeSet<u64> = laid
        .quotes()
        .iter()
        .map(|p| options.start_frame + p.first_frame)
        .collect();
    let mut seen = BTreeSet::new();
    for found in read(&jobs) {
        for (record, ..) in events(&found) {
            assert!(starts.contains(&record));
            seen.insert(record);
        }
    }
    assert_eq!(seen, starts);
}

/// A stretch across midnight ends before it starts, by its labels: no reader of ours can
/// help that, so the list says so. All that lies after midnight is read.
#[test]
fn past_midnight_the_labels_begin_again() {
    let mut cut = day(FrameRate::R25);
    let samples = 30 * 60 * 48_000;
    cut.quotes.truncate(2);
    for (quote, from) in cut
        .quotes
        .iter_mut()
        .zip([samples + 48_000, samples - 48_000])
    {
        quote.words.clear();
        quote.takes.truncate(1);
        (quote.takes[0].media, quote.takes[0].from, quote.takes[0].to) = (5, from, from + 96_000);
    }
    let late = Cut {
        quotes: vec![cut.quotes[0].clone()],
        ..cut.clone()
    };
    let options = Options::of(&cut);
    let found = read(&[
        job(&late, CutFormat::Edl, "edl", &options),
        job(&cut, CutFormat::Edl, "edl", &options),
    ]);
    assert_eq!(events(&found[0])[0].1, 25, "a second after midnight");
    let list = written(&cut, CutFormat::Edl, &options).remove(0).text;
    assert!(
        list.contains("23:59:59:00 00:00:01:00 01:00:02:00 01:00:04:00"),
        "{list}"
    );
    assert_eq!(
        list.matches("* SOURCE TIMECODE PASSES MIDNIGHT").count(),
        1,
        "{list}"
    );
    let refused = found[1]["refused"].as_str().expect("it is refused");
    assert!(refused.contains("don't match"), "{refused}");
}
