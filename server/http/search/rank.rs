//! Which moments answer, in which order?

use std::cmp::Ordering;
use std::collections::HashMap;

use sayback_core::text::{Found, How, Line, Listener, Span, Wanted};

use super::ask::Sort;
use crate::store::{EventId, Matching, MomentId, Neighbourhood, SaidRow, Store, StoreError};

/// Moments that answer a query together: mostly one, or a few that follow each other.
#[derive(Clone, Debug)]
pub struct Ranked {
    /// The moment that has most of it, by its number in the index.
    pub no: i64,
    /// The moments, in order; none until they are looked at.
    pub rows: Vec<SaidRow>,
    /// Which of them has most of it.
    pub main: usize,
    /// The words of all of them, counted on, that match; `None` until they are looked for.
    pub found: Option<Found>,
    /// How well they answer, 0 to 1.
    pub score: f32,
    /// How.
    pub how: How,
}

impl Ranked {
    /// The very words, still to be looked for.
    fn exact(no: i64) -> Self {
        Self {
            no,
            rows: Vec::new(),
            main: 0,
            found: None,
            score: 1.0,
            how: How::Exact,
        }
    }

    /// What one moment has of it.
    fn alone(wanted: &Wanted, row: SaidRow) -> Option<Self> {
        let found = wanted.find_in(&Line::read(&row.words, &row.other), 0)?;
        Some(Self {
            no: row.no,
            rows: vec![row],
            main: 0,
            score: found.score,
            how: found.how,
            found: Some(found),
        })
    }

    fn near(wanted: &Wanted, near: Neighbourhood) -> Option<Self> {
        let main = usize::from(near.before.is_some());
        let no = near.own.no;
        let rows: Vec<SaidRow> = near
            .before
            .into_iter()
            .chain([near.own])
            .chain(near.after)
            .collect();
        let mut line = Line::default();
        for row in &rows {
            line.push(&row.words, &row.other);
        }
        let found = wanted.listen_in(&line, main)?;
        let first = line.place(found.matched.first()?.from).0;
        let last = line.place(found.matched.last()?.to - 1).0;
        let (first, last) = (first.min(main), last.max(main));
        let before: usize = rows[..first].iter().map(|row| count(&row.words)).sum();
        let matched = found.matched.iter().map(|span| Span {
            from: span.from - before,
            to: span.to - before,
        });
        let (score, how) = (found.score, found.how);
        Some(Self {
            no,
            found: Some(Found {
                matched: matched.collect(),
                ..found.clone()
            }),
            main: main - first,
            rows: rows[first..=last].to_vec(),
            score,
            how,
        })
    }

    /// Looks for the words that match in its row, if that was not done yet.
    fn settle(&mut self, wanted: &Wanted, row: SaidRow) {
        if let Some(found) = Self::alone(wanted, row.clone()) {
            *self = found;
            return;
        }
        self.found = Some(Found {
            matched: Vec::new(),
            score: self.score,
            how: self.how,
            sure: true,
        });
        self.rows = vec![row];
    }

    /// Whether it is less than the tool stands for.
    pub fn is_guess(&self) -> bool {
        self.found.as_ref().is_some_and(|found| !found.sure)
    }

    /// How sure the recogniser is of the words that match, 0 to 1; of all if none do.
    pub fn sure(&self) -> f32 {
        let all: Vec<u8> = self.rows.iter().flat_map(|row| row.sure.bytes()).collect();
        let matched = self.found.iter().flat_map(|found| &found.matched);
        let matched: Vec<u8> = matched
            .flat_map(|span| all.get(span.from..span.to).unwrap_or_default())
            .copied()
            .collect();
        let of = if matched.is_empty() { all } else { matched };
        let tenths: usize = of
            .iter()
            .map(|sign| usize::from(sign.saturating_sub(b'0')))
            .sum();
        tenths as f32 / (10 * of.len().max(1)) as f32
    }

    fn place(&self) -> Option<(&EventId, i64, i64, i64)> {
        let row = self.rows.first()?;
        Some((&row.event_id, row.island, row.start_ms, row.no))
    }

    fn moments(&self) -> impl Iterator<Item = &MomentId> {
        self.rows.iter().map(|row| &row.id)
    }
}

fn count(words: &str) -> usize {
    words.split_ascii_whitespace().count()
}

/// So many of the likeliest answers are looked at together with what was said before and
/// after, and listened to.
const LISTENED: usize = 48;
/// So many are told that sound like the whole line.
const WHOLE: usize = 5;

/// The answers in order; those whose words are less sure than `least` are left out.
///
/// # Errors
/// When the database can't be read.
pub async fn ranked(
    store: &Store,
    wanted: &Wanted,
    matching: Matching,
    sort: Sort,
    least: Option<f32>,
) -> Result<Vec<Ranked>, StoreError> {
    let mut near = near(store, wanted, &matching).await?;
    let exact = match sort {
        Sort::Clock => store.in_order(&matching.exact).await?,
        Sort::Relevance => matching.exact,
    };
    let mut exact: Vec<Ranked> = exact.into_iter().map(Ranked::exact).collect();
    if least.is_some() || wanted.begun || sort == Sort::Clock && !near.is_empty() {
        // Of words that begin as typed the shortest come first.
        settle(store, wanted, &mut exact).await?;
    }
    near.sort_by(|a, b| a.place().cmp(&b.place()));
    let mut all = exact;
    all.extend(near);
    if let Some(least) = least {
        all.retain(|one| one.sure() >= least);
    }
    let by_place = |a: &Ranked, b: &Ranked| match (a.rows.is_empty(), b.rows.is_empty()) {
        // Those that were not looked at stand in this order already, before the others.
        (true, true) => Ordering::Equal,
        (true, false) => Ordering::Less,
        (false, true) => Ordering::Greater,
        (false, false) => a.place().cmp(&b.place()),
    };
    match sort {
        Sort::Clock => all.sort_by(by_place),
        // Of equals those before that stand before: pages would shift by any other order.
        Sort::Relevance => all.sort_by(|a, b| {
            let by_score = b.score.total_cmp(&a.score);
            by_score.then(a.how.cmp(&b.how))
        }),
    }
    Ok(all)
}

/// What may answer, looked at: all of it moment by moment, the likeliest closely.
async fn near(
    store: &Store,
    wanted: &Wanted,
    matching: &Matching,
) -> Result<Vec<Ranked>, StoreError> {
    let rows = store.said(&matching.near).await?;
    let alone = rows.into_iter();
    let mut found: Vec<Ranked> = alone.filter_map(|row| Ranked::alone(wanted, row)).collect();
    if wanted.literal {
        return Ok(found);
    }
    found.sort_by(|a, b| b.score.total_cmp(&a.score).then(a.place().cmp(&b.place())));
    let close: Vec<i64> = found
        .iter()
        .take(LISTENED)
        .filter(|one| one.how != How::Exact)
        .map(|one| one.no)
        .collect();
    let mut close = close;
    let mut whole = Vec::new();
    if !found.iter().any(|one| !one.is_guess()) {
        let rows = store.said(&matching.audible).await?;
        let (words, lines) = heard(wanted, &rows);
        close.extend(words.iter().filter(|no| !matching.near.contains(no)));
        whole = lines;
    }
    let around = store.said_around(&close).await?;
    let listened: Vec<Ranked> = around
        .into_iter()
        .filter_map(|one| Ranked::near(wanted, one))
        .collect();
    found.retain(|one| !close.contains(&one.no));
    found.extend(listened);
    for one in whole {
        match found.iter_mut().find(|other| other.no == one.no) {
            Some(other) if other.score < one.score => *other = one,
            Some(_) => {}
            None => found.push(one),
        }
    }
    Ok(found)
}

/// Listens to moments for what is written in none of them: those in which such words may
/// be heard, the likeliest first, and those that sound like the whole line.
fn heard(wanted: &Wanted, rows: &[SaidRow]) -> (Vec<i64>, Vec<Ranked>) {
    let lines = rows.iter().map(|row| Line::read(&row.words, &row.other));
    let lines: Vec<Line> = lines.collect();
    let mut listener = Listener::new(wanted, &lines);
    let mut heard: Vec<(f32, i64)> = Vec::new();
    let mut whole: Vec<Ranked> = Vec::new();
    for (row, line) in rows.iter().zip(&lines) {
        heard.push((listener.words(line), row.no));
        whole.extend(listener.whole(line).map(|found| Ranked {
            no: row.no,
            rows: vec![row.clone()],
            main: 0,
            score: found.score,
            how: found.how,
            found: Some(found),
        }));
    }
    heard.retain(|(heard, _)| *heard > 0.0);
    heard.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    heard.truncate(LISTENED);
    whole.sort_by(|a, b| b.score.total_cmp(&a.score).then(a.no.cmp(&b.no)));
    whole.truncate(WHOLE);
    (heard.into_iter().map(|(_, no)| no).collect(), whole)
}

/// Looks at the answers that were not looked at yet.
///
/// # Errors
/// When the database can't be read.
pub async fn settle(
    store: &Store,
    wanted: &Wanted,
    answers: &mut [Ranked],
) -> Result<(), StoreError> {
    let open = answers.iter().filter(|one| one.found.is_none());
    let open: Vec<i64> = open.map(|one| one.no).collect();
    if open.is_empty() {
        return Ok(());
    }
    let rows = store.said(&open).await?;
    let mut rows: HashMap<i64, SaidRow> = rows.into_iter().map(|row| (row.no, row)).collect();
    for answer in answers.iter_mut().filter(|one| one.found.is_none()) {
        if let Some(row) = rows.remove(&answer.no) {
            answer.settle(wanted, row);
        }
    }
    Ok(())
}

/// Every moment of some answers.
pub fn moments(page: &[Ranked]) -> Vec<MomentId> {
    let mut ids: Vec<MomentId> = page.iter().flat_map(Ranked::moments).cloned().collect();
    ids.sort();
    ids.dedup();
    ids
}
