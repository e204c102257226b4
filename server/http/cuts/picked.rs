//! What did somebody pick, and where does it lie in the files that have it?

use std::collections::HashMap;

use sayback_core::text::split_words;

use super::super::places::{Stretch, is_on_event_clock};
use super::super::problem::{Answer, Problem};
use super::super::wire::NewQuote;
use super::a_note;
use super::resolve::{Base, Desk};
use super::spoken::{Spoken, joined};
use crate::store::{Lie, MOST_QUOTES, MomentId, MomentRow, Quote, RecordingId, Store, WordRow};

/// Files in which a quote is remembered.
const MOST_LIES: usize = 16;
/// Times beyond this are no instants of an event, ms: a year.
const FAR_MS: i64 = 366 * 24 * 3_600_000;
/// The most backups one can ask for.
const MOST_BACKUPS: i64 = 100;

/// The moments that quotes are picked from, with their words.
struct Known {
    moments: HashMap<MomentId, (MomentRow, Vec<WordRow>)>,
}

impl Known {
    async fn of(store: &Store, desk: &Desk, asked: &[NewQuote]) -> Answer<Self> {
        let named = asked
            .iter()
            .flat_map(|one| one.moment.iter().chain(&one.runs_over));
        let mut ids: Vec<MomentId> = named.map(|id| id.as_str().into()).collect();
        ids.sort();
        ids.dedup();
        let mut words: HashMap<MomentId, Vec<WordRow>> = HashMap::new();
        for word in store.words_of(&ids).await? {
            words.entry(word.moment_id.clone()).or_default().push(word);
        }
        let mut moments = HashMap::new();
        for row in store.moments_by_ids(&ids).await? {
            if row.event_id == desk.event {
                let own = words.remove(&row.id).unwrap_or_default();
                moments.insert(row.id.clone(), (row, own));
            }
        }
        Ok(Self { moments })
    }

    fn moment(&self, id: &str) -> Answer<&(MomentRow, Vec<WordRow>)> {
        let moment = self.moments.get(&MomentId::from(id));
        moment.ok_or_else(|| Problem::missing("moment", id))
    }
}

/// A word with its moment.
type Row<'a> = (&'a MomentRow, &'a WordRow);

/// Quotes as they are kept.
///
/// # Errors
/// Whatever of them makes no sense, by the number of the quote.
pub async fn all(store: &Store, desk: &Desk, asked: Vec<NewQuote>) -> Answer<Vec<Quote>> {
    if asked.is_empty() || asked.len() > MOST_QUOTES {
        let why = format!("say 1 to {MOST_QUOTES} quotes");
        return Err(Problem::field("quotes", why));
    }
    let known = Known::of(store, desk, &asked).await?;
    let mut quotes = Vec::with_capacity(asked.len());
    let many = asked.len() > 1;
    for (n, one) in (1..).zip(&asked) {
        let numbered = |mut problem: Problem| {
            if many {
                problem.detail = format!("quote {n}: {}", problem.detail);
            }
            problem
        };
        let quote = picked(store, desk, &known, one).await.map_err(numbered)?;
        quotes.push(quote);
    }
    said_there(store, desk, &mut quotes).await?;
    for (quote, one) in quotes.iter_mut().zip(asked) {
        remembered(desk, quote);
        if let Some(id) = &one.hearing {
            (quote.hearing_id, quote.hearing_name) = Some(hearing(desk, id)?).unzip();
        }
        quote.backups = backups(one.backups_wanted)?;
        quote.note = a_note(one.note)?;
    }
    Ok(quotes)
}

/// A recording of the event, and how it is told of when it is gone.
///
/// # Errors
/// When the event has none of that id.
pub fn hearing(desk: &Desk, id: &str) -> Answer<(RecordingId, String)> {
    let row = desk.recordings.get(&RecordingId::from(id));
    let row = row.ok_or_else(|| {
        let why = format!("the event has no recording '{id}'");
        Problem::field("hearing", why)
    })?;
    Ok((
        row.id.clone(),
        format!("{} ({})", row.source_label, row.name),
    ))
}

/// How many backups are wanted.
///
/// # Errors
/// When nobody can want so many.
pub fn backups(wanted: Option<i64>) -> Answer<Option<i64>> {
    match wanted {
        Some(n) if !(0..=MOST_BACKUPS).contains(&n) => {
            let why = format!("backups_wanted is 0 to {MOST_BACKUPS}");
            Err(Problem::field("backups_wanted", why))
        }
        other => Ok(other),
    }
}

async fn picked(store: &Store, desk: &Desk, known: &Known, asked: &NewQuote) -> Answer<Quote> {
    let of_words = asked.from.is_some() || asked.to.is_some() || !asked.matched.is_empty();
    let bounds = asked.start_ms.is_some() || asked.end_ms.is_some();
    match (&asked.recording, &asked.moment) {
        (Some(_), _) if of_words => {
            let why = "say words of a moment, or a stretch of a recording, one of them";
            Err(Problem::field("recording", why))
        }
        (Some(recording), _) => in_file(desk, recording, bounds_of(asked)?),
        (None, Some(moment)) if of_words || !bounds => words(desk, known, moment, asked),
        (None, moment) if bounds => {
            let hint = moment.as_ref().map(|id| known.moment(id)).transpose()?;
            let at = bounds_of(asked)?;
            on_clock(store, desk, hint.map(|(row, _)| row), at).await
        }
        _ => {
            let why = "say a moment; a recording, start_ms and end_ms; or start_ms and end_ms on \
                       the event clock";
            Err(Problem::field("moment", why))
        }
    }
}

fn bounds_of(asked: &NewQuote) -> Answer<(i64, i64)> {
    let say = |field| Problem::field(field, "say both start_ms and end_ms");
    let start_ms = asked.start_ms.ok_or_else(|| say("start_ms"))?;
    let end_ms = asked.end_ms.ok_or_else(|| say("end_ms"))?;
    if end_ms <= start_ms {
        return Err(Problem::field("end_ms", "a quote ends after it begins"));
    }
    if start_ms < -FAR_MS || end_ms > FAR_MS {
        return Err(Problem::field("start_ms", "that is more than a year away"));
    }
    Ok((start_ms, end_ms))
}

fn in_file(desk: &Desk, recording: &str, (start_ms, end_ms): (i64, i64)) -> Answer<Quote> {
    let row = desk.recordings.get(&RecordingId::from(recording));
    let row = row.ok_or_else(|| Problem::missing("recording", recording))?;
    let why = || format!("the recording goes from 0 to {} ms", row.duration_ms);
    if start_ms < 0 {
        return Err(Problem::field("start_ms", why()));
    }
    if end_ms > row.duration_ms {
        return Err(Problem::field("end_ms", why()));
    }
    let at = Stretch {
        start_ms: start_ms as f64,
        end_ms: end_ms as f64,
    };
    Ok(Quote::fresh(None, vec![lie(&row.id, at)]))
}

fn lie(recording: &RecordingId, at: Stretch) -> Lie {
    Lie {
        recording: recording.clone(),
        start_ms: at.start_ms,
        end_ms: at.end_ms,
    }
}

/// Words of a moment, or of a few that follow each other.
fn words(desk: &Desk, known: &Known, moment: &str, asked: &NewQuote) -> Answer<Quote> {
    let (row, own) = known.moment(moment)?;
    let rows = match asked.matched.is_empty() {
        true => {
            let rows: Vec<Row<'_>> = own.iter().map(|word| (row, word)).collect();
            span(&rows, asked.from, asked.to)?
        }
        false => matched(known, moment, asked)?,
    };
    let ends = rows.first().zip(rows.last());
    let ((first, begin), (last, end)) = ends.ok_or_else(|| {
        let why = "nobody has written its words yet; pick a stretch of a recording";
        Problem::field("moment", why)
    })?;
    let timed = |row: &MomentRow| {
        let why = "its words have no times; pick a stretch of a recording";
        let from = row.words_from.clone();
        from.ok_or_else(|| Problem::field("moment", why))
    };
    let (anchor, other) = (timed(first)?, timed(last)?);
    let own = |word: &WordRow| Stretch {
        start_ms: word.start_ms as f64,
        end_ms: word.end_ms as f64,
    };
    let end_ms = match anchor == other {
        true => own(end).end_ms,
        false => across(desk, &other, own(end), &anchor)?.end_ms,
    };
    let text: Vec<&str> = rows.iter().map(|(_, word)| word.text.as_str()).collect();
    // A word may be timed as no time at all.
    let at = Stretch {
        start_ms: own(begin).start_ms,
        end_ms: end_ms.max(own(begin).start_ms + 1.0),
    };
    Ok(Quote {
        text: text.join(" "),
        person: first.person_name.clone(),
        ..Quote::fresh(Some(first.id.clone()), vec![lie(&anchor, at)])
    })
}

/// A stretch of one file in another.
fn across(desk: &Desk, from: &RecordingId, at: Stretch, to: &RecordingId) -> Answer<Stretch> {
    let on_clock = desk
        .places
        .placed(from)
        .zip(desk.places.on_own_clock(from, at));
    let there = on_clock.and_then(|(row, at)| desk.places.in_file_of(to, row.island, at));
    there.ok_or_else(|| {
        let why = "these moments are on no common clock; pick them one by one";
        Problem::field("runs_over", why)
    })
}

/// Words from one to another.
fn span<'a>(rows: &[Row<'a>], from: Option<i64>, to: Option<i64>) -> Answer<Vec<Row<'a>>> {
    let number = |n: i64| usize::try_from(n).unwrap_or(usize::MAX);
    let (from, to) = (from.map_or(0, number), to.map_or(rows.len(), number));
    let why = || format!("the moment has words 0 to {}", rows.len());
    if to > rows.len() {
        return Err(Problem::field("to", why()));
    }
    if from >= to && !rows.is_empty() {
        return Err(Problem::field("from", why()));
    }
    Ok(rows.get(from..to).unwrap_or_default().to_vec())
}

/// Words as a hit counts them: of its moments in order of time, without rows that show
/// none.
fn matched<'a>(known: &'a Known, moment: &str, asked: &NewQuote) -> Answer<Vec<Row<'a>>> {
    let mut moments = vec![known.moment(moment)?];
    for id in &asked.runs_over {
        moments.push(known.moment(id)?);
    }
    moments.sort_by_key(|(row, _)| (row.island, row.start_ms));
    let mut shown = Vec::new();
    for (row, words) in moments {
        for word in words {
            let count = split_words(&word.text).len();
            shown.extend(std::iter::repeat_n((row, word), count));
        }
    }
    let from = asked
        .matched
        .iter()
        .map(|span| span.from)
        .min()
        .unwrap_or(0);
    let to = asked.matched.iter().map(|span| span.to).max().unwrap_or(0);
    let rows = shown.get(from..to).filter(|rows| !rows.is_empty());
    let rows = rows.ok_or_else(|| {
        let why = format!("the moments have words 0 to {}", shown.len());
        Problem::field("matched", why)
    })?;
    let mut rows = rows.to_vec();
    rows.dedup_by(|(_, a), (_, b)| (&a.moment_id, a.n) == (&b.moment_id, b.n));
    Ok(rows)
}

/// A stretch of the event clock, in the file its words are timed in, or else in the one
/// that has most of it and is placed best.
async fn on_clock(
    store: &Store,
    desk: &Desk,
    hint: Option<&MomentRow>,
    (start_ms, end_ms): (i64, i64),
) -> Answer<Quote> {
    let at = Stretch {
        start_ms: start_ms as f64,
        end_ms: end_ms as f64,
    };
    let there = match hint {
        Some(row) => vec![row.clone()],
        None => {
            let (from, to) = (Some(start_ms), Some(end_ms));
            store.moments(&desk.event, from, to, 20, 0).await?
        }
    };
    let most = there
        .iter()
        .filter(|row| row.words_from.is_some())
        .max_by_key(|row| row.end_ms.min(end_ms) - row.start_ms.max(start_ms));
    let timed_in = most.and_then(|row| row.words_from.as_ref());
    let mut copies: Vec<(Lie, f64, f64)> = copies(desk, 0, at);
    copies.sort_by(|(a, lacks, unsure), (b, other_lacks, other_unsure)| {
        let own = |lie: &Lie| Some(&lie.recording) != timed_in;
        (lacks.total_cmp(other_lacks))
            .then(own(a).cmp(&own(b)))
            .then(unsure.total_cmp(other_unsure))
            .then(a.recording.cmp(&b.recording))
    });
    let (lie, ..) = copies.into_iter().next().ok_or_else(|| {
        let why = "no recording of the event has anything of that time";
        Problem::field("start_ms", why)
    })?;
    Ok(Quote::fresh(most.map(|row| row.id.clone()), vec![lie]))
}

/// The files that have some of a stretch of a clock: where, how much each lacks, ms, and
/// how far it may be off, ms.
fn copies(desk: &Desk, island: i64, at: Stretch) -> Vec<(Lie, f64, f64)> {
    let mut copies = Vec::new();
    for row in desk.recordings.values() {
        let Some(placed) = desk.places.placed(&row.id) else {
            continue;
        };
        let there = desk.places.in_file_of(&row.id, island, at);
        let Some(there) = there.filter(|_| island != 0 || is_on_event_clock(placed)) else {
            continue;
        };
        let inside = there.inside(row.duration_ms);
        if inside > 0.0 {
            // Rounding is no lack.
            let lacks = (there.end_ms - there.start_ms - inside).round();
            let unsure = placed.uncertainty_ms.unwrap_or(f64::INFINITY);
            copies.push((lie(&row.id, there), lacks, unsure));
        }
    }
    copies
}

/// Fills in the words of quotes that were picked by their times.
async fn said_there(store: &Store, desk: &Desk, quotes: &mut [Quote]) -> Answer<()> {
    let bases: Vec<(usize, Base)> = quotes
        .iter()
        .enumerate()
        .filter(|(_, quote)| quote.text.is_empty())
        .map(|(n, quote)| (n, desk.base(quote)))
        .collect();
    if bases.is_empty() {
        return Ok(());
    }
    let some: Vec<(usize, &Base)> = bases.iter().map(|(n, base)| (*n, base)).collect();
    let spoken = Spoken::of(store, desk, &some).await?;
    for (n, base) in some {
        let Some(quote) = quotes.get_mut(n) else {
            continue;
        };
        let words = spoken.words(desk, n, base, base.picked);
        quote.text = joined(&words);
        let mut counts: HashMap<&MomentId, (usize, &MomentRow)> = HashMap::new();
        for (_, _, moment) in &words {
            counts.entry(&moment.id).or_insert((0, moment)).0 += 1;
        }
        let most = counts
            .into_values()
            .max_by_key(|(count, row)| (*count, &row.id));
        if let Some((_, row)) = most {
            quote.moment_id = Some(row.id.clone());
            quote.person.clone_from(&row.person_name);
        }
    }
    Ok(())
}

/// Remembers where a quote lies on the clock, and in the other files that have it, those
/// with all of it first, then those that are placed best.
fn remembered(desk: &Desk, quote: &mut Quote) {
    let base = desk.base(quote);
    let Some(island) = base.island else { return };
    quote.island = Some(island);
    quote.start_ms = Some(base.picked.start_ms.round() as i64);
    quote.end_ms = Some(base.picked.end_ms.round() as i64);
    let anchor = base.anchor.map(|lie| lie.recording);
    let mut others = copies(desk, island, base.picked);
    others.retain(|(lie, ..)| Some(&lie.recording) != anchor.as_ref());
    others.sort_by(|(a, lacks, unsure), (b, other_lacks, other_unsure)| {
        (lacks.total_cmp(other_lacks))
            .then(unsure.total_cmp(other_unsure))
            .then(a.recording.cmp(&b.recording))
    });
    let others = others.into_iter().map(|(lie, ..)| lie);
    quote.lies.0.extend(others.take(MOST_LIES - 1));
}
