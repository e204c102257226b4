//! Where a text was said, as it travels.

use std::collections::HashMap;

use sayback_core::text::{Pass, Span, Step, StepKind, Take};

use super::super::problem::Answer;
use super::super::search::answer::{Told, tell};
use super::super::wire::{
    EventRef, Hearing, Hit, PassAdded, PassSentence, PassSource, Person, SaidWords, ScriptPass,
    ScriptPasses, SentenceSaid,
};
use super::heard::Located;
use super::listed;
use crate::store::Store;

/// What was found of a text, with who heard it best.
///
/// # Errors
/// When the database can't be read.
pub async fn passes(store: &Store, located: &Located) -> Answer<ScriptPasses> {
    let spoken = &located.spoken;
    let mut asked: Vec<Told> = Vec::new();
    // Which of them are pieces of which sentence of which pass.
    let mut pieces: HashMap<(usize, usize), std::ops::Range<usize>> = HashMap::new();
    for (n, pass) in located.passes.passes.iter().enumerate() {
        for (sentence, said) in pass.sentences.iter().enumerate() {
            let Some(said) = said else { continue };
            let from = asked.len();
            let each = spoken.pieces(said.take.heard).into_iter();
            asked.extend(each.filter_map(|(candidate, words)| Told::words(&candidate, words)));
            pieces.insert((n, sentence), from..asked.len());
        }
    }
    let found = tell(store, &asked).await?;
    let best = |n: usize, sentence: usize| {
        let range = pieces.get(&(n, sentence))?.clone();
        found.get(range)
    };
    let passes = located.passes.passes.iter().enumerate();
    let passes = passes.map(|(n, pass)| one(located, n, pass, &|sentence| best(n, sentence)));
    Ok(ScriptPasses {
        passes: passes.collect(),
        script: listed(&located.script),
        event: EventRef {
            id: spoken.event.id.0.clone(),
            title: spoken.event.title.clone(),
        },
        sentences: texts(located),
        most_complete: located.passes.most_complete.map(|n| n + 1),
        words_looked_at: spoken.words.len(),
        moments_unwritten: spoken.unwritten,
        took_ms: located.took_ms,
    })
}

fn texts(located: &Located) -> Vec<String> {
    let sentences = located.written.sentences.iter();
    sentences.map(|sentence| sentence.text.clone()).collect()
}

fn one<'a>(
    located: &Located,
    n: usize,
    pass: &Pass,
    heard: &dyn Fn(usize) -> Option<&'a [Hit]>,
) -> ScriptPass {
    let spoken = &located.spoken;
    let mut sentences = Vec::new();
    let mut over = Vec::new();
    for (number, said) in pass.sentences.iter().enumerate() {
        let whole = heard(number).map(whole).unwrap_or_default();
        let told = said.as_ref().map(|said| {
            let best = whole.first().cloned();
            sentence(located, number, &said.take, best)
        });
        let again = said.iter().flat_map(|said| &said.again);
        sentences.push(PassSentence {
            sentence: number,
            said: told,
            again: again
                .map(|take| sentence(located, number, take, None))
                .collect(),
        });
        if let Some(said) = said {
            over.push((said.take.end_ms - said.take.start_ms, whole));
        }
    }
    let (start_ms, end_ms) = spoken.on_event_clock(pass.heard, (pass.start_ms, pass.end_ms));
    let left_out = (0..)
        .zip(&pass.sentences)
        .filter(|(_, said)| said.is_none());
    ScriptPass {
        pass: n + 1,
        start_ms,
        end_ms,
        person: reader(located, pass),
        completeness: pass.completeness,
        agreement: pass.agreement,
        left_out: left_out.map(|(number, _)| number).collect(),
        added: added(located, pass),
        best: over_all(&over),
        sentences,
    }
}

/// Whoever speaks most of a pass, by name.
fn reader(located: &Located, pass: &Pass) -> Option<Person> {
    let mut counts: HashMap<&str, (usize, &str)> = HashMap::new();
    let said = pass.sentences.iter().flatten();
    for at in said.flat_map(|said| {
        let span = said.take.heard;
        located
            .spoken
            .words
            .get(span.from..span.to)
            .unwrap_or_default()
    }) {
        let row = &located.spoken.moments.get(at.moment)?.row;
        if let (Some(id), Some(name)) = (&row.person_id, &row.person_name) {
            counts.entry(id.as_str()).or_insert((0, name)).0 += 1;
        }
    }
    let most = counts
        .into_iter()
        .max_by_key(|(id, (count, _))| (*count, *id));
    most.map(|(id, (_, name))| Person {
        id: id.to_owned(),
        name: name.to_owned(),
    })
}

fn sentence(located: &Located, n: usize, take: &Take, best: Option<Hearing>) -> SentenceSaid {
    let spoken = &located.spoken;
    let (start_ms, end_ms) = spoken.on_event_clock(take.heard, (take.start_ms, take.end_ms));
    let moments = take.moments.iter().filter_map(|&n| spoken.moments.get(n));
    SentenceSaid {
        start_ms,
        end_ms,
        moments: moments.map(|moment| moment.row.id.0.clone()).collect(),
        agreement: take.agreement,
        text: spoken.text(take.heard),
        words: take
            .steps
            .iter()
            .map(|step| words(located, n, step))
            .collect(),
        best,
    }
}

fn words(located: &Located, sentence: usize, step: &Step) -> SaidWords {
    let kind = match step.kind {
        StepKind::Kept => "kept",
        StepKind::Alike => "alike",
        StepKind::Changed => "changed",
        StepKind::LeftOut => "left out",
        StepKind::Added => "added",
    };
    let written = located.written.sentences.get(sentence);
    let written = written.and_then(|one| one.words.get(step.written.from..step.written.to));
    SaidWords {
        kind: kind.into(),
        written: written.unwrap_or_default().join(" "),
        said: located.spoken.text(step.heard),
        likeness: step.likeness,
    }
}

fn added(located: &Located, pass: &Pass) -> Vec<PassAdded> {
    let spoken = &located.spoken;
    let told = pass.added.iter().filter_map(|one| {
        let words = spoken.words.get(one.heard.from..one.heard.to)?;
        let (first, last) = (words.first()?, words.last()?);
        let (start_ms, end_ms) = spoken.on_event_clock(one.heard, (first.start_ms, last.end_ms));
        Some(PassAdded {
            after: one.after,
            text: spoken.text(one.heard),
            moment: spoken.moments.get(first.moment)?.row.id.0.clone(),
            start_ms,
            end_ms,
            by_another: one.by_another,
        })
    });
    told.collect()
}

/// The recordings that have all pieces of a sentence, the best first: a sentence is as
/// good as its worst piece.
fn whole(pieces: &[Hit]) -> Vec<Hearing> {
    let Some((first, rest)) = pieces.split_first() else {
        return Vec::new();
    };
    let mut heard: Vec<Hearing> = first.heard_on.clone();
    for piece in rest {
        heard.retain_mut(|one| {
            let own = |other: &&Hearing| other.recording == one.recording;
            let Some(other) = piece.heard_on.iter().find(own) else {
                return false;
            };
            one.end_ms = other.end_ms.max(one.start_ms + 1);
            one.rank = one.rank.max(other.rank);
            if level(&other.verdict) < level(&one.verdict) {
                (one.verdict, one.why) = (other.verdict.clone(), other.why.clone());
            }
            true
        });
    }
    heard.sort_by_key(|one| (std::cmp::Reverse(level(&one.verdict)), one.rank));
    for (rank, one) in (1..).zip(&mut heard) {
        one.rank = rank;
        one.play = fragment(&one.recording.id, one.start_ms, one.end_ms);
    }
    heard
}

fn level(verdict: &str) -> u8 {
    match verdict {
        "clean" => 3,
        "usable" => 2,
        "poor" => 1,
        _ => 0,
    }
}

fn fragment(recording: &str, start_ms: i64, end_ms: i64) -> String {
    let seconds = |ms: i64| format!("{}.{:03}", ms / 1000, ms % 1000);
    let (from, to) = (seconds(start_ms), seconds(end_ms));
    format!("/api/v1/recordings/{recording}/audio#t={from},{to}")
}

/// How a source does over the sentences of a pass, each by its length.
#[derive(Default)]
struct Tally<'a> {
    /// Verdicts, weighed by time; what it does not have counts nothing.
    worth: i64,
    ranks: i64,
    /// Time at each verdict.
    at: [i64; 4],
    heard: Vec<(i64, &'a Hearing)>,
}

/// The source that is best over all sentences: each with its length, ms, and the
/// recordings that have it.
fn over_all(sentences: &[(i64, Vec<Hearing>)]) -> Option<PassSource> {
    let mut tallies: HashMap<&str, Tally<'_>> = HashMap::new();
    for (length, heard) in sentences {
        let mut seen: Vec<&str> = Vec::new();
        for one in heard {
            // A source may have it in two recordings; they come the best first.
            if seen.contains(&one.source.id.as_str()) {
                continue;
            }
            seen.push(&one.source.id);
            let tally = tallies.entry(&one.source.id).or_default();
            let (length, level) = ((*length).max(1), level(&one.verdict));
            tally.worth += length * i64::from(level);
            tally.ranks += length * i64::from(one.rank);
            tally.at[usize::from(level).min(3)] += length;
            tally.heard.push((length, one));
        }
    }
    let most = |tally: &Tally<'_>| (tally.worth, std::cmp::Reverse(tally.ranks));
    let (_, tally) = tallies
        .into_iter()
        .max_by(|(a, x), (b, y)| most(x).cmp(&most(y)).then(b.cmp(a)))?;
    told(&tally, sentences.len())
}

fn told(tally: &Tally<'_>, all: usize) -> Option<PassSource> {
    let level_of_most = (0..4).max_by_key(|&level| (tally.at[level], level))?;
    let mut by_recording: HashMap<&str, i64> = HashMap::new();
    for (length, one) in &tally.heard {
        *by_recording.entry(&one.recording.id).or_default() += length;
    }
    let (recording, _) = by_recording
        .iter()
        .max_by_key(|(id, length)| (**length, **id))?;
    let own: Vec<&Hearing> = tally
        .heard
        .iter()
        .map(|(_, one)| *one)
        .filter(|one| one.recording.id == **recording)
        .collect();
    let first = own.first()?;
    let start_ms = own.iter().map(|one| one.start_ms).min()?;
    let end_ms = own.iter().map(|one| one.end_ms).max()?;
    let same = |one: &&&Hearing| usize::from(level(&one.verdict)) == level_of_most;
    let (count, typical) = (own.iter().filter(same).count(), own.iter().find(same)?);
    let mut why = vec![format!(
        "{} in {count} of the {all} sentences that were said",
        typical.verdict
    )];
    if own.len() < all {
        why.push(format!("it has {} of them", own.len()));
    }
    Some(PassSource {
        source: first.source.clone(),
        recording: first.recording.clone(),
        start_ms,
        end_ms,
        verdict: typical.verdict.clone(),
        why,
        play: fragment(&first.recording.id, start_ms, end_ms),
    })
}

/// A span of a pass that can be a part of the event: whole ms, on the event clock.
pub fn on_clock(located: &Located, pass: &Pass) -> Option<(i64, i64)> {
    let span: Span = pass.heard;
    let on_clock = located.spoken.island(span.from) == Some(0);
    on_clock.then_some((pass.start_ms, pass.end_ms.max(pass.start_ms + 1)))
}
