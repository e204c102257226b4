//! Where does a quote lie now, and what is said there?

use std::collections::{HashMap, HashSet};

use sayback_core::timecode::FrameRate;

use super::super::places::{Places, Stretch, is_on_event_clock};
use super::super::problem::{Answer, Problem};
use super::super::wire::{CutWord, Nudge, Quote, QuoteProblem};
use super::sound;
use super::spoken::{Spoken, joined};
use crate::store::{
    self, CutRow, EventId, Lie, MomentRow, RecordingId, RecordingRow, Store, StoreError,
};

/// What quotes of one list are told by.
pub struct Desk {
    /// The event.
    pub event: EventId,
    /// Its rate, and how it is written.
    pub rate: Option<FrameRate>,
    /// As above.
    pub frame_rate: Option<String>,
    /// Its recordings.
    pub recordings: HashMap<RecordingId, RecordingRow>,
    /// Where they are.
    pub places: Places,
}

/// Where a quote lies.
#[derive(Clone, Debug)]
pub struct Base {
    /// In which file, by the first that is there of those it was picked in.
    pub anchor: Option<Lie>,
    /// Whether that is another than the file it was picked in.
    pub lost: bool,
    /// Whose clock the stretches are on; `None` where they are of the anchor's file.
    pub island: Option<i64>,
    /// Whether that is the event clock.
    on_event_clock: bool,
    /// What was picked, ms.
    pub picked: Stretch,
    /// That with its nudges.
    pub at: Stretch,
}

impl Base {
    /// From its first whole ms to its last.
    pub fn length_ms(&self) -> i64 {
        (self.at.end_ms.round() - self.at.start_ms.round()) as i64
    }
}

impl Desk {
    /// Of an event and its rate.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn of(
        store: &Store,
        event: &EventId,
        frame_rate: Option<String>,
    ) -> Result<Self, StoreError> {
        let recordings = store.recordings(event).await?;
        Ok(Self {
            // What is no rate of pictures is none.
            rate: frame_rate.as_deref().and_then(|rate| rate.parse().ok()),
            frame_rate,
            places: Places::of(store, [event]).await?,
            event: event.clone(),
            recordings: recordings
                .into_iter()
                .map(|row| (row.id.clone(), row))
                .collect(),
        })
    }

    /// Of the event of a list.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn of_cut(store: &Store, cut: &CutRow) -> Result<Self, StoreError> {
        Self::of(store, &cut.event_id, cut.frame_rate.clone()).await
    }

    /// Where a quote lies now: by the first of its files that is still there, so that it
    /// goes with that wherever the clock is put.
    pub fn base(&self, quote: &store::Quote) -> Base {
        let mut lies = quote.lies.iter();
        let there = lies.find(|lie| self.recordings.contains_key(&lie.recording));
        let first = quote.lies.first().map(|lie| &lie.recording);
        let lost = first.is_some() && there.map(|lie| &lie.recording) != first;
        let (island, on_event_clock, picked) = match there {
            Some(lie) => self.of_lie(lie),
            None => {
                let at = quote.start_ms.zip(quote.end_ms).unwrap_or_default();
                let at = Stretch {
                    start_ms: at.0 as f64,
                    end_ms: at.1 as f64,
                };
                (quote.island, quote.island == Some(0), at)
            }
        };
        let start_ms = picked.start_ms + quote.begins_later().in_ms(self.rate);
        let end_ms = picked.end_ms + quote.ends_later().in_ms(self.rate);
        Base {
            anchor: there.cloned(),
            lost,
            island,
            on_event_clock,
            picked,
            at: Stretch {
                start_ms,
                end_ms: end_ms.max(start_ms + 1.0),
            },
        }
    }

    fn of_lie(&self, lie: &Lie) -> (Option<i64>, bool, Stretch) {
        let own = Stretch {
            start_ms: lie.start_ms,
            end_ms: lie.end_ms,
        };
        let placed = self.places.placed(&lie.recording);
        let on_clock = self.places.on_own_clock(&lie.recording, own);
        match placed.zip(on_clock) {
            Some((placed, at)) => (Some(placed.island), is_on_event_clock(placed), at),
            None => (None, false, own),
        }
    }

    /// A stretch of a quote's clock in a recording's file; `None` where it has no place
    /// there.
    pub fn in_file(&self, base: &Base, recording: &RecordingId, at: Stretch) -> Option<Stretch> {
        match base.island {
            Some(island) => self.places.in_file_of(recording, island, at),
            None => {
                let own = base.anchor.as_ref().map(|lie| &lie.recording) == Some(recording);
                own.then_some(at)
            }
        }
    }

    /// A stretch of a recording's file on a quote's clock.
    pub fn on_clock(&self, base: &Base, recording: &RecordingId, at: Stretch) -> Option<Stretch> {
        match base.island {
            Some(island) => {
                self.places
                    .placed(recording)
                    .filter(|row| row.island == island)?;
                self.places.on_own_clock(recording, at)
            }
            None => self.in_file(base, recording, at),
        }
    }

    /// The nudges by which a quote begins and ends at these instants of the event clock.
    ///
    /// # Errors
    /// Where it is not on the event clock.
    pub fn nudges_to(
        &self,
        quote: &store::Quote,
        start_ms: Option<i64>,
        end_ms: Option<i64>,
    ) -> Answer<(Option<store::Nudge>, Option<store::Nudge>)> {
        let base = self.base(quote);
        if !base.on_event_clock {
            let field = if start_ms.is_some() {
                "start_ms"
            } else {
                "end_ms"
            };
            let why = "this quote is not on the event clock; say in and out instead";
            return Err(Problem::field(field, why));
        }
        let to = |ms: i64, from: f64| store::Nudge {
            ms: ms.saturating_sub(from.round() as i64),
            frames: 0,
        };
        Ok((
            start_ms.map(|ms| to(ms, base.picked.start_ms)),
            end_ms.map(|ms| to(ms, base.picked.end_ms)),
        ))
    }
}

/// Quotes as they lie now.
pub struct Told {
    /// How long all quotes of the list are together, ms.
    pub length_ms: i64,
    /// Those that were asked for.
    pub quotes: Vec<Quote>,
}

/// Tells of some quotes of a list, by their places in it.
///
/// # Errors
/// When the database can't be read.
pub async fn told(
    store: &Store,
    desk: &Desk,
    quotes: &[store::Quote],
    which: &[usize],
) -> Answer<Told> {
    let bases: Vec<Base> = quotes.iter().map(|quote| desk.base(quote)).collect();
    let mut length_ms = 0;
    let mut begins = Vec::with_capacity(bases.len());
    for base in &bases {
        begins.push(length_ms);
        length_ms += base.length_ms();
    }
    let wanted: Vec<(usize, &Base)> = which
        .iter()
        .filter_map(|&n| Some((n, bases.get(n)?)))
        .collect();
    let spoken = Spoken::of(store, desk, &wanted).await?;
    let online = sound::online(desk).await?;
    let mut told = Vec::with_capacity(wanted.len());
    for (n, base) in wanted {
        let Some((quote, at_ms)) = quotes.get(n).zip(begins.get(n)) else {
            continue;
        };
        let heard = sound::Heard::of(desk, &spoken, &online, n, quote, base);
        let mut one = one(desk, &spoken, n, quote, base, heard);
        (one.place, one.at_ms) = (n + 1, *at_ms);
        told.push(one);
    }
    Ok(Told {
        length_ms,
        quotes: told,
    })
}

/// Moments of the event clock as quotes of all that was said in them; `None` where none
/// of their recordings is on that clock.
///
/// # Errors
/// When the database can't be read.
pub async fn of_moments(
    store: &Store,
    desk: &Desk,
    online: &HashSet<RecordingId>,
    moments: &[MomentRow],
) -> Answer<Vec<Option<Quote>>> {
    let spoken = Spoken::each(store, moments).await?;
    let quotes = moments.iter().enumerate().map(|(n, row)| {
        let quote = spoken.whole(desk, row)?;
        let base = desk.base(&quote);
        let heard = sound::Heard::of(desk, &spoken, online, n, &quote, &base);
        Some(one(desk, &spoken, n, &quote, &base, heard))
    });
    Ok(quotes.collect())
}

fn one(
    desk: &Desk,
    spoken: &Spoken,
    n: usize,
    quote: &store::Quote,
    base: &Base,
    heard: sound::Heard,
) -> Quote {
    let now = spoken.words(desk, n, base, base.picked);
    let text_now = (!now.is_empty()).then(|| joined(&now));
    let mut problems = of_words(quote, base, text_now.as_deref());
    problems.extend(heard.problems);
    let words = spoken.words(desk, n, base, base.at);
    let in_quote = |ms: f64| (ms - base.at.start_ms).round() as i64;
    let on_clock = |ms: f64| base.on_event_clock.then_some(ms.round() as i64);
    Quote {
        id: quote.id.0.clone(),
        place: 0,
        text: quote.text.clone(),
        text_now,
        person: quote.person.clone(),
        moments: spoken.moments(n).map(|row| row.id.0.clone()).collect(),
        island: base.island,
        start_ms: on_clock(base.at.start_ms),
        end_ms: on_clock(base.at.end_ms),
        at_ms: 0,
        length_ms: base.length_ms(),
        begin: nudge(quote.begins_later()),
        end: nudge(quote.ends_later()),
        words: words
            .iter()
            .map(|(at, word, _)| CutWord {
                text: word.text.clone(),
                start_ms: in_quote(at.start_ms),
                end_ms: in_quote(at.end_ms),
                confidence: word.confidence,
            })
            .collect(),
        hearing: quote.hearing_id.as_ref().map(|id| id.0.clone()),
        chosen: heard.chosen,
        backups: heard.backups,
        backups_wanted: quote.backups,
        note: quote.note.clone(),
        problems,
    }
}

fn nudge(nudge: store::Nudge) -> Nudge {
    Nudge {
        ms: nudge.ms,
        frames: nudge.frames,
    }
}

/// What is wrong with the words of a quote and where they lie.
pub(super) fn of_words(quote: &store::Quote, base: &Base, now: Option<&str>) -> Vec<QuoteProblem> {
    let mut problems = Vec::new();
    if base.anchor.is_none() {
        let detail = "every recording it was picked in is removed; its times are those of when it \
                      was picked";
        problems.push(problem("recording removed", detail));
    } else if base.lost {
        let detail = "the recording it was picked in is removed; its times are taken from another";
        problems.push(problem("recording removed", detail));
    }
    if base.anchor.is_some() && base.island.is_none() {
        let detail = "the recording it was picked in has no place on a clock";
        problems.push(problem("not placed", detail));
    }
    match now {
        _ if quote.text.is_empty() || now == Some(&quote.text) => {}
        None => problems.push(problem("words gone", "no words stand there any more")),
        Some(now) => {
            let detail = format!("its words are others now: {now}");
            problems.push(problem("words changed", detail));
        }
    }
    problems
}

/// Something wrong, and what it means.
pub fn problem(kind: &str, detail: impl Into<String>) -> QuoteProblem {
    QuoteProblem {
        kind: kind.into(),
        detail: detail.into(),
    }
}
