//! Who has a quote, and which of them is to be heard?

use std::collections::HashSet;
use std::path::PathBuf;

use sayback_core::quality::Verdict;

use super::super::places::Stretch;
use super::super::problem::{Answer, Problem};
use super::super::search::answer::{seconds, time_of_day};
use super::super::shapes::{reference, source_of};
use super::super::wire::{QuoteHearing, QuoteProblem};
use super::resolve::{Base, Desk, problem};
use super::spoken::Spoken;
use crate::store::{self, HearingRow, RecordingId, RecordingRow};

/// How much of a quote a file may lack and still have all of it, ms: what is lost when its
/// bounds are rounded.
const WHOLE_MS: f64 = 1.0;
/// The most hearings of a quote that are told of.
const MOST_TOLD: usize = 32;

/// The recordings of an event whose files are where they were and as long as they were.
///
/// # Errors
/// None but a failure of the server.
pub async fn online(desk: &Desk) -> Answer<HashSet<RecordingId>> {
    let of = |row: &RecordingRow| (row.id.clone(), row.path.to_path_buf(), row.size);
    let files: Vec<(RecordingId, PathBuf, i64)> = desk.recordings.values().map(of).collect();
    // A disk may be slow to answer, a network's slower.
    let look = move || {
        let there = files.into_iter().filter(|(_, path, size)| {
            let length = std::fs::metadata(path).ok().map(|found| found.len());
            length.and_then(|length| i64::try_from(length).ok()) == Some(*size)
        });
        there.map(|(id, ..)| id).collect()
    };
    tokio::task::spawn_blocking(look)
        .await
        .map_err(Problem::internal)
}

/// Who has a quote.
pub struct Heard {
    /// The hearing to be used.
    pub chosen: Option<QuoteHearing>,
    /// The others, the best first.
    pub backups: Vec<QuoteHearing>,
    /// What is wrong with the choice.
    pub problems: Vec<QuoteProblem>,
}

/// What a recording has of a quote, and what it is ranked by: the least first.
struct Copy<'a> {
    row: &'a RecordingRow,
    at: Stretch,
    covers: bool,
    heard: Option<bool>,
    verdict: Option<Verdict>,
    rank: i64,
    why: Vec<String>,
}

impl<'a> Copy<'a> {
    fn of(row: &'a RecordingRow, at: Stretch, hearings: &[&HearingRow]) -> Self {
        // A quote over several moments is as good as its worst.
        let worst = hearings
            .iter()
            .max_by_key(|hearing| (!hearing.heard, *hearing.verdict, hearing.rank));
        let lacking = (at.end_ms - at.start_ms) - at.inside(row.duration_ms);
        Self {
            row,
            at,
            covers: lacking <= WHOLE_MS,
            heard: worst.map(|hearing| hearing.heard),
            verdict: worst.map(|hearing| *hearing.verdict),
            rank: worst.map_or(i64::MAX, |hearing| hearing.rank),
            why: worst.map_or_else(
                || vec!["no speech was found there".into()],
                |hearing| hearing.why.0.clone(),
            ),
        }
    }

    fn order(&self) -> impl Ord + use<> {
        (
            !self.covers,
            self.heard != Some(true),
            self.verdict.unwrap_or(Verdict::Lost),
            self.rank,
            self.row.id.clone(),
        )
    }
}

impl Heard {
    /// Number `n` of a list, which lies there.
    pub fn of(
        desk: &Desk,
        spoken: &Spoken,
        online: &HashSet<RecordingId>,
        n: usize,
        quote: &store::Quote,
        base: &Base,
    ) -> Self {
        let mut copies = Vec::new();
        for row in desk.recordings.values() {
            let at = desk.in_file(base, &row.id, base.at);
            // What began later or ended before has none of it.
            if let Some(at) = at.filter(|at| at.inside(row.duration_ms) > 0.0) {
                copies.push(Copy::of(row, at, &spoken.hearings(n, &row.id)));
            }
        }
        copies.sort_by_cached_key(Copy::order);
        let mut told: Vec<QuoteHearing> = (1..)
            .zip(&copies)
            .map(|(rank, copy)| hearing(desk, base, copy, rank, online))
            .collect();
        let mut problems = Vec::new();
        let at = quote.hearing_id.as_ref().and_then(|wanted| {
            let there = told.iter().position(|one| one.recording.id == wanted.0);
            if there.is_none() {
                problems.push(not_there(desk, quote, wanted));
            }
            there
        });
        let chosen = (!told.is_empty()).then(|| told.remove(at.unwrap_or(0)));
        told.truncate(MOST_TOLD - 1);
        problems.extend(of_choice(chosen.as_ref()));
        Self {
            chosen,
            backups: told,
            problems,
        }
    }
}

/// That the recording somebody chose can't be used.
fn not_there(desk: &Desk, quote: &store::Quote, wanted: &RecordingId) -> QuoteProblem {
    let name = quote.hearing_name.as_deref().unwrap_or(wanted.as_str());
    if desk.recordings.contains_key(wanted) {
        let detail = format!("{name} was chosen and has nothing of it; the best is used");
        return problem("out of the file", detail);
    }
    let detail = format!("{name} was chosen and is removed; the best is used");
    problem("hearing removed", detail)
}

/// What is wrong with the hearing to be used.
fn of_choice(chosen: Option<&QuoteHearing>) -> Vec<QuoteProblem> {
    let Some(chosen) = chosen else {
        return vec![problem("no hearing", "no recording has any of it")];
    };
    let mut problems = Vec::new();
    let (label, file) = (&chosen.source.label, &chosen.recording.file);
    if !chosen.covers {
        let detail = format!("{label} ({file}) begins after it or ends before it does");
        problems.push(problem("out of the file", detail));
    }
    if !chosen.online {
        let detail = format!("{file} of {label} is not where it was, or is another file now");
        problems.push(problem("offline", detail));
    }
    problems
}

fn hearing(
    desk: &Desk,
    base: &Base,
    copy: &Copy<'_>,
    rank: usize,
    online: &HashSet<RecordingId>,
) -> QuoteHearing {
    let row = copy.row;
    let (start_ms, end_ms) = copy.at.in_file(row.duration_ms);
    let rate = desk.frame_rate.as_deref();
    let anchor = base.anchor.as_ref().map(|lie| &lie.recording);
    QuoteHearing {
        source: source_of(row),
        recording: reference(row),
        start_ms,
        end_ms,
        covers: copy.covers,
        late_ms: match copy.covers {
            true => 0,
            false => (-copy.at.start_ms).max(0.0).round() as i64,
        },
        timecode: rate.and_then(|rate| time_of_day(row, start_ms, rate)),
        rank,
        heard: copy.heard,
        verdict: copy.verdict.map(|verdict| verdict.to_string()),
        why: copy.why.clone(),
        off_ms: anchor.and_then(|anchor| desk.places.doubt_ms(anchor, &row.id)),
        online: online.contains(&row.id),
        play: format!(
            "/api/v1/recordings/{}/audio#t={},{}",
            row.id,
            seconds(start_ms),
            seconds(end_ms)
        ),
    }
}
