//! What is the most likely way that what was heard went through the text?
//!
//! One path through all that was heard (after the Viterbi algorithm, 1967): each word
//! heard belongs to a word of the text, or is one too many inside of it, or is other
//! speech. A path may leave the text at any word and come back at any other; coming
//! back soon costs less than out of nowhere. Only cells of the band are looked at.

use super::seeds::Band;
use super::types::Read;

/// A written word of which nothing was heard.
const LEFT_OUT: f32 = -1.8;
/// A word heard inside a sentence that is not written, by how sure it is.
const ADDED: f32 = -1.4;
/// What begins the text out of other speech: one place among all words of a long day.
const BEGIN: f32 = -12.0;
/// Coming back where the text was left.
const GO_ON: f32 = -2.5;
/// Coming back elsewhere soon after.
const COME_BACK: f32 = -5.0;
/// Either of them inside a sentence.
const INSIDE: f32 = -1.0;
/// Each word of other speech between leaving and coming back soon.
const AWAY: f32 = -0.12;
/// Two words that are this alike speak for each other.
pub(super) const ALIKE: f32 = 0.6;
/// The most two words can tell that are only alike.
const ALIKE_TELLS: f32 = 5.0;
/// What is like a word that tells less than this tells nothing.
const COMMON: f32 = 2.5;
/// Words run together or apart must be this alike.
const RUN_TOGETHER: f32 = 0.8;

const NEVER: f32 = f32::NEG_INFINITY;

/// What a stretch of the path is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Link {
    /// Tokens of the text and of what was heard that belong together: one and one, two
    /// and one, one and two.
    Pair {
        text: (u32, u32),
        heard: (u32, u32),
        likeness: f32,
    },
    /// A token of the text of which nothing was heard.
    LeftOut(u32),
    /// A token heard inside the text.
    Added(u32),
}

/// A link, what it tells, and whether the path came out of other speech or another
/// place of the text with it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Linked {
    pub link: Link,
    pub tells: f32,
    pub jumped: bool,
}

/// How a cell was reached.
#[derive(Clone, Copy, PartialEq)]
#[repr(u8)]
enum From {
    Pair,
    TwoWritten,
    TwoHeard,
    LeftOut,
    Added,
    BackSoon,
    Begin,
}

/// A cell of the path: a word heard and a word of the text.
type Cell = (u32, u32);

/// Where paths outside of the text stand before a word heard.
#[derive(Clone, Copy)]
struct Outside {
    soon: f32,
    soon_from: Cell,
    far: f32,
    far_from: Option<Cell>,
}

struct Search<'a> {
    read: &'a Read,
    band: &'a Band,
    /// Cells of the band before each column.
    before: Vec<usize>,
    how: Vec<From>,
    outside: Vec<Outside>,
}

/// The most likely path, in the order of what was heard.
pub(super) fn path(read: &Read, band: &Band) -> Vec<Linked> {
    let mut search = Search {
        read,
        band,
        before: vec![0],
        how: Vec::new(),
        outside: Vec::with_capacity(band.len()),
    };
    let end = search.forward();
    search.back(end)
}

/// What a word heard in place of one of the text tells.
fn tells(read: &Read, i: usize, j: usize, likeness: f32) -> f32 {
    if likeness >= 1.0 {
        let same = |i: usize, j: usize| read.text[i].kind == read.heard[j].kind;
        let follows = i > 0 && j > 0 && same(i - 1, j - 1);
        return if follows {
            read.weight_after[i]
        } else {
            read.weight[i]
        };
    }
    if likeness >= ALIKE {
        let how = (likeness - ALIKE) / (1.0 - ALIKE);
        return (ALIKE_TELLS * how).min(0.8 * read.weight[i]);
    }
    // How often a word is heard wrong that the recogniser is so sure of.
    (0.15 + 0.6 * (1.0 - read.confidence[j])).ln()
}

/// The columns of the search that a column needs, over all rows.
struct Columns {
    own: Vec<f32>,
    last: Vec<f32>,
    before_last: Vec<f32>,
}

impl Columns {
    fn next(&mut self, stale: &[(u32, u32)]) {
        std::mem::swap(&mut self.last, &mut self.before_last);
        std::mem::swap(&mut self.own, &mut self.last);
        // The one before the last is written over now.
        clear(&mut self.own, stale);
    }
}

fn clear(column: &mut [f32], rows: &[(u32, u32)]) {
    for &(from, to) in rows {
        column[from as usize..to as usize].fill(NEVER);
    }
}

impl Search<'_> {
    /// Fills the band; the last cell of the best path.
    fn forward(&mut self) -> Option<Cell> {
        let rows = self.read.text.len();
        let mut columns = Columns {
            own: vec![NEVER; rows],
            last: vec![NEVER; rows],
            before_last: vec![NEVER; rows],
        };
        let mut outside = Outside {
            soon: NEVER,
            soon_from: (0, 0),
            far: 0.0,
            far_from: None,
        };
        let (band, nothing) = (self.band, Vec::new());
        for j in 0..band.len() {
            let own = |back: usize| j.checked_sub(back).map_or(&nothing, |n| &band[n]);
            if self.read.new_island[j] {
                clear(&mut columns.last, own(1));
                clear(&mut columns.before_last, own(2));
                outside.soon = NEVER;
            }
            self.outside.push(outside);
            let best = self.column(j, &mut columns, outside);
            outside.soon += AWAY;
            if let Some((score, row)) = best {
                let cell = (j as u32, row);
                if score >= outside.soon {
                    (outside.soon, outside.soon_from) = (score, cell);
                }
                if score > outside.far {
                    (outside.far, outside.far_from) = (score, Some(cell));
                }
            }
            columns.next(own(2));
            self.before.push(self.how.len());
        }
        outside.far_from
    }

    /// Fills one column; its best cell.
    fn column(&mut self, j: usize, columns: &mut Columns, outside: Outside) -> Option<(f32, u32)> {
        let mut best: Option<(f32, u32)> = None;
        let band = self.band;
        for &(from, to) in &band[j] {
            for row in from..to {
                let (score, how) = self.cell(row as usize, j, columns, outside);
                columns.own[row as usize] = score;
                self.how.push(how);
                if best.is_none_or(|(most, _)| score > most) {
                    best = Some((score, row));
                }
            }
        }
        best.filter(|(score, _)| *score > NEVER)
    }

    fn cell(&self, i: usize, j: usize, columns: &Columns, outside: Outside) -> (f32, From) {
        let read = self.read;
        let at = |column: &[f32], i: Option<usize>| i.map_or(NEVER, |i| column[i]);
        let (last, above) = (i.checked_sub(1), i.checked_sub(2));
        let (text, heard) = (read.text[i].kind, read.heard[j].kind);
        let likeness = match text == heard {
            true => 1.0,
            false if read.weight[i] < COMMON => 0.0,
            false => read.alike(text, heard),
        };
        let own = tells(read, i, j, likeness);
        let begins = i == 0 || read.sentence[i] != read.sentence[i - 1];
        let inside = if begins { 0.0 } else { INSIDE };
        let goes_on = i as u32 == outside.soon_from.1 + 1;
        let back = if goes_on { GO_ON } else { COME_BACK + inside };
        let added = ADDED + (0.5 + 0.5 * read.confidence[j]).ln();
        let mut ways = [
            (at(&columns.last, last) + own, From::Pair),
            (at(&columns.own, last) + LEFT_OUT, From::LeftOut),
            (columns.last[i] + added, From::Added),
            (outside.soon + back + own, From::BackSoon),
            (outside.far + BEGIN + inside + own, From::Begin),
            (NEVER, From::TwoWritten),
            (NEVER, From::TwoHeard),
        ];
        // Coming in with a word that says nothing is no coming in.
        if own <= 0.0 {
            (ways[3].0, ways[4].0) = (NEVER, NEVER);
        }
        if let Some(last) = last
            && read.sentence[last] == read.sentence[i]
            && !read.text[last..=i].iter().any(|token| token.kind == heard)
            && let Some(tells) = self.run_together(read.text_pair[last], heard, &[last, i])
        {
            ways[5].0 = at(&columns.last, above) + tells;
        }
        // Where one of the two is the word itself, the other is one too many.
        if j > 0
            && !read.new_island[j]
            && !read.heard[j - 1..=j].iter().any(|token| token.kind == text)
            && let Some(tells) = self.run_together(read.heard_pair[j - 1], text, &[i])
        {
            ways[6].0 = at(&columns.before_last, last) + tells;
        }
        let mut best = ways[0];
        for way in ways {
            if way.0 > best.0 {
                best = way;
            }
        }
        best
    }

    /// What it tells that two words run together are one; `None` where they are not.
    fn run_together(&self, pair: u32, one: u32, rows: &[usize]) -> Option<f32> {
        if !self.read.as_long(pair, one) {
            return None;
        }
        let likeness = self.read.alike(pair, one);
        let weight: f32 = rows.iter().map(|&i| self.read.weight[i]).sum();
        (likeness >= RUN_TOGETHER).then_some((ALIKE_TELLS * likeness).min(0.8 * weight))
    }

    fn how(&self, (j, i): Cell) -> Option<From> {
        let mut before = *self.before.get(j as usize)?;
        for &(from, to) in self.band.get(j as usize)? {
            if (from..to).contains(&i) {
                return self.how.get(before + (i - from) as usize).copied();
            }
            before += (to - from) as usize;
        }
        None
    }

    /// The path that ends in a cell.
    fn back(&self, end: Option<Cell>) -> Vec<Linked> {
        let mut path = Vec::new();
        let mut at = end;
        while let Some((j, i)) = at {
            let Some(how) = self.how((j, i)) else { break };
            let (link, next) = self.link(how, (j, i));
            path.push(Linked {
                tells: self.told(&link),
                link,
                jumped: matches!(how, From::BackSoon | From::Begin),
            });
            at = next;
        }
        path.reverse();
        path
    }

    fn link(&self, how: From, (j, i): Cell) -> (Link, Option<Cell>) {
        let read = self.read;
        let pair = |text: (u32, u32), heard: (u32, u32), a: u32, b: u32| Link::Pair {
            text,
            heard,
            likeness: read.alike(a, b),
        };
        let (text, heard) = (read.text[i as usize].kind, read.heard[j as usize].kind);
        let one = || pair((i, i + 1), (j, j + 1), text, heard);
        let outside = self.outside[j as usize];
        let back = |n: u32, m: u32| j.checked_sub(n).zip(i.checked_sub(m));
        match how {
            From::Pair => (one(), back(1, 1)),
            From::LeftOut => (Link::LeftOut(i), back(0, 1)),
            From::Added => (Link::Added(j), back(1, 0)),
            From::BackSoon => (one(), Some(outside.soon_from)),
            From::Begin => (one(), outside.far_from),
            From::TwoWritten => {
                let both = read.text_pair[i as usize - 1];
                (pair((i - 1, i + 1), (j, j + 1), both, heard), back(1, 2))
            }
            From::TwoHeard => {
                let both = read.heard_pair[j as usize - 1];
                (pair((i, i + 1), (j - 1, j + 1), text, both), back(2, 1))
            }
        }
    }

    fn told(&self, link: &Link) -> f32 {
        match *link {
            Link::LeftOut(_) => LEFT_OUT,
            Link::Added(_) => ADDED,
            Link::Pair {
                text,
                heard,
                likeness,
            } => {
                if text.1 - text.0 > 1 || heard.1 - heard.0 > 1 {
                    let rows = text.0..text.1;
                    let weight: f32 = rows.map(|i| self.read.weight[i as usize]).sum();
                    return (ALIKE_TELLS * likeness).min(0.8 * weight);
                }
                tells(self.read, text.0 as usize, heard.0 as usize, likeness)
            }
        }
    }
}
