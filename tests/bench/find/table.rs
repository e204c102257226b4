//! The tables, in the form of DEVELOPERS.md.

use std::collections::BTreeMap;

use crate::decoys;
use crate::folder::Sound;
use crate::judge::{DecoyOutcome, Outcome};
use crate::queries::Kind;
use crate::term_value::{best, value};
use crate::terms::Both;

/// Share found first and in the first five, by kind and sound.
pub fn found(outcomes: &[Outcome]) {
    println!(
        "\n| query | worn: n | first | of five | plain | camera: n | first | of five | plain |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- |");
    for kind in Kind::ALL {
        let own = |o: &&Outcome| o.query.kind == kind;
        if kind == Kind::Name {
            row("a name, as it was written", outcomes, &|o| {
                own(&o) && o.written
            });
            row("a name, mis-heard", outcomes, &|o| own(&o) && !o.written);
        } else {
            row(kind.name(), outcomes, &|o| own(&o));
        }
    }
    row("all", outcomes, &|_| true);
    row("all whose words are not written there", outcomes, &|o| {
        !o.written
    });
    println!("goal: first 93 %, of five 97 %; plain: in the first five by a quoted phrase in FTS5");
}

fn row(title: &str, outcomes: &[Outcome], own: &dyn Fn(&Outcome) -> bool) {
    let mut cells = String::new();
    for sound in Sound::ALL {
        let of: Vec<&Outcome> = outcomes
            .iter()
            .filter(|o| o.sound == sound && own(o))
            .collect();
        let within = |most: usize, place: &dyn Fn(&Outcome) -> Option<usize>| {
            let found = of.iter().filter(|o| place(o).is_some_and(|n| n < most));
            share(found.count(), of.len())
        };
        let (ours, plain) = (|o: &Outcome| o.place, |o: &Outcome| o.plain);
        cells += &format!(
            " {} | {} | {} | {} |",
            of.len(),
            within(1, &ours),
            within(5, &ours),
            within(5, &plain)
        );
    }
    println!("| {title} |{cells}");
}

fn share(count: usize, of: usize) -> String {
    match of {
        0 => "–".into(),
        _ => format!("{:.1} %", 100.0 * count as f64 / of as f64),
    }
}

/// How right answers were called, and how far off they are.
pub fn called(outcomes: &[Outcome]) {
    println!("\n| right answer called | worn | camera alone |");
    println!("| --- | --- | --- |");
    let mut counts: BTreeMap<String, [usize; 2]> = BTreeMap::new();
    for outcome in outcomes {
        if let Some((kind, guess)) = &outcome.found_as {
            let name = format!("{kind}{}", if *guess { ", a guess" } else { "" });
            counts.entry(name).or_default()[outcome.sound as usize] += 1;
        }
    }
    for (name, [worn, camera]) in counts {
        println!("| {name} | {worn} | {camera} |");
    }
    let mut off: Vec<i64> = outcomes
        .iter()
        .filter(|o| o.query.kind == Kind::Exact)
        .filter_map(|o| o.off_ms.map(i64::abs))
        .collect();
    off.sort_unstable();
    if let Some(median) = off.get(off.len() / 2) {
        println!("starts of answers to parts of lines: median {median} ms off");
    }
}

/// Answers to what nobody said.
pub fn decoys(outcomes: &[DecoyOutcome]) {
    println!("\n| decoy | worn: n | sure answer | any | camera: n | sure answer | any |");
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    let row = |title: &str, own: &dyn Fn(&DecoyOutcome) -> bool| {
        let mut cells = String::new();
        for sound in Sound::ALL {
            let of: Vec<&DecoyOutcome> = outcomes
                .iter()
                .filter(|o| o.sound == sound && own(o))
                .collect();
            let sure = of
                .iter()
                .filter(|o| o.hit.as_ref().is_some_and(|hit| !hit.guess));
            let any = of.iter().filter(|o| o.hit.is_some());
            cells += &format!(
                " {} | {} | {} |",
                of.len(),
                share(sure.count(), of.len()),
                share(any.count(), of.len())
            );
        }
        println!("| {title} |{cells}");
    };
    for kind in decoys::Kind::ALL {
        row(kind.name(), &|o| o.kind == kind);
    }
    row("all", &|_| true);
    println!("goal: a sure answer to fewer than 2 %");
}

/// Term-weighted values by sound.
pub fn terms(by_sound: &[(Sound, Both)]) {
    println!(
        "\n| terms | n | said | s | ATWV | missed | false | MTWV | at score | plain ATWV | missed | false | MTWV |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |");
    for (sound, both) in by_sound {
        let said: usize = both.ours.iter().map(|term| term.said.len()).sum();
        let actual = value(&both.ours, both.speech_s, &|found| found.sure);
        let (most, least) = best(&both.ours, both.speech_s);
        let plain = value(&both.plain, both.speech_s, &|_| true);
        let (plain_most, _) = best(&both.plain, both.speech_s);
        println!(
            "| {} | {} | {said} | {:.0} | {:.3} | {:.1} % | {} | {:.3} | {least:.3} | {:.3} | {:.1} % | {} | {:.3} |",
            sound.title(),
            both.ours.len(),
            both.speech_s,
            actual.twv,
            100.0 * actual.missed,
            actual.alarms,
            most.twv,
            plain.twv,
            100.0 * plain.missed,
            plain.alarms,
            plain_most.twv,
        );
    }
    println!(
        "goal: ATWV 0.15 above plain phrase search on a camera alone; a false alarm in T s costs 999.9/T of a term"
    );
}

/// Every query that was not found first, and every decoy with a sure answer.
pub fn failures(outcomes: &[Outcome], decoys: &[DecoyOutcome]) {
    for o in outcomes.iter().filter(|o| o.place != Some(0)) {
        let place = o
            .place
            .map_or("not found".into(), |n| format!("place {}", n + 1));
        println!(
            "\n{place}, {}, {}: {}\n  said at {:?}, written: {}",
            o.sound.title(),
            o.query.kind.name(),
            o.query.text,
            o.query.spans,
            o.heard
        );
        match &o.first {
            Some(hit) => println!(
                "  first: {} {:.3}{} at {:?}: {}",
                hit.kind,
                hit.score,
                if hit.guess { " (guess)" } else { "" },
                hit.span,
                hit.text
            ),
            None => println!("  no answer"),
        }
    }
    for o in decoys {
        if let Some(hit) = o.hit.as_ref().filter(|hit| !hit.guess) {
            println!(
                "\ndecoy answered, {}, {}: {}\n  {} {:.3} at {:?}: {}",
                o.sound.title(),
                o.kind.name(),
                o.query,
                hit.kind,
                hit.score,
                hit.span,
                hit.text
            );
        }
    }
}
