//! What the first choice loses, and what verdicts are worth.

use std::collections::BTreeMap;

use sayback::core::quality::Verdict;

use xtask::scene::noise::NoiseKind;

use crate::Copy;
use crate::faults::Fault;

/// How good a copy is, by some way of ranking.
type Rank = fn(&Copy) -> f32;

/// STOI lost against the best choice, mean over the lines that several have.
pub fn print(copies: &[Copy]) {
    let ranks: [(&str, Rank); 6] = [
        ("the one that is put first", |copy| {
            copy.judged
                .as_ref()
                .map_or(f32::NEG_INFINITY, |judged| match judged.first {
                    true => f32::MAX,
                    false => judged.score,
                })
        }),
        ("by score, lines around aside", |copy| {
            copy.judged
                .as_ref()
                .map_or(f32::NEG_INFINITY, |judged| judged.score)
        }),
        ("without comparing copies", before),
        ("signal to noise of the detector", |copy| {
            copy.segments.snr_db
        }),
        ("signal to noise, telephone band", |copy| {
            copy.measures.snr_db.unwrap_or(f32::NEG_INFINITY)
        }),
        ("level", |copy| copy.segments.level_dbfs),
    ];
    let mut lines: BTreeMap<(&str, usize), Vec<&Copy>> = BTreeMap::new();
    for copy in copies {
        lines
            .entry((&copy.event, copy.line))
            .or_default()
            .push(copy);
    }
    lines.retain(|_, copies| copies.len() > 1);
    let mut events: Vec<&str> = copies.iter().map(|copy| copy.event.as_str()).collect();
    events.dedup();
    print!("{:<34}", "STOI lost by the first choice");
    println!(
        "{}",
        events
            .iter()
            .map(|event| format!("{event:>10}"))
            .collect::<String>()
    );
    for (name, rank) in ranks {
        print!("{name:<34}");
        for event in &events {
            let own: Vec<f64> = lines
                .iter()
                .filter(|((of, _), _)| of == event)
                .map(|(_, copies)| regret(copies, rank))
                .collect();
            print!(
                "{:>10.4}",
                own.iter().sum::<f64>() / own.len().max(1) as f64
            );
        }
        println!();
    }
    println!(
        "\n{:<10}{:>8}{:>8}{:>8}{:>8}",
        "verdict", "copies", "STOI", "least", "most"
    );
    for verdict in [
        Verdict::Clean,
        Verdict::Usable,
        Verdict::Poor,
        Verdict::Lost,
    ] {
        let mut own: Vec<f64> = copies
            .iter()
            .filter(|copy| {
                copy.judged
                    .as_ref()
                    .is_some_and(|judged| judged.verdict == verdict)
            })
            .map(|copy| copy.stoi)
            .collect();
        own.sort_by(f64::total_cmp);
        let at = |share: f64| {
            own.get((share * own.len() as f64) as usize)
                .unwrap_or(&f64::NAN)
        };
        let mean = own.iter().sum::<f64>() / own.len().max(1) as f64;
        println!(
            "{:<10}{:>8}{mean:>8.2}{:>8.2}{:>8.2}",
            verdict.to_string(),
            own.len(),
            at(0.05),
            at(0.95)
        );
    }
    faults(copies);
}

/// How often each fault is told where it was put in, and where it was not.
fn faults(copies: &[Copy]) {
    println!(
        "\n{:<22}{:>8}{:>8}{:>10}{:>8}{:>8}",
        "fault told", "put in", "told", "not in", "told", "right"
    );
    for (name, says, is) in KINDS {
        let told = |copy: &&Copy| {
            let why = copy.judged.as_ref().map_or(&[][..], |judged| &judged.why);
            why.iter().any(|why| why.starts_with(says))
        };
        // A fault of the same kind but fainter is neither there nor not there.
        let kind = |copy: &Copy| {
            format!("{:?}", copy.fault).starts_with(of_kind(says))
                || copy.noise.iter().any(|kind| has_it(*kind, says))
        };
        let judged = || copies.iter().filter(|copy| copy.judged.is_some());
        let there: Vec<&Copy> = judged().filter(|copy| is(&copy.fault)).collect();
        let absent: Vec<&Copy> = judged().filter(|copy| !kind(copy)).collect();
        let count = |copies: &[&Copy]| copies.iter().filter(|copy| told(copy)).count() as f64;
        let (hits, alarms) = (count(&there), count(&absent));
        let share = |part: f64, of: f64| 100.0 * part / of.max(1.0);
        println!(
            "{name:<22}{:>8}{:>7.0}%{:>10}{:>7.1}%{:>7.0}%",
            there.len(),
            share(hits, there.len() as f64),
            absent.len(),
            share(alarms, absent.len() as f64),
            share(hits, hits + alarms),
        );
    }
}

/// A fault, what is said of it, and what of it is meant.
type Kind = (&'static str, &'static str, fn(&Fault) -> bool);

const KINDS: [Kind; 6] = [
    (
        "hum above -26 dB",
        "hums at",
        |fault| matches!(fault, Fault::Hum(_, db) if *db > -26.0),
    ),
    ("flat tops", "flat tops", |fault| {
        matches!(fault, Fault::Clip(..))
    }),
    ("dropouts", "drops out", |fault| {
        matches!(fault, Fault::Dropouts(_))
    }),
    (
        "wind above -3 dB",
        "wind or rumble",
        |fault| matches!(fault, Fault::Wind(db) if *db > -3.0),
    ),
    (
        "rustle above -6 dB",
        "rustles",
        |fault| matches!(fault, Fault::Rustle(_, db) if *db > -6.0),
    ),
    ("telephone", "nothing above 4 kHz", |fault| {
        *fault == Fault::Telephone
    }),
];

/// Whether a background has of itself what a reason is about.
fn has_it(kind: NoiseKind, says: &str) -> bool {
    match kind {
        NoiseKind::Hum => says == "hums at",
        NoiseKind::Brown => says == "wind or rumble",
        _ => false,
    }
}

/// How the faults that a reason is about are called.
fn of_kind(says: &str) -> &'static str {
    match says {
        "hums at" => "Hum",
        "flat tops" => "Clip",
        "drops out" => "Dropouts",
        "wind or rumble" => "Wind",
        "rustles" => "Rustle",
        _ => "Telephone",
    }
}

/// What the copy that a rank puts first loses against the best.
fn regret(copies: &[&Copy], rank: Rank) -> f64 {
    let best = copies.iter().map(|copy| copy.stoi).fold(0.0, f64::max);
    let first = copies.iter().max_by(|a, b| rank(a).total_cmp(&rank(b)));
    best - first.map_or(0.0, |copy| copy.stoi)
}

/// The rank of before copies were compared: what a detector knows, and the placement.
fn before(copy: &Copy) -> f32 {
    let segments = &copy.segments;
    let prior = match copy.placed {
        "feed" => 2.0,
        "worn" => 1.0,
        "ambient" => -1.0,
        "camera" => -2.0,
        _ => 0.0,
    };
    segments.snr_db.min(20.0) + 0.25 * (segments.snr_db - 20.0).max(0.0) + prior
        - 60.0 * segments.clipped
        - 20.0 * (segments.reverb - 0.2).max(0.0)
        - 12.0 * (1.0 - segments.covered)
}
