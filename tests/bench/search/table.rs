//! What was measured, as it is told.

use std::time::Duration;

use super::Options;
use super::load::Measured;
use super::plan::Plan;
use super::queries::Kind;
use super::shelf::{Shelf, events};
use super::sizes::{Rebuilt, Size};

/// Tables and indexes that take less are not listed, bytes.
const LITTLE: i64 = 1_000_000;

fn millions(options: &Options) -> f64 {
    options.words as f64 / 1e6
}

/// What the shelf holds and what making it took.
pub fn shelf(options: &Options, shelf: &Shelf) {
    let load = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    println!(
        "A shelf of {:.1} million words, {} events, seed {}; load of the machine {}",
        millions(options),
        events(options.words),
        options.seed,
        load.split(' ').next().unwrap_or("unknown")
    );
    if let Some(made) = shelf.made {
        let a_million = |took: Duration| took.as_secs_f64() * 1e6 / made.words as f64;
        println!(
            "Made in {:.0} s: {:.1} s a million words, of which {:.1} s to write words with their index; processor time {:.1} s a million words.",
            made.took.as_secs_f64(),
            a_million(made.took),
            a_million(made.words_took),
            a_million(made.processor),
        );
    }
}

/// The head of the table of times.
pub fn head() {
    println!(
        "\n| query | clients | p50, ms | p95, ms | p99, ms | longest, ms | answers | refused | a second | processor, ms each | p50 / p95 / p99 of that | waiting for a core, ms each | with hits, % | hits (median) |"
    );
    println!(
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"
    );
}

/// One kind with so many clients.
pub fn row(kind: &Kind, clients: usize, measured: &Measured) {
    let shares = [0.5, 0.95, 0.99].map(|share| measured.processor_at_most_ms(share));
    let processor = match shares {
        [Some(half), Some(most), Some(nearly)] => format!("{half:.1} / {most:.1} / {nearly:.1}"),
        _ => "".to_owned(),
    };
    println!(
        "| {} | {clients} | {:.1} | {:.1} | {:.1} | {:.1} | {} | {} | {:.0} | {:.1} | {processor} | {:.1} | {:.0} | {} |",
        kind.name,
        measured.ms(0.5),
        measured.ms(0.95),
        measured.ms(0.99),
        measured.ms(1.0),
        measured.answers(),
        measured.refused(),
        measured.rate(),
        measured.processor_ms(),
        measured.waited_ms(),
        measured.found(),
        measured.total(),
    );
}

/// What each table and index takes.
pub fn sizes(options: &Options, sizes: &[Size]) {
    let all: i64 = sizes.iter().map(|size| size.bytes).sum();
    println!("\n| table or index | MB | bytes a word |\n| --- | --- | --- |");
    let row = |name: &str, bytes: i64| {
        let words = options.words as f64;
        println!(
            "| {name} | {:.1} | {:.1} |",
            bytes as f64 / 1e6,
            bytes as f64 / words
        );
    };
    for size in sizes.iter().filter(|size| size.bytes >= LITTLE) {
        row(&size.name, size.bytes);
    }
    row("all", all);
}

/// How long each full-text index takes to make.
pub fn rebuilt(options: &Options, rebuilt: &[Rebuilt]) {
    println!();
    for one in rebuilt {
        println!(
            "{} made again: {:.1} s of the processor, {:.1} s a million words.",
            one.name,
            one.processor.as_secs_f64(),
            one.processor.as_secs_f64() / millions(options)
        );
    }
}

/// Which statements walk; any ends the program.
pub fn plans(plans: &[Plan], show: bool) {
    println!("\n{} statements answer these queries.", plans.len());
    for plan in plans.iter().filter(|_| show) {
        println!("\n{}\n    {}", plan.sql, plan.steps.join("\n    "));
    }
    let walking: Vec<String> = plans
        .iter()
        .filter(|plan| !plan.walks().is_empty())
        .map(|plan| format!("{}\n    {}", plan.sql, plan.walks().join("\n    ")))
        .collect();
    assert!(
        walking.is_empty(),
        "walked as a whole:\n{}",
        walking.join("\n")
    );
    println!("None walks a whole table or index.");
}
