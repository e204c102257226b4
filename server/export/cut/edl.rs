//! Edit decision lists of the dialect CMX 3600 (the family of SMPTE 258M).
//!
//! The line is that which `OpenTimelineIO`'s adapter `cmx_3600` writes and reads; out
//! points are exclusive. Nothing but the title and the counting mode stands before the
//! first event, because that adapter reads nothing else there; what has to be said is a
//! comment after an event. Lines end in CR LF (from memory of SMPTE 258M).
//!
//! The record side is the cut's clock to the nearest frame. The source side has the
//! same number of frames, since readers refuse what has not.

use std::collections::BTreeSet;

use super::super::safe;
use super::files::stem;
use super::{Laid, Media, Options, Placed, Take, Written, heard, otio, reels};

/// Events of a list: their numbers have three digits.
const MOST: usize = 999;
/// Columns of a title (CMX 3600).
const TITLE: usize = 70;
/// Columns of what is said in a comment.
const COMMENT: usize = 160;

/// One list, or one for each recorder; each in parts where it has too many events.
pub(super) fn lists(laid: &Laid<'_>, options: &Options) -> Vec<Written> {
    let reels = reels::names(&laid.cut().media);
    let title = safe::line(&laid.cut().title);
    let (mut lists, mut taken) = (Vec::new(), BTreeSet::new());
    for (label, layer, edits) in match options.per_source {
        true => by_source(laid),
        false => chosen(laid),
    } {
        let (mut title, mut file) = (title.clone(), stem(laid.cut()));
        if let Some(label) = label {
            let name = safe::token(label, 40, |_| false).unwrap_or_else(|| "source".into());
            title = format!("{title} - {}", safe::line(label));
            file = format!("{file}_{name}");
        }
        // No two can stand at one instant of a list.
        if layer > 0 {
            title = format!("{} - beside, {layer}", safe::shortened(&title, TITLE - 14));
            file = format!("{file}_beside_{layer}");
        }
        // Some file systems know no capitals.
        while !taken.insert(file.to_lowercase()) {
            file.push_str("_2");
        }
        lists.extend(parts(laid, options, &reels, &title, &file, &edits));
    }
    lists
}

/// What becomes a list: the recorder, where each has one; its layer; its edits.
type Sorted<'a> = (Option<&'a str>, usize, Vec<Edit<'a>>);

/// The chosen hearings; those that are heard at the same time as others by themselves.
fn chosen<'a>(laid: &'a Laid<'a>) -> Vec<Sorted<'a>> {
    let of_layer = |layer: usize| {
        let placed = laid.quotes().iter().filter(move |one| one.layer == layer);
        placed.map(|placed| Edit::of(placed, placed.media, placed.take, 0))
    };
    let layers = 0..laid.layers();
    layers
        .map(|layer| (None, layer, of_layer(layer).collect()))
        .collect()
}

/// A stretch of a recording in the place of a quote.
#[derive(Clone, Copy)]
struct Edit<'a> {
    placed: &'a Placed<'a>,
    media: &'a Media,
    take: &'a Take,
    rank: usize,
}

impl<'a> Edit<'a> {
    fn of(placed: &'a Placed<'a>, media: &'a Media, take: &'a Take, rank: usize) -> Self {
        Self {
            placed,
            media,
            take,
            rank,
        }
    }
}

/// What each recorder has of the cut, chosen or backup; of one quote only its best, as
/// two can't stand at one instant of a list.
fn by_source<'a>(laid: &'a Laid<'a>) -> Vec<Sorted<'a>> {
    let mut lists: Vec<Sorted<'a>> = Vec::new();
    for placed in laid.quotes() {
        for (rank, take) in placed.quote.takes.iter().enumerate() {
            let Some(media) = laid.media(take) else {
                continue;
            };
            let edit = Edit::of(placed, media, take, rank);
            let is_its = |(label, layer, _): &&mut Sorted<'_>| {
                *label == Some(&*media.label) && *layer == placed.layer
            };
            match lists.iter_mut().find(is_its) {
                Some((_, _, edits)) => {
                    let last = edits.last().map(|edit| edit.placed.number);
                    if last != Some(placed.number) {
                        edits.push(edit);
                    }
                }
                None => lists.push((Some(&media.label), placed.layer, vec![edit])),
            }
        }
    }
    lists
}

fn parts(
    laid: &Laid<'_>,
    options: &Options,
    reels: &[String],
    title: &str,
    file: &str,
    edits: &[Edit<'_>],
) -> Vec<Written> {
    let count = edits.len().div_ceil(MOST).max(1);
    let part = |n: usize| edits.chunks(MOST).nth(n).unwrap_or(&[]);
    let of = |n: usize| match count {
        1 => (title.to_owned(), format!("{file}.edl")),
        _ => (
            format!(
                "{} ({} of {count})",
                safe::shortened(title, TITLE - 14),
                n + 1
            ),
            format!("{file}_{}_of_{count}.edl", n + 1),
        ),
    };
    let list = |n: usize| {
        let (title, name) = of(n);
        let text = list(laid, options, reels, &title, part(n));
        Written { name, text }
    };
    (0..count).map(list).collect()
}

fn list(
    laid: &Laid<'_>,
    options: &Options,
    reels: &[String],
    title: &str,
    edits: &[Edit<'_>],
) -> String {
    let rate = laid.cut().rate;
    let mode = if rate.is_drop() { "DROP" } else { "NON-DROP" };
    let mut lines = vec![
        format!("TITLE: {}", safe::shortened(title, TITLE)),
        format!("FCM: {mode} FRAME"),
        String::new(),
    ];
    for (edit, number) in edits.iter().zip(1..) {
        let reel = reels.get(edit.take.media).map_or("AX", String::as_str);
        lines.push(event(laid, options, number, reel, edit));
        lines.extend(comments(laid, options, reel, edit));
    }
    lines.join("\r\n") + "\r\n"
}

fn event(laid: &Laid<'_>, options: &Options, number: usize, reel: &str, edit: &Edit<'_>) -> String {
    let rate = laid.cut().rate;
    let (first, end) = laid.frames(edit.placed, edit.media, edit.take);
    let source = laid.source_frames(edit.media, edit.take, end - first);
    // AA are the first two channels of a recording, A is the first.
    let channels = if edit.media.channels > 1 { "AA" } else { "A" };
    let start = options.start_frame;
    let [source_in, source_out, record_in, record_out] =
        [source.0, source.1, start + first, start + end].map(|frame| rate.label(frame));
    format!(
        "{number:03}  {reel:8} {channels:5} C        {source_in} {source_out} {record_in} {record_out}"
    )
}

/// What a reader needs to know of an event. None begins like a comment that readers take
/// for something else, whatever is said in it.
fn comments(laid: &Laid<'_>, options: &Options, reel: &str, edit: &Edit<'_>) -> Vec<String> {
    let Edit {
        placed,
        media,
        take,
        rank,
    } = *edit;
    let (rate, quote) = (laid.cut().rate, placed.quote);
    let told = |text: &str| safe::shortened(text, COMMENT);
    let mut lines = vec![
        format!("* FROM CLIP NAME:  {}", told(&media.file_name)),
        format!(
            "* REEL {reel} IS {}: {}",
            told(&media.label),
            told(&media.file_name)
        ),
    ];
    if media.time_reference.is_none() {
        lines.push("* SOURCE TIMECODE COUNTS FROM 0: THE FILE HAS NO STAMP".into());
    }
    let (first, end) = laid.frames(placed, media, take);
    if (first, end) != (placed.first_frame, placed.end_frame) {
        lines.push("* HAS ONLY A PART OF IT".into());
    }
    let (first, end) = laid.source_frames(media, take, end - first);
    let day = rate.frames_in_a_day();
    if first / day != (end - 1) / day || end % day == 0 {
        lines.push("* SOURCE TIMECODE PASSES MIDNIGHT".into());
    }
    if !media.online {
        lines.push("* OFFLINE: THE FILE WAS NOT THERE WHEN THIS WAS WRITTEN".into());
    }
    if media.channels > 2 {
        lines.push(format!(
            "* HAS {} CHANNELS, OF WHICH TWO ARE CUT",
            media.channels
        ));
    }
    lines.push(match rank {
        0 => format!("* CHOSEN HEARING: {}", told(&take.verdict)),
        _ => format!("* BACKUP {rank}: {}", told(&take.verdict)),
    });
    // To what is told, a tenth.
    if take.ppm.abs() >= 0.05 {
        let way = if take.ppm > 0.0 { "FAST" } else { "SLOW" };
        let ppm = take.ppm.abs();
        lines.push(format!("* RECORDER RAN {ppm:.1} PPM {way}, NOT CORRECTED"));
    }
    if let Some(why) = quote.caution() {
        lines.push(format!("* DOUBTFUL: {}", told(why)));
    }
    if let Some(note) = &quote.note {
        lines.push(format!("* NOTE: {}", told(note)));
    }
    lines.extend(locators(laid, options, placed));
    lines
}

/// A locator for each marker, on the record side, always with a name.
fn locators(laid: &Laid<'_>, options: &Options, placed: &Placed<'_>) -> Vec<String> {
    let rate = laid.cut().rate;
    let line = |frame: u64, color: &str, name: &str| {
        format!(
            "* LOC: {} {color:7} {name}",
            rate.label(options.start_frame + frame)
        )
    };
    let whole = line(placed.first_frame, "GREEN", &otio::name(placed));
    let words = heard::words(placed).filter(|_| options.word_markers);
    let words = words.filter_map(|word| {
        let name = safe::shortened(&word.text, COMMENT);
        let frame = rate.nearest(laid.at(placed, word.from), laid.ticks_a_second());
        let frame = frame.clamp(placed.first_frame, placed.end_frame - 1);
        (!name.is_empty()).then(|| line(frame, "CYAN", &name))
    });
    std::iter::once(whole).chain(words).collect()
}
