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

/// The timeline, written clip by clip: as one tree of values that of a whole day would
/// take ten times its text.
pub(super) fn text(laid: &Laid<'_>, options: &Options) -> String {
    let cut = laid.cut();
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
        "tracks": {
            "OTIO_SCHEMA": "Stack.1",
            "name": "tracks",
            "metadata": {},
            "source_range": null,
            "effects": [],
            "markers": [],
            "enabled": true,
            "color": null,
            "children": [],
        },
    });
    let mut out = Children::of(&timeline, String::new());
    for layer in 0..laid.layers() {
        out = chosen(laid, options, layer, out);
    }
    for row in backups(laid) {
        out = row.track(laid, out);
    }
    let mut text = out.end();
    text.push('\n');
    text
}

/// Something that is being written and has children.
struct Children {
    text: String,
    after: String,
    first: bool,
}

/// How something without children ends its list of them: nothing inside a string looks
/// like this, as quotation marks are escaped there.
const NONE: &str = "\"children\":[]";

impl Children {
    fn of(parent: &Value, mut text: String) -> Self {
        let parent = parent.to_string();
        let (before, after) = parent.split_once(NONE).unwrap_or((&parent, ""));
        text.push_str(before);
        text.push_str(NONE.trim_end_matches(']'));
        Self {
            text,
            after: format!("]{after}"),
            first: true,
        }
    }

    fn comma(&mut self) {
        if !std::mem::take(&mut self.first) {
            self.text.push(',');
        }
    }

    fn put(&mut self, child: &Value) {
        self.comma();
        self.text.push_str(&child.to_string());
    }

    fn end(mut self) -> String {
        self.text.push_str(&self.after);
        self.text
    }

    /// A child that has children of its own.
    fn nest(mut self, child: &Value, fill: impl FnOnce(&mut Self)) -> Self {
        self.comma();
        let mut inner = Self::of(child, std::mem::take(&mut self.text));
        fill(&mut inner);
        self.text = inner.end();
        self
    }
}

/// The track that is to be heard; a further one with what is heard at the same time.
fn chosen(laid: &Laid<'_>, options: &Options, layer: usize, out: Children) -> Children {
    let name = match layer {
        0 => "Chosen".to_owned(),
        more => format!("Chosen {}", more + 1),
    };
    out.nest(&track(&name, true), |track| {
        let mut end = 0;
        for placed in laid.quotes().iter().filter(|one| one.layer == layer) {
            if let Some(gap) = gap(laid, end, placed.start) {
                track.put(&gap);
            }
            let mut clip = clip(placed, placed.media, placed.take, 0, placed.take.to);
            clip["markers"] = markers(placed, options).into();
            track.put(&clip);
            end = placed.end;
        }
    })
}

/// A track for each recorder that is a backup; a second one where it has two hearings at
/// one time. By recorder and not by rank, so that one microphone's sound stays together.
fn backups<'a>(laid: &'a Laid<'a>) -> Vec<Row<'a>> {
    let mut rows: Vec<Row<'a>> = Vec::new();
    for placed in laid.quotes() {
        for (rank, take) in placed.quote.takes.iter().enumerate().skip(1) {
            let Some(media) = laid.media(take) else {
                continue;
            };
            let Some(backup) = Backup::of(laid, placed, media, take, rank) else {
                continue;
            };
            let free = |row: &&mut Row| row.label == media.label && row.end <= backup.start;
            let row = match rows.iter_mut().find(free) {
                Some(row) => row,
                None => {
                    rows.push(Row::new(&media.label));
                    let Some(row) = rows.last_mut() else { continue };
                    row
                }
            };
            row.end = backup.end;
            row.backups.push(backup);
        }
    }
    rows
}

/// What a recorder has of a quote.
struct Backup<'a> {
    placed: &'a Placed<'a>,
    media: &'a Media,
    take: &'a Take,
    rank: usize,
    /// Where it stands on the cut's clock, ticks.
    start: u128,
    end: u128,
    /// The first sample after it.
    to: u64,
}

impl<'a> Backup<'a> {
    /// The same stretch at the same instant; where a faster clock makes it longer than
    /// the chosen one, its last samples are left out.
    fn of(
        laid: &Laid<'_>,
        placed: &'a Placed<'a>,
        media: &'a Media,
        take: &'a Take,
        rank: usize,
    ) -> Option<Self> {
        let sample = laid.ticks(media, 1).max(1);
        let start = placed.start + laid.ticks(media, take.later);
        let room = placed.end.saturating_sub(start) / sample;
        let room = u64::try_from(room).unwrap_or(u64::MAX);
        let to = take.to.min(take.from.saturating_add(room));
        (to > take.from).then(|| Self {
            placed,
            media,
            take,
            rank,
            start,
            end: start + laid.ticks(media, to - take.from),
            to,
        })
    }
}

/// A track of backups.
struct Row<'a> {
    label: &'a str,
    /// Where the last of them ends on the cut's clock, ticks.
    end: u128,
    backups: Vec<Backup<'a>>,
}

impl<'a> Row<'a> {
    fn new(label: &'a str) -> Self {
        Self {
            label,
            end: 0,
            backups: Vec::new(),
        }
    }

    fn track(&self, laid: &Laid<'_>, out: Children) -> Children {
        let name = format!("Backup: {}", safe::shortened(self.label, NAME));
        out.nest(&track(&name, false), |track| {
            let mut end = 0;
            for one in &self.backups {
                if let Some(gap) = gap(laid, end, one.start) {
                    track.put(&gap);
                }
                track.put(&clip(one.placed, one.media, one.take, one.rank, one.to));
                end = one.end;
            }
        })
    }
}

fn track(name: &str, enabled: bool) -> Value {
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
        "children": [],
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
            "also": quote.also.as_deref().map(safe::line),
            "doubt": quote.caution().map(safe::line),
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
    let text = if placed.quote.unwritten {
        "not written down yet".into()
    } else if text.is_empty() {
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
