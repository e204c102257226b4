//! Which times of reading does a path tell of, and what is certain of them?

use std::collections::BTreeMap;
use std::ops::Range;

use super::super::find::Span;
use super::align::{ALIKE, Link, Linked};
use super::types::Read;
use super::{Added, HeardIn, HeardWord, Pass, Passes, Said, StepKind, Take, Written, told};

/// A sentence was said where it agrees this much with what was heard, and
const AGREES: f32 = 0.3;
/// where what was heard is likelier than other speech by this, natural logarithm:
/// twenty to one, beside its neighbours.
const TELLS: f32 = 3.0;
/// The same of one of three words, and of one or two, which must also stand right beside
/// another: 'Corin' alone is said a hundred times a day.
const SHORT_AGREES: [f32; 4] = [AGREES, 0.8, 0.8, 0.6];
/// What a stretch must be to stand without what comes before and after: this likely,
const ALONE_TELLS: f32 = 6.0;
/// with so many words said as written, or nearly so,
const ALONE_WORDS: usize = 3;
/// and agreeing as a whole this much.
const ALONE_AGREES: f32 = 0.45;
/// What a whole pass must tell: a place among all words of a long day, and four
/// hundred to one.
const PASS_TELLS: f32 = 18.0;
/// It agrees this much over what was said of it.
const PASS_AGREES: f32 = 0.5;
/// What each stretch of it that follows nothing costs.
const STRETCH: f32 = 5.0;
/// Words said as written, or nearly so, of a pass of one sentence where the text has
/// more.
const PASS_WORDS: usize = 6;
/// A pause after which another pass begins, ms. Judgement, no source.
const PAUSE_MS: i64 = 300_000;

/// A sentence as the path has it once.
struct Found {
    sentence: usize,
    /// Stretches of the path without a jump are numbered.
    run: usize,
    take: Take,
    tells: f32,
    /// Tokens that are the same or alike.
    words: usize,
    /// Tokens of the sentence.
    size: usize,
}

/// Gathers the passes that a path tells of.
pub(super) fn of(
    written: &Written,
    heard: &[HeardWord<'_>],
    moments: &[HeardIn],
    read: &Read,
    path: &[Linked],
) -> Passes {
    let mut firsts = Vec::new();
    let mut first = 0;
    for sentence in &written.sentences {
        firsts.push(first);
        first += sentence.words.len();
    }
    let found = certain(takes(read, path, &firsts, heard));
    let spoken: Vec<usize> = sizes(read, written.sentences.len());
    let mut passes: Vec<Pass> = grouped(found, heard, moments)
        .into_iter()
        .filter(|pass| is_certain(pass, written.sentences.len()))
        .map(|pass| told_of(written, heard, moments, &spoken, pass))
        .collect();
    passes.sort_by_key(|pass| pass.heard);
    let most_complete = (0..passes.len()).max_by(|&a, &b| {
        let (one, other) = (&passes[a], &passes[b]);
        (one.completeness.total_cmp(&other.completeness))
            .then(one.agreement.total_cmp(&other.agreement))
            .then(b.cmp(&a))
    });
    Passes {
        passes,
        most_complete,
    }
}

/// Tokens of each sentence.
fn sizes(read: &Read, sentences: usize) -> Vec<usize> {
    let mut sizes = vec![0; sentences];
    for &sentence in &read.sentence {
        sizes[sentence as usize] += 1;
    }
    sizes
}

/// The path in pieces of one sentence each.
fn takes(read: &Read, path: &[Linked], firsts: &[usize], heard: &[HeardWord<'_>]) -> Vec<Found> {
    let sentence = |i: u32| read.sentence[i as usize] as usize;
    let mut starts = vec![0];
    starts.extend(sizes(read, firsts.len()).iter().scan(0, |sum, size| {
        *sum += size;
        Some(*sum)
    }));
    let mut found = Vec::new();
    let mut open: Vec<Linked> = Vec::new();
    let (mut now, mut run, mut last) = (0, 0, 0);
    let mut close = |open: &mut Vec<Linked>, now: usize, run: usize| {
        let pair = |one: &Linked| matches!(one.link, Link::Pair { .. });
        // What was said before the first word of the sentence, or after its last, is not
        // of it; what was left out there is.
        let first = open.iter().position(pair);
        let end = open.iter().rposition(pair);
        let links = std::mem::take(open);
        let (Some(first), Some(end)) = (first, end) else {
            return;
        };
        let inside = |(n, one): (usize, Linked)| {
            let added = matches!(one.link, Link::Added(_));
            (!added || (first..end).contains(&n)).then_some(one)
        };
        let links: Vec<Linked> = links.into_iter().enumerate().filter_map(inside).collect();
        let text = starts[now]..starts[now + 1];
        found.extend(one(read, firsts[now], text, heard, links).map(|mut one| {
            (one.sentence, one.run) = (now, run);
            one
        }));
    };
    for linked in path {
        let text = match linked.link {
            Link::Pair { text, .. } => Some((text.0, text.1 - 1)),
            Link::LeftOut(i) => Some((i, i)),
            Link::Added(_) => None,
        };
        if let Some((i, end)) = text {
            let goes_on = !open.is_empty() && sentence(i) == now && i > last;
            if linked.jumped {
                run += usize::from(!goes_on);
            }
            if !goes_on {
                close(&mut open, now, run - usize::from(linked.jumped));
                now = sentence(i);
            }
            last = end;
        }
        open.push(*linked);
    }
    close(&mut open, now, run);
    found
}

/// A sentence of which these links tell; `None` where nothing of it was heard.
fn one(
    read: &Read,
    first: usize,
    text: Range<usize>,
    words: &[HeardWord<'_>],
    links: Vec<Linked>,
) -> Option<Found> {
    let heard = |link: &Link| match *link {
        Link::Pair { heard, .. } => Some((heard.0 as usize, heard.1 as usize - 1)),
        _ => None,
    };
    let from = links.iter().find_map(|one| heard(&one.link))?.0;
    let to = links.iter().rev().find_map(|one| heard(&one.link))?.1;
    let (mut agreement, mut alike) = (0.0, 0);
    // Tokens of both sides, each pair counting as many as the longer of its sides.
    let (mut written, mut own) = (text.len(), to + 1 - from);
    for linked in &links {
        if let Link::Pair {
            text,
            heard,
            likeness,
        } = linked.link
            && likeness >= ALIKE
        {
            let (here, there) = ((text.1 - text.0) as usize, (heard.1 - heard.0) as usize);
            agreement += likeness * here.max(there) as f32;
            written += there.saturating_sub(here);
            own += here.saturating_sub(there);
            alike += here;
        }
    }
    let span = Span {
        from: read.heard[from].word as usize,
        to: read.heard[to].word as usize + 1,
    };
    let inside = words.get(span.from..span.to)?;
    Some(Found {
        sentence: 0,
        run: 0,
        tells: links.iter().map(|one| one.tells).sum(),
        words: alike,
        size: text.len(),
        take: Take {
            heard: span,
            start_ms: inside.first()?.start_ms,
            end_ms: inside.iter().map(|word| word.end_ms).max()?,
            moments: moments_of(inside),
            agreement: agreement / own.max(written).max(1) as f32,
            steps: told::steps(read, first, text.clone(), &links),
        },
    })
}

fn moments_of(words: &[HeardWord<'_>]) -> Vec<usize> {
    let mut moments: Vec<usize> = words.iter().map(|word| word.moment).collect();
    moments.dedup();
    moments
}

/// A stretch of the path without a jump.
#[derive(Default)]
struct Run {
    tells: f32,
    words: usize,
    agreement: f32,
    size: f32,
}

impl Run {
    fn is_certain(&self) -> bool {
        self.tells >= ALONE_TELLS
            && self.words >= ALONE_WORDS
            && self.agreement >= ALONE_AGREES * self.size
    }
}

/// Those that reach the certainty; a stretch that follows nothing needs more.
fn certain(found: Vec<Found>) -> Vec<Found> {
    let sure: Vec<bool> = (0..found.len()).map(|n| is_sure(&found, n)).collect();
    let mut runs: BTreeMap<usize, Run> = BTreeMap::new();
    let sure_ones = found.iter().zip(&sure).filter(|(_, sure)| **sure);
    for (one, _) in sure_ones {
        let run = runs.entry(one.run).or_default();
        run.tells += one.tells;
        run.words += one.words;
        run.agreement += one.take.agreement * one.size as f32;
        run.size += one.size as f32;
    }
    let certain = |one: &Found| runs.get(&one.run).is_some_and(Run::is_certain);
    let both = found.into_iter().zip(sure);
    both.filter(|(one, sure)| *sure && certain(one))
        .map(|(one, _)| one)
        .collect()
}

/// Whether sentence `n` of those found was said, as far as it tells itself.
fn is_sure(found: &[Found], n: usize) -> bool {
    let one = &found[n];
    let needed = SHORT_AGREES.get(one.size).copied().unwrap_or(AGREES);
    let beside = |a: Option<&Found>, b: Option<&Found>| match (a, b) {
        (Some(a), Some(b)) => a.take.heard.to == b.take.heard.from,
        _ => false,
    };
    let before = n.checked_sub(1).and_then(|n| found.get(n));
    let stands = one.size > 2 || beside(before, Some(one)) || beside(Some(one), found.get(n + 1));
    stands && one.take.agreement >= needed && one.tells >= TELLS
}

/// Parts what was found into passes.
fn grouped(found: Vec<Found>, heard: &[HeardWord<'_>], moments: &[HeardIn]) -> Vec<Vec<Found>> {
    let island = |one: &Found| {
        let moment = heard.get(one.take.heard.from).map(|word| word.moment);
        moment
            .and_then(|moment| moments.get(moment))
            .map(|moment| moment.island)
    };
    let order: Vec<usize> = found.iter().map(|one| one.sentence).collect();
    let mut passes: Vec<Vec<Found>> = Vec::new();
    for (n, one) in found.into_iter().enumerate() {
        let goes_on = passes.last().is_some_and(|pass| {
            pass.last().is_some_and(|last| {
                island(last) == island(&one)
                    && one.take.start_ms - last.take.end_ms <= PAUSE_MS
                    && belongs(pass, &order, n)
            })
        });
        match passes.last_mut() {
            Some(pass) if goes_on => pass.push(one),
            _ => passes.push(vec![one]),
        }
    }
    passes
}

/// Whether a sentence goes on with a pass: it lies ahead, or is said again at once.
fn belongs(pass: &[Found], order: &[usize], n: usize) -> bool {
    let now = order[n];
    let first = pass.iter().map(|one| one.sentence).min().unwrap_or(now);
    let last = pass.iter().map(|one| one.sentence).max().unwrap_or(now);
    if now > last {
        return true;
    }
    // How far it goes from here before it goes back again.
    let mut ahead = now;
    for &next in &order[n + 1..] {
        if next < ahead {
            break;
        }
        ahead = next;
    }
    let beyond = ahead > last;
    match last - now {
        0 => beyond || first < last,
        1 => beyond && first < now,
        // Catching up within what is said again.
        _ => false,
    }
}

fn is_certain(pass: &[Found], sentences: usize) -> bool {
    let tells: f32 = pass.iter().map(|one| one.tells).sum();
    let mut said: Vec<usize> = pass.iter().map(|one| one.sentence).collect();
    said.dedup();
    let words = pass.iter().map(|one| one.words).max().unwrap_or(0);
    let mut runs: Vec<usize> = pass.iter().map(|one| one.run).collect();
    runs.dedup();
    let jumps = STRETCH * runs.len().saturating_sub(1) as f32;
    let size: f32 = pass.iter().map(|one| one.size as f32).sum();
    let agrees: f32 = pass
        .iter()
        .map(|one| one.take.agreement * one.size as f32)
        .sum();
    tells - jumps >= PASS_TELLS
        && agrees >= PASS_AGREES * size
        && (said.len() > 1 || sentences == 1 || words >= PASS_WORDS)
}

/// A pass as it is told.
fn told_of(
    written: &Written,
    heard: &[HeardWord<'_>],
    moments: &[HeardIn],
    sizes: &[usize],
    found: Vec<Found>,
) -> Pass {
    let from = found
        .iter()
        .map(|one| one.take.heard.from)
        .min()
        .unwrap_or(0);
    let to = found
        .iter()
        .map(|one| one.take.heard.to)
        .max()
        .unwrap_or(from);
    let inside = heard.get(from..to).unwrap_or_default();
    let reader = reader(&found, heard, moments);
    let added = added(&found, heard, moments, reader);
    let mut sentences: Vec<Option<Said>> = vec![None; written.sentences.len()];
    for one in found {
        let slot = &mut sentences[one.sentence];
        match slot {
            None => {
                *slot = Some(Said {
                    take: one.take,
                    again: Vec::new(),
                })
            }
            Some(said) => {
                let better = one.take.agreement >= said.take.agreement;
                let other = match better {
                    true => std::mem::replace(&mut said.take, one.take),
                    false => one.take,
                };
                said.again.push(other);
                said.again.sort_by_key(|take| take.heard);
            }
        }
    }
    let (mut there, mut agreement, mut size) = (0, 0.0, 0.0);
    for (said, own) in sentences.iter().zip(sizes) {
        let Some(said) = said else { continue };
        let steps = said.take.steps.iter();
        let spoken = steps.filter(|step| step.kind != StepKind::LeftOut);
        there += spoken
            .map(|step| step.written.to - step.written.from)
            .sum::<usize>();
        agreement += said.take.agreement * *own as f32;
        size += *own as f32;
    }
    Pass {
        heard: Span { from, to },
        start_ms: inside.first().map_or(0, |word| word.start_ms),
        end_ms: inside.iter().map(|word| word.end_ms).max().unwrap_or(0),
        moments: moments_of(inside),
        reader,
        sentences,
        added,
        completeness: there as f32 / written.word_count().max(1) as f32,
        agreement: if size > 0.0 { agreement / size } else { 0.0 },
    }
}

/// Whoever speaks most of what was read.
fn reader(found: &[Found], heard: &[HeardWord<'_>], moments: &[HeardIn]) -> Option<usize> {
    let mut words: BTreeMap<usize, usize> = BTreeMap::new();
    for one in found {
        for word in heard
            .get(one.take.heard.from..one.take.heard.to)
            .unwrap_or_default()
        {
            if let Some(person) = moments.get(word.moment).and_then(|moment| moment.person) {
                *words.entry(person).or_default() += 1;
            }
        }
    }
    words
        .into_iter()
        .max_by_key(|(_, count)| *count)
        .map(|(person, _)| person)
}

/// What lies between the sentences.
fn added(
    found: &[Found],
    heard: &[HeardWord<'_>],
    moments: &[HeardIn],
    reader: Option<usize>,
) -> Vec<Added> {
    let mut added: Vec<Added> = Vec::new();
    for two in found.windows(2) {
        let (from, to) = (two[0].take.heard.to, two[1].take.heard.from);
        for at in from..to {
            let Some(word) = heard.get(at) else { break };
            let same = |last: &&mut Added| {
                last.heard.to == at && heard[last.heard.from].moment == word.moment
            };
            match added.last_mut().filter(same) {
                Some(last) => last.heard.to = at + 1,
                None => {
                    let person = moments.get(word.moment).and_then(|moment| moment.person);
                    added.push(Added {
                        after: two[0].sentence,
                        heard: Span {
                            from: at,
                            to: at + 1,
                        },
                        by_another: person.is_some() && reader.is_some() && person != reader,
                    });
                }
            }
        }
    }
    added
}
