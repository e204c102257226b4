//! Which moments answer, in which order?

use sayback_core::text::{CONFIDENT, Found, How, Line, Span, Wanted};

use super::ask::Sort;
use crate::store::{EventId, Matching, MomentId, Neighbourhood, SaidRow};

/// Moments that answer a query together: mostly one, or a few that follow each other.
#[derive(Clone, Debug)]
pub struct Ranked {
    /// The moments, in order.
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
    fn exact(row: SaidRow) -> Self {
        Self {
            rows: vec![row],
            main: 0,
            found: None,
            score: 1.0,
            how: How::Exact,
        }
    }

    fn near(wanted: &Wanted, near: Neighbourhood) -> Option<Self> {
        let main = usize::from(near.before.is_some());
        let rows: Vec<SaidRow> = near
            .before
            .into_iter()
            .chain([near.own])
            .chain(near.after)
            .collect();
        let line = line(&rows);
        let found = wanted.find_in(&line, main)?;
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

    /// Looks for the words that match, if that was not done yet.
    pub fn settle(&mut self, wanted: &Wanted) {
        if self.found.is_some() {
            return;
        }
        let found = wanted.find_in(&line(&self.rows), self.main);
        if let Some(found) = &found {
            self.score = found.score;
        }
        self.found = Some(found.unwrap_or(Found {
            matched: Vec::new(),
            score: self.score,
            how: self.how,
        }));
    }

    /// Whether it is less than the tool stands for.
    pub fn is_guess(&self) -> bool {
        self.score < CONFIDENT && self.how != How::Exact
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

fn line(rows: &[SaidRow]) -> Line<'_> {
    let mut line = Line::default();
    for row in rows {
        line.push(&row.words, &row.other);
    }
    line
}

fn count(words: &str) -> usize {
    words.split_ascii_whitespace().count()
}

/// The answers in order; those whose words are less sure than `least` are left out.
pub fn ranked(wanted: &Wanted, matching: Matching, sort: Sort, least: Option<f32>) -> Vec<Ranked> {
    let mut all: Vec<Ranked> = matching.exact.into_iter().map(Ranked::exact).collect();
    let near = matching.near.into_iter();
    all.extend(near.filter_map(|near| Ranked::near(wanted, near)));
    if least.is_some() || wanted.begun {
        // Of words that begin as typed the shortest come first.
        all.iter_mut().for_each(|one| one.settle(wanted));
    }
    if let Some(least) = least {
        all.retain(|one| one.sure() >= least);
    }
    match sort {
        Sort::Clock => all.sort_by(|a, b| a.place().cmp(&b.place())),
        Sort::Relevance => all.sort_by(|a, b| {
            let by_score = b.score.total_cmp(&a.score);
            by_score
                .then(a.how.cmp(&b.how))
                .then_with(|| a.place().cmp(&b.place()))
        }),
    }
    all
}

/// Every moment of some answers.
pub fn moments(page: &[Ranked]) -> Vec<MomentId> {
    let mut ids: Vec<MomentId> = page.iter().flat_map(Ranked::moments).cloned().collect();
    ids.sort();
    ids.dedup();
    ids
}
