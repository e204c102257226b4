//! `OpenTimelineIO` JSON, as its version 0.15 and later read it (`Clip.2`).
//!
//! The chosen hearings stand on the first track, one after another. Each recorder that
//! is a backup somewhere has a track of its own, silenced, with the same words at the
//! same instant and gaps between. Sources stay in their own samples: a clip's range is
//! exact whatever the picture's rate is. Times in a recording count from midnight where
//! it has a stamp, as its available range does.

use serde_json::{Value, json};

use super::super::safe;
use super::{CutWord, Laid, Media, Options, Placed, Take, heard};

/// Gaps in ticks where a second has at most so many, else in these.
const FINEST: u64 = 1_000_000_000;
/// Columns of a clip's name.
const NAME: usize = 60;

/// The timeline.
pub(super) fn text(laid: &Laid<'_>, options: &Options) -> String {
    let cut = laid.cut();
    let mut tracks = vec![chosen(laid, options)];
    tracks.extend(backups(laid));
    let stack = json!({
        "OTIO_SCHEMA": "Stack.1",
        "name": "tracks",
        "metadata": {},
        "source_range": null,
        "effects": [],
        "markers": [],
        "enabled": true,
        "color": null,
        "children": tracks,
    });
    let timeline = json!({
        "OTIO_SCHEMA": "Timeline.1",
        "name": safe::line(&cut.title),
        "metadata": { "sayback": {
            "version": env!("CARGO_PKG_VERSION"),
            "event": safe::line(&cut.event),
            "date": cut.date.as_deref().map(safe::line),
            "frame_rate": cut.rate.to_string(),
            "drop_frame": cut.rate.is_drop(),
            "drift": "as recorded: nothing is sped up or slowed down",
        }},
        "global_start_time": time(options.start_frame as f64, cut.rate.per_second()),
        "tracks": stack,
    });
    format!("{timeline}\n")
}

/// The track that is to be heard.
fn chosen(laid: &Laid<'_>, options: &Options) -> Value {
    let clips = laid.quotes().iter().map(|placed| {
        let mut clip = clip(placed, placed.media, placed.take, 0, placed.take.to);
        clip["markers"] = markers(placed, options).into();
        clip
    });
    track("Chosen", true, clips.collect())
}

/// A track for each recorder that is a backup; a second one where it has two hearings of
/// one quote. By recorder and not by rank, so that one microphone's sound stays together.
fn backups(laid: &Laid<'_>) -> Vec<Value> {
    let mut rows: Vec<Row> = Vec::new();
    for placed in laid.quotes() {
        for (rank, take) in placed.quote.takes.iter().enumerate().skip(1) {
            let Some(media) = laid.media(take) else {
                continue;
            };
            let free = |row: &&mut Row| row.label == media.label && row.last < placed.number;
            let row = match rows.iter_mut().find(free) {
                Some(row) => row,
                None => {
                    rows.push(Row::new(&media.label));
                    let Some(row) = rows.last_mut() else { continue };
                    row
                }
            };
            row.put(laid, placed, media, take, rank);
        }
    }
    let tracks = rows.into_iter().map(|row| {
        let name = format!("Backup: {}", safe::shortened(&row.label, NAME));
        track(&name, false, row.children)
    });
    tracks.collect()
}

/// A track that is being filled.
struct Row {
    label: String,
    /// The last quote that has a clip on it.
    last: usize,
    /// Where that ends on the cut's clock, ticks.
    end: u128,
    children: Vec<Value>,
}

impl Row {
    fn new(label: &str) -> Self {
        Self {
            label: label.to_owned(),
            last: 0,
            end: 0,
            children: Vec::new(),
        }
    }

    /// The same stretch at the same instant; where a faster clock makes it longer than
    /// the chosen one, its last samples are left out.
    fn put(&mut self, laid: &Laid<'_>, at: &Placed<'_>, media: &Media, take: &Take, rank: usize) {
        let sample = laid.ticks(media, 1).max(1);
        let room = u64::try_from((at.end - at.start) / sample).unwrap_or(u64::MAX);
        let to = take.to.min(take.from.saturating_add(room));
        if to == take.from {
            return;
        }
        self.children.extend(gap(laid, self.end, at.start));
        self.children.push(clip(at, media, take, rank, to));
        self.end = at.start + laid.ticks(media, to - take.from);
        self.last = at.number;
    }
}

fn track(name: &str, enabled: bool, children: Vec<Value>) -> Value {
    json!({
        "OTIO_SCHEMA": "Track.1",
        "name": name,
        "kind": "Audio",
        "metadata": {},
        "source_range": null,
        "effects": [],
        "markers": [],
        "enabled": enabled,
        "color": null,
        "children": children,
    })
}

/// What lies between two instants; nothing if they are one.
fn gap(laid: &Laid<'_>, from: u128, to: u128) -> Option<Value> {
    let second = laid.ticks_a_second();
    let rate = second.min(FINEST);
    // Rounded at both ends, so that what is lost does not add up.
    let rounded = |ticks: u128| ticks * u128::from(rate) / u128::from(second);
    let length = rounded(to).saturating_sub(rounded(from));
    (length > 0).then(|| {
        json!({
            "OTIO_SCHEMA": "Gap.1",
            "name": "",
            "metadata": {},
            "source_range": range(0.0, length as f64, rate as f64),
            "effects": [],
            "markers": [],
            "enabled": true,
            "color": null,
        })
    })
}

/// A take from its start up to sample `to`.
fn clip(placed: &Placed<'_>, media: &Media, take: &Take, rank: usize, to: u64) -> Value {
    let quote = placed.quote;
    json!({
        "OTIO_SCHEMA": "Clip.2",
        "name": name(placed),
        "metadata": { "sayback": {
            "quote": placed.number,
            "take": rank,
            "text": safe::line(&quote.text),
            "person": quote.person.as_deref().map(safe::line),
            "note": quote.note.as_deref().map(safe::lines),
            "verdict": safe::line(&take.verdict),
            "rate_ppm": take.ppm,
            "online": media.online,
        }},
        "source_range": samples(media, take.from, to),
        "effects": [],
        "markers": [],
        "enabled": true,
        "color": null,
        "media_references": { "DEFAULT_MEDIA": reference(media) },
        "active_media_reference_key": "DEFAULT_MEDIA",
    })
}

fn reference(media: &Media) -> Value {
    json!({
        "OTIO_SCHEMA": "ExternalReference.1",
        "name": safe::line(&media.file_name),
        "metadata": { "sayback": {
            "recording": safe::line(&media.id),
            "source": safe::line(&media.label),
            "placement": safe::line(&media.placement),
            "channels": media.channels,
            "online": media.online,
            "start": match media.time_reference {
                Some(_) => "time of day, by the recorder's stamp",
                None => "0: the file has no stamp",
            },
        }},
        "available_range": samples(media, 0, media.samples),
        "available_image_bounds": null,
        "target_url": media.target_url,
    })
}

fn markers(placed: &Placed<'_>, options: &Options) -> Vec<Value> {
    let (quote, take) = (placed.quote, placed.take);
    let note = quote.note.as_deref().map(safe::lines);
    let told: Vec<String> = quote
        .person
        .as_deref()
        .map(safe::line)
        .into_iter()
        .chain(note)
        .collect();
    let marked = samples(placed.media, take.from, take.to);
    let of = |person: Option<&str>| json!({ "sayback": { "quote": placed.number, "person": person.map(safe::line) } });
    let whole = marker(
        &name(placed),
        "GREEN",
        marked,
        &told.join("\n"),
        of(quote.person.as_deref()),
    );
    let words = heard::words(placed).filter(|_| options.word_markers);
    let each = words.map(|word: &CutWord| {
        let (from, to) = (word.from.max(take.from), word.to.min(take.to));
        let marked = samples(placed.media, from, to.max(from));
        let person = quote.says(word);
        let told = person.map(safe::line).unwrap_or_default();
        marker(&safe::line(&word.text), "CYAN", marked, &told, of(person))
    });
    std::iter::once(whole).chain(each).collect()
}

fn marker(name: &str, color: &str, marked: Value, comment: &str, metadata: Value) -> Value {
    json!({
        "OTIO_SCHEMA": "Marker.2",
        "name": name,
        "color": color,
        "marked_range": marked,
        "comment": comment,
        "metadata": metadata,
    })
}

/// Who and the first words.
pub(super) fn name(placed: &Placed<'_>) -> String {
    let text = safe::line(&placed.quote.text);
    let text = if text.is_empty() {
        format!("quote {}", placed.number)
    } else {
        text
    };
    let person = placed.quote.person.as_deref().map(safe::line);
    let person = person.filter(|person| !person.is_empty());
    let named = person.map_or(text.clone(), |person| format!("{person}: {text}"));
    safe::shortened(&named, NAME)
}

/// A stretch of a recording, counted as its available range is.
fn samples(media: &Media, from: u64, to: u64) -> Value {
    let start = media.time_reference.unwrap_or(0) + from;
    range(
        start as f64,
        (to - from) as f64,
        f64::from(media.sample_rate_hz),
    )
}

fn range(start: f64, length: f64, rate: f64) -> Value {
    json!({
        "OTIO_SCHEMA": "TimeRange.1",
        "start_time": time(start, rate),
        "duration": time(length, rate),
    })
}

fn time(value: f64, rate: f64) -> Value {
    json!({ "OTIO_SCHEMA": "RationalTime.1", "rate": rate, "value": value })
}
