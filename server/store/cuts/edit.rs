//! What does a cut list become by what somebody does to it?
//!
//! A change says of which version of the list it is one. Where that is not the one that
//! stands nothing is written, unless the list is already as the change would have it: a
//! request that is sent once more after a lost answer does no harm and is no error.

use sayback_core::timecode::FrameRate;
use serde_json::json;

use super::super::error::unknown;
use super::super::{CutId, MomentId, QuoteId, RecordingId, Store, StoreError};
use super::versions::{Before, Whole};
use super::{CutRow, MOST_QUOTES, Nudge, Quote};

/// No nudge is longer, ms: a day; nor more frames: a day at 120 a second.
const FAR_MS: i64 = 86_400_000;
const FAR_FRAMES: i64 = 86_400 * 120;

/// No list is longer, ms: a day of quotes. What is told of a list, every word in it, is
/// bounded by that.
const LONGEST_MS: f64 = 86_400_000.0;

/// What somebody does to a cut list. Places count from 1.
#[derive(Clone, Debug, PartialEq)]
pub enum CutEdit {
    /// Gives it another name, another note.
    Name {
        /// What it is called.
        name: Option<String>,
        /// What is written about it.
        note: Option<String>,
    },
    /// Puts quotes into it, the first at this place; at the end without one.
    Add {
        /// Where.
        place: Option<usize>,
        /// What.
        quotes: Vec<Quote>,
    },
    /// Puts a quote at another place.
    Move {
        /// Which.
        quote: QuoteId,
        /// Where.
        place: usize,
    },
    /// Puts all quotes in this order.
    Order(Vec<QuoteId>),
    /// Changes a quote.
    Change {
        /// Which.
        quote: QuoteId,
        /// What of it.
        change: QuoteChange,
    },
    /// Has a quote begin and end so much later than it does.
    Nudge {
        /// Which.
        quote: QuoteId,
        /// How much later it begins.
        begin: Nudge,
        /// How much later it ends.
        end: Nudge,
    },
    /// Takes a quote out.
    Drop(QuoteId),
    /// Goes back to a version that was kept; without one to the last before this.
    Restore(Option<i64>),
}

/// What of a quote changes; what is `None` stays.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct QuoteChange {
    /// How much later than the picked words it begins.
    pub begin: Option<Nudge>,
    /// How much later than the picked words it ends.
    pub end: Option<Nudge>,
    /// The recording to be heard, and how it is told of; `Some(None)` for the best.
    pub hearing: Option<Option<(RecordingId, String)>>,
    /// So many backups are wanted; `Some(None)` for all.
    pub backups: Option<Option<i64>>,
    /// What is written about it.
    pub note: Option<String>,
}

/// What became of a list.
#[derive(Clone, Debug, PartialEq)]
pub struct CutEdited {
    /// The list.
    pub cut: CutRow,
    /// All its quotes in order.
    pub quotes: Vec<Quote>,
    /// Those that the change was about and that are there.
    pub about: Vec<QuoteId>,
}

impl CutEdit {
    fn before(&self) -> Before {
        match self {
            Self::Name { .. } => Before::Name,
            Self::Add { .. } => Before::Add,
            Self::Move { .. } | Self::Order(_) => Before::Move,
            Self::Change { .. } => Before::Change,
            Self::Nudge { .. } => Before::Nudge,
            Self::Drop(_) => Before::Drop,
            Self::Restore(_) => Before::Restore,
        }
    }

    /// Whether doing it twice is doing it once.
    fn is_absolute(&self) -> bool {
        matches!(
            self,
            Self::Name { .. } | Self::Move { .. } | Self::Order(_) | Self::Change { .. }
        )
    }

    /// The quotes it is about.
    fn about(&self) -> Vec<QuoteId> {
        match self {
            Self::Add { quotes, .. } => quotes.iter().map(|quote| quote.id.clone()).collect(),
            Self::Move { quote, .. } | Self::Change { quote, .. } | Self::Nudge { quote, .. } => {
                vec![quote.clone()]
            }
            _ => Vec::new(),
        }
    }

    /// Does it; [`CutEdit::Restore`] is done by who has the version.
    fn apply(&self, whole: &mut Whole, rate: Option<FrameRate>) -> Result<(), StoreError> {
        match self {
            Self::Name { name, note } => {
                if let Some(name) = name {
                    whole.name.clone_from(name);
                }
                if let Some(note) = note {
                    whole.note.clone_from(note);
                }
            }
            Self::Add { place, quotes } => add(&mut whole.quotes, *place, quotes, rate)?,
            Self::Move { quote, place } => {
                let from = at(&whole.quotes, quote)?;
                let to = place.checked_sub(1).filter(|to| *to < whole.quotes.len());
                let to = to.ok_or_else(|| {
                    unfit("place", format!("places are 1 to {}", whole.quotes.len()))
                })?;
                let moved = whole.quotes.remove(from);
                whole.quotes.insert(to, moved);
            }
            Self::Order(ids) => whole.quotes = ordered(&whole.quotes, ids)?,
            Self::Change { quote, change } => {
                let n = at(&whole.quotes, quote)?;
                if let Some(quote) = whole.quotes.get_mut(n) {
                    change.apply(quote, rate)?;
                }
            }
            Self::Nudge { quote, begin, end } => {
                let n = at(&whole.quotes, quote)?;
                if let Some(quote) = whole.quotes.get_mut(n) {
                    let begin = sum(quote.begins_later(), *begin);
                    let end = sum(quote.ends_later(), *end);
                    bounded(quote, Some(begin), Some(end), rate)?;
                }
            }
            Self::Drop(quote) => {
                whole.quotes.remove(at(&whole.quotes, quote)?);
            }
            Self::Restore(_) => {}
        }
        Ok(())
    }
}

impl QuoteChange {
    fn apply(&self, quote: &mut Quote, rate: Option<FrameRate>) -> Result<(), StoreError> {
        bounded(quote, self.begin, self.end, rate)?;
        if let Some(hearing) = &self.hearing {
            (quote.hearing_id, quote.hearing_name) = hearing.clone().unzip();
        }
        if let Some(backups) = self.backups {
            quote.backups = backups;
        }
        if let Some(note) = &self.note {
            quote.note.clone_from(note);
        }
        Ok(())
    }
}

fn sum(one: Nudge, other: Nudge) -> Nudge {
    Nudge {
        ms: one.ms.saturating_add(other.ms),
        frames: one.frames.saturating_add(other.frames),
    }
}

/// Gives a quote its bounds, if it ends after it begins and they are no further than a
/// day from what was picked.
fn bounded(
    quote: &mut Quote,
    begin: Option<Nudge>,
    end: Option<Nudge>,
    rate: Option<FrameRate>,
) -> Result<(), StoreError> {
    let (was_in, was_out) = (quote.begins_later(), quote.ends_later());
    let (new_in, new_out) = (begin.unwrap_or(was_in), end.unwrap_or(was_out));
    for (field, nudge) in [("in", new_in), ("out", new_out)] {
        if nudge.frames != 0 && rate.is_none() {
            let why = "the event has no frame rate to count frames by; say it in ms";
            return Err(unfit(field, why.into()));
        }
        let far = |n: i64, most: i64| n.checked_abs().is_none_or(|n| n > most);
        if far(nudge.ms, FAR_MS) || far(nudge.frames, FAR_FRAMES) {
            return Err(unfit(field, "that is more than a day away".into()));
        }
    }
    (quote.in_ms, quote.in_frames) = (new_in.ms, new_in.frames);
    (quote.out_ms, quote.out_frames) = (new_out.ms, new_out.frames);
    let moved = (new_in, new_out) != (was_in, was_out);
    if moved && quote.length_ms(rate) < 1.0 {
        let field = if new_in == was_in { "out" } else { "in" };
        return Err(unfit(field, "a quote begins before it ends".into()));
    }
    Ok(())
}

fn add(
    quotes: &mut Vec<Quote>,
    place: Option<usize>,
    new: &[Quote],
    rate: Option<FrameRate>,
) -> Result<(), StoreError> {
    if quotes.len() + new.len() > MOST_QUOTES {
        let why = format!("a cut list has at most {MOST_QUOTES} quotes");
        return Err(unfit("quotes", why));
    }
    if new.iter().any(|quote| quote.length_ms(rate) < 1.0) {
        return Err(unfit("end_ms", "a quote begins before it ends".into()));
    }
    let at = place.unwrap_or(quotes.len() + 1).checked_sub(1);
    let at = at.filter(|at| *at <= quotes.len());
    let at = at.ok_or_else(|| unfit("place", format!("places are 1 to {}", quotes.len() + 1)))?;
    quotes.splice(at..at, new.iter().cloned());
    Ok(())
}

fn ordered(quotes: &[Quote], ids: &[QuoteId]) -> Result<Vec<Quote>, StoreError> {
    let mut by_id: std::collections::HashMap<&QuoteId, &Quote> =
        quotes.iter().map(|quote| (&quote.id, quote)).collect();
    let taken = ids.iter().filter_map(|id| by_id.remove(id).cloned());
    let ordered: Vec<Quote> = taken.collect();
    if ordered.len() != ids.len() || ordered.len() != quotes.len() {
        let why = format!("say the ids of all {} quotes, each once", quotes.len());
        return Err(unfit("quotes", why));
    }
    Ok(ordered)
}

fn at(quotes: &[Quote], id: &QuoteId) -> Result<usize, StoreError> {
    let there = quotes.iter().position(|quote| quote.id == *id);
    there.ok_or_else(|| unknown("quote", id)(sqlx::Error::RowNotFound))
}

/// Refuses what makes a list longer than lists are.
fn no_longer(now: &Whole, was: &Whole, rate: Option<FrameRate>) -> Result<(), StoreError> {
    let length = |whole: &Whole| -> f64 {
        let quotes = whole.quotes.iter();
        quotes.map(|quote| quote.length_ms(rate)).sum()
    };
    if length(now) > LONGEST_MS && length(now) > length(was) {
        return Err(unfit(
            "quotes",
            "a cut list is at most 24 hours long".into(),
        ));
    }
    Ok(())
}

fn unfit(field: &'static str, reason: String) -> StoreError {
    StoreError::Unfit { field, reason }
}

impl Store {
    /// Does something to a list; what changes nothing is no new version.
    ///
    /// # Errors
    /// [`StoreError::Outdated`] when it was made against another version;
    /// [`StoreError::Unfit`] when it makes no sense; [`StoreError::Unknown`] list, quote
    /// or version; [`StoreError::Exists`] and [`StoreError::Invalid`] for its name;
    /// [`StoreError::DiskFull`].
    pub async fn edit_cut(
        &self,
        id: &CutId,
        version: i64,
        edit: &CutEdit,
        now_ms: i64,
    ) -> Result<CutEdited, StoreError> {
        let mut transaction = self.begin().await?;
        let (cut, quotes) = self.read_cut(&mut transaction, id).await?;
        let was = Whole {
            name: cut.name.clone(),
            note: cut.note.clone(),
            quotes,
        };
        let outdated = cut.version != version;
        let late = StoreError::Outdated {
            what: "cut list",
            id: id.0.clone(),
            version: cut.version,
        };
        if outdated && !edit.is_absolute() {
            return Err(late);
        }
        let now = match edit {
            CutEdit::Restore(to) => self.kept_before(&mut transaction, &cut, *to).await?,
            _ => {
                let mut now = was.clone();
                let rate = cut.rate();
                let applied = edit
                    .apply(&mut now, rate)
                    .and_then(|()| no_longer(&now, &was, rate));
                match applied {
                    Err(_) if outdated => return Err(late),
                    done => done?,
                }
                now
            }
        };
        if now == was {
            return Ok(CutEdited {
                cut,
                quotes: was.quotes,
                about: edit.about(),
            });
        }
        if outdated {
            return Err(late);
        }
        self.keep_before(&mut transaction, &cut, &was, edit.before(), now_ms)
            .await?;
        sqlx::query(self.sql(super::WRITE_CUT))
            .bind(id)
            .bind(&now.name)
            .bind(&now.note)
            .bind(now_ms)
            .execute(&mut *transaction)
            .await?;
        sqlx::query(self.sql(super::FORGET_QUOTES))
            .bind(id)
            .execute(&mut *transaction)
            .await?;
        sqlx::query(self.sql(super::WRITE_QUOTES))
            .bind(id)
            .bind(json!(now.quotes).to_string())
            .execute(&mut *transaction)
            .await?;
        let (cut, quotes) = self.read_cut(&mut transaction, id).await?;
        transaction.commit().await?;
        Ok(CutEdited {
            cut,
            quotes,
            about: edit.about(),
        })
    }
}

impl Quote {
    /// A quote that was not there, where it lies in files, unbounded by anything else.
    #[must_use]
    pub fn fresh(moment: Option<MomentId>, lies: Vec<super::Lie>) -> Self {
        Self {
            id: QuoteId::fresh(),
            moment_id: moment,
            text: String::new(),
            person: None,
            lies: super::super::Json(lies),
            island: None,
            start_ms: None,
            end_ms: None,
            in_ms: 0,
            in_frames: 0,
            out_ms: 0,
            out_frames: 0,
            hearing_id: None,
            hearing_name: None,
            backups: None,
            note: String::new(),
        }
    }
}
