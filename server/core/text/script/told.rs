//! What became of each word of a sentence?

use std::ops::Range;

use super::super::find::Span;
use super::align::{ALIKE, Link, Linked};
use super::types::Read;
use super::{Step, StepKind};

/// Words of both sides that belong together.
struct Cell {
    written: Span,
    heard: Span,
    /// How alike its tokens are; 0 for those without another side.
    alike: Vec<f32>,
}

impl Cell {
    fn kind(&self) -> StepKind {
        if self.written.from == self.written.to {
            StepKind::Added
        } else if self.heard.from == self.heard.to {
            StepKind::LeftOut
        } else if self.alike.iter().all(|alike| *alike >= 1.0) {
            StepKind::Kept
        } else if self.likeness() >= ALIKE {
            StepKind::Alike
        } else {
            StepKind::Changed
        }
    }

    fn likeness(&self) -> f32 {
        let sum: f32 = self.alike.iter().sum();
        sum / self.alike.len().max(1) as f32
    }
}

/// The steps of a sentence that has the tokens `text` and whose first word is number
/// `first` of all.
pub(super) fn steps(read: &Read, first: usize, text: Range<usize>, links: &[Linked]) -> Vec<Step> {
    let mut cells: Vec<Cell> = Vec::new();
    let mut written = 0;
    let begins = links.iter().find_map(|linked| sides(&linked.link).1);
    let mut heard = begins.map_or(0, |(from, _)| read.heard[from].word as usize);
    for link in &whole(text, links) {
        let cell = cell(read, first, link, (written, heard));
        (written, heard) = (written.max(cell.written.to), heard.max(cell.heard.to));
        match cells.last_mut() {
            // More tokens of a word that is there already.
            Some(last) if shares(last.written, cell.written) || shares(last.heard, cell.heard) => {
                last.written = both(last.written, cell.written);
                last.heard = both(last.heard, cell.heard);
                last.alike.extend(cell.alike);
            }
            _ => cells.push(cell),
        }
    }
    phrases(&cells)
}

/// The links with all tokens of both sides: a path that jumps passes over some.
fn whole(text: Range<usize>, links: &[Linked]) -> Vec<Link> {
    let mut all = Vec::with_capacity(links.len());
    let (mut i, mut j) = (text.start, None);
    let left_out = |range: Range<usize>| range.map(|i| Link::LeftOut(i as u32));
    for linked in links {
        let (own, other) = sides(&linked.link);
        if let Some((from, to)) = own {
            all.extend(left_out(i..from));
            i = to;
        }
        if let Some((from, to)) = other {
            let added = j.unwrap_or(from)..from;
            all.extend(added.map(|j| Link::Added(j as u32)));
            j = Some(to);
        }
        all.push(linked.link);
    }
    all.extend(left_out(i..text.end));
    all
}

/// Tokens of one side, half open; none where that side has none.
type Tokens = Option<(usize, usize)>;

/// The tokens of a link, of the text and of what was heard.
fn sides(link: &Link) -> (Tokens, Tokens) {
    let wide = |(from, to): (u32, u32)| (from as usize, to as usize);
    match *link {
        Link::Pair { text, heard, .. } => (Some(wide(text)), Some(wide(heard))),
        Link::LeftOut(i) => (Some(wide((i, i + 1))), None),
        Link::Added(j) => (None, Some(wide((j, j + 1)))),
    }
}

/// The words of a link; `at` is where both sides stand.
fn cell(read: &Read, first: usize, link: &Link, at: (usize, usize)) -> Cell {
    let text = |i: u32| (read.text[i as usize].word as usize).saturating_sub(first);
    let heard = |j: u32| read.heard[j as usize].word as usize;
    let span = |from: usize, last: usize| Span { from, to: last + 1 };
    let none = |at: usize| Span { from: at, to: at };
    let (written, heard, likeness) = match *link {
        Link::Pair {
            text: t,
            heard: h,
            likeness,
        } => (
            span(text(t.0), text(t.1 - 1)),
            span(heard(h.0), heard(h.1 - 1)),
            likeness,
        ),
        Link::LeftOut(i) => (span(text(i), text(i)), none(at.1), 0.0),
        Link::Added(j) => (none(at.0), span(heard(j), heard(j)), 0.0),
    };
    Cell {
        written,
        heard,
        alike: vec![likeness],
    }
}

fn shares(a: Span, b: Span) -> bool {
    a.from < b.to && b.from < a.to && a.from < a.to && b.from < b.to
}

fn both(a: Span, b: Span) -> Span {
    match (a.from == a.to, b.from == b.to) {
        (true, _) => b,
        (_, true) => a,
        _ => Span {
            from: a.from.min(b.from),
            to: a.to.max(b.to),
        },
    }
}

/// Runs of words that were not said as written become one change: 'want' was not left
/// out where 'would like' was added.
fn phrases(cells: &[Cell]) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    for cell in cells {
        let kind = cell.kind();
        let step = Step {
            kind,
            written: cell.written,
            heard: cell.heard,
            likeness: cell.likeness(),
        };
        let said = matches!(kind, StepKind::Kept | StepKind::Alike);
        match steps.last_mut() {
            Some(last) if !said && !matches!(last.kind, StepKind::Kept | StepKind::Alike) => {
                last.written = both(last.written, step.written);
                last.heard = both(last.heard, step.heard);
                last.kind = if last.kind == kind {
                    kind
                } else {
                    StepKind::Changed
                };
                last.likeness = last.likeness.max(step.likeness);
            }
            _ => steps.push(step),
        }
    }
    steps
}
