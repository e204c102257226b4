//! What is printed of the made-up events.

use std::collections::BTreeSet;

use sayback::core::voices::Found;

use super::event::Event;
use super::meetings::{Errors, Meeting};
use super::score::{BANDS, Score, Share};

pub fn print(rows: &[(String, Score, Score)]) {
    println!("share of speech in moments; wrong name / nobody / wrong and certainty 0.9 or more");
    println!(
        "{:<24} {:>6} {:<24} {:>6} {:<24} {:>7} {:<24} changes (found, false)  overlap (of two worn, found of these, false)",
        "event", "s", "wearers", "s", "others, best match", "unnamed", "others, each told once"
    );
    for (name, unnamed, named) in rows {
        println!(
            "{name:<24} {:>6.0} {:<24} {:>6.0} {:<24} {:>7} {:<24} {:>3} {:>3} {:>3}               {:>5.1} {:>5.1} {:>5.1} {:>5.1} s",
            seconds(unnamed.wearers.all),
            shares(unnamed.wearers),
            seconds(unnamed.others.all),
            shares(unnamed.others),
            unnamed.unnamed,
            shares(named.others),
            unnamed.changes.all,
            unnamed.changes.found,
            unnamed.changes.false_ones,
            seconds(unnamed.overlap_all),
            seconds(unnamed.overlap.all),
            seconds(unnamed.overlap.found),
            seconds(unnamed.overlap.false_ones),
        );
    }
    // With one seed only the sums are there.
    let counted = |name: &str| name.ends_with("all") || name == "the demo";
    let mut all = (Score::default(), Score::default());
    for (_, unnamed, named) in rows.iter().filter(|(name, ..)| counted(name)) {
        all.0.add(unnamed);
        all.1.add(named);
    }
    certainty("best match", &all.0);
    certainty("others told once", &all.1);
}

/// How much of what is said so surely is right.
pub fn certainty(of: &str, score: &Score) {
    println!("{of}: certainty, right, share of the speech");
    let whole: usize = score.bands.iter().map(|(all, _)| all).sum();
    for (from, (all, right)) in BANDS.iter().zip(score.bands) {
        println!(
            "  from {from:.2}  {:>5.1} %  {:>5.1} %",
            percent(right, all),
            percent(all, whole)
        );
    }
}

/// A line of the table of meetings.
pub fn errors(speech: &str, who: &str, collar_s: f64, errors: Errors) {
    let share = |s: f64| 100.0 * s / errors.scored_s;
    println!(
        "{speech:<9} {who:<12} {collar_s:>9.2}  {:>6.1} {:>6.1} {:>8.1}  {:>5.1}",
        share(errors.missed_s),
        share(errors.false_s),
        share(errors.speaker_s),
        errors.rate()
    );
}

/// Speakers found, and speakers labelled.
pub fn counted((meeting, found): (&Meeting, &Found)) -> String {
    let said: BTreeSet<_> = meeting.labels.iter().map(|(who, ..)| who).collect();
    let told: BTreeSet<_> = found.turns.iter().filter_map(|turn| turn.speaker).collect();
    format!("{} {} of {}", meeting.name, told.len(), said.len())
}

fn shares(share: Share) -> String {
    format!(
        "{:>5.1} / {:>5.1} / {:>5.2} %",
        percent(share.wrong, share.all),
        percent(share.unknown, share.all),
        percent(share.confident, share.all)
    )
}

fn percent(part: usize, whole: usize) -> f64 {
    100.0 * part as f64 / whole.max(1) as f64
}

fn seconds(frames: usize) -> f64 {
    frames as f64 / 100.0
}

/// Lines and turns, for whoever wants to see where it goes wrong.
pub fn show(event: &Event, found: &Found) {
    for (n, stretch) in event.stretches.iter().enumerate() {
        println!("{} to {}", stretch.start.0, stretch.end.0);
        let (from, to) = (stretch.start.0 as f64, stretch.end.0 as f64);
        for line in &event.lines {
            if line.start_ms < to && from < line.end_ms {
                let worn = if line.worn { ", worn" } else { "" };
                let (start, end) = (line.start_ms, line.end_ms);
                println!("    said {start:.0} to {end:.0} by {}{worn}", line.speaker);
            }
        }
        for turn in found.turns.iter().filter(|turn| turn.stretch == n) {
            println!(
                "  found {} to {} {:?} {:?} {:.2} {}",
                turn.start.0, turn.end.0, turn.speaker, turn.also, turn.certainty, turn.why
            );
        }
    }
}
