//! Tables, as RFC 4180 has them: UTF-8, lines ended by CR LF, the first names the columns.
//!
//! What a spreadsheet would take for a formula has an apostrophe before it.

use csv::{Terminator, Writer, WriterBuilder};

use super::super::safe::{self, cell};
use super::{CutError, Laid, Media, Options, Placed, Take, heard, otio};

/// A row.
type Row = Vec<String>;

/// A quote a row.
pub(super) fn quotes(laid: &Laid<'_>, options: &Options) -> Result<String, CutError> {
    let head = [
        "quote",
        "cut_in",
        "cut_out",
        "cut_in_s",
        "length_s",
        "person",
        "text",
        "note",
        "source",
        "placement",
        "file",
        "recording",
        "online",
        "verdict",
        "sample_rate_hz",
        "from_sample",
        "to_sample",
        "source_in",
        "source_out",
        "source_counts_from",
        "recorder_ppm_fast",
        "backups",
        "doubt",
        "also",
    ];
    let rows = laid
        .quotes()
        .iter()
        .map(|placed| quote(laid, options, placed));
    written(&head, rows)
}

/// A marker a row: quotes and, where it is asked for, words.
pub(super) fn markers(laid: &Laid<'_>, options: &Options) -> Result<String, CutError> {
    let head = [
        "kind",
        "quote",
        "timecode",
        "at_s",
        "length_s",
        "name",
        "person",
        "note",
        "source",
        "file",
        "sample_rate_hz",
        "from_sample",
        "to_sample",
        "doubt",
    ];
    let rows = laid.quotes().iter().flat_map(|placed| {
        let whole = std::iter::once(quote_marker(laid, options, placed));
        whole.chain(word_markers(laid, options, placed))
    });
    written(&head, rows)
}

fn quote(laid: &Laid<'_>, options: &Options, placed: &Placed<'_>) -> Row {
    let Placed {
        quote, take, media, ..
    } = placed;
    let rate = laid.cut().rate;
    let label = |frame: u64| rate.label(frame);
    let frames = placed.end_frame - placed.first_frame;
    let source = laid.source_frames(media, take, frames);
    let backups = quote.takes.iter().skip(1).filter_map(|take| {
        let media = laid.media(take)?;
        let part = part(laid, placed, media, take);
        Some(format!(
            "{}: {}{part}",
            safe::line(&media.label),
            stretch(media, take)
        ))
    });
    vec![
        placed.number.to_string(),
        label(options.start_frame + placed.first_frame),
        label(options.start_frame + placed.end_frame),
        seconds(laid, placed.start),
        seconds(laid, placed.end - placed.start),
        optional(quote.person.as_deref()),
        cell(&quote.text),
        optional(quote.note.as_deref()),
        cell(&media.label),
        cell(&media.placement),
        cell(&media.file_name),
        cell(&media.id),
        if media.online { "yes" } else { "no" }.to_owned(),
        cell(&take.verdict),
        media.sample_rate_hz.to_string(),
        take.from.to_string(),
        take.to.to_string(),
        label(source.0),
        label(source.1),
        if media.time_reference.is_some() {
            "midnight"
        } else {
            "start of file"
        }
        .to_owned(),
        format!("{:.1}", take.ppm),
        cell(&backups.collect::<Vec<String>>().join("; ")),
        optional(quote.caution()),
        optional(quote.also.as_deref()),
    ]
}

/// Which part of its quote a backup has, where that is not all of it.
fn part(laid: &Laid<'_>, placed: &Placed<'_>, media: &Media, take: &Take) -> String {
    let start = placed.start + laid.ticks(media, take.later);
    let end = start + laid.ticks(media, take.to - take.from);
    let missing = placed.end.saturating_sub(end);
    // A ms is lost by rounding.
    if take.later == 0 && laid.ms(missing) <= 1 {
        return String::new();
    }
    let seconds = |ticks| seconds(laid, ticks);
    let (from, to) = (seconds(start - placed.start), seconds(end - placed.start));
    format!(", only {from} to {to} s of it")
}

fn stretch(media: &Media, take: &Take) -> String {
    let file = safe::line(&media.file_name);
    format!(
        "{file} samples {} to {} ({})",
        take.from,
        take.to,
        safe::line(&take.verdict)
    )
}

fn quote_marker(laid: &Laid<'_>, options: &Options, placed: &Placed<'_>) -> Row {
    let Placed { quote, take, .. } = placed;
    let place = (placed.start, placed.end, placed.first_frame);
    let mut row = marker(laid, options, placed, "quote", place);
    row.extend([
        cell(&otio::name(placed)),
        optional(quote.person.as_deref()),
        optional(quote.note.as_deref()),
    ]);
    row.extend(source(placed, take.from, take.to));
    row.push(optional(quote.caution()));
    row
}

fn word_markers<'a>(
    laid: &'a Laid<'_>,
    options: &'a Options,
    placed: &'a Placed<'_>,
) -> impl Iterator<Item = Row> + 'a {
    let words = heard::words(placed).filter(|_| options.word_markers);
    words.map(move |word| {
        let (from, to) = (laid.at(placed, word.from), laid.at(placed, word.to));
        let frame = laid.cut().rate.nearest(from, laid.ticks_a_second());
        let frame = frame.clamp(placed.first_frame, placed.end_frame - 1);
        let mut row = marker(laid, options, placed, "word", (from, to.max(from), frame));
        row.extend([
            cell(&word.text),
            optional(placed.quote.says(word)),
            String::new(),
        ]);
        let first = word.from.max(placed.take.from);
        row.extend(source(
            placed,
            first,
            word.to.min(placed.take.to).max(first),
        ));
        row.push(optional(placed.quote.caution()));
        row
    })
}

fn marker(
    laid: &Laid<'_>,
    options: &Options,
    placed: &Placed<'_>,
    kind: &str,
    (from, to, frame): (u128, u128, u64),
) -> Row {
    vec![
        kind.to_owned(),
        placed.number.to_string(),
        laid.cut().rate.label(options.start_frame + frame),
        seconds(laid, from),
        seconds(laid, to - from),
    ]
}

fn source(placed: &Placed<'_>, from: u64, to: u64) -> [String; 5] {
    [
        cell(&placed.media.label),
        cell(&placed.media.file_name),
        placed.media.sample_rate_hz.to_string(),
        from.to_string(),
        to.to_string(),
    ]
}

fn optional(text: Option<&str>) -> String {
    text.map(cell).unwrap_or_default()
}

fn seconds(laid: &Laid<'_>, ticks: u128) -> String {
    let ms = laid.ms(ticks);
    format!("{}.{:03}", ms / 1000, ms % 1000)
}

fn written(head: &[&str], rows: impl Iterator<Item = Row>) -> Result<String, CutError> {
    let mut table = WriterBuilder::new()
        .terminator(Terminator::CRLF)
        .from_writer(Vec::new());
    let wrong = |error: csv::Error| CutError::Table(error.to_string());
    table.write_record(head).map_err(wrong)?;
    for row in rows {
        table.write_record(&row).map_err(wrong)?;
    }
    bytes(table)
}

fn bytes(table: Writer<Vec<u8>>) -> Result<String, CutError> {
    let wrong = |error: String| CutError::Table(error);
    let bytes = table
        .into_inner()
        .map_err(|error| wrong(error.to_string()))?;
    String::from_utf8(bytes).map_err(|error| wrong(error.to_string()))
}
