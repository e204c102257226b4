//! What has no backup, on one page to print.
//!
//! One HTML document that needs nothing else: no script, no font, no other file. Red
//! is never the only sign: what lacks a backup says so in words.

use std::fmt::Write as _;

use super::super::wire::{Coverage, CoverageGap, CoveredPart};
use super::super::xml::escaped;

/// What the page may load: nothing but its own style.
pub(super) const POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; frame-ancestors 'none'";

/// Gaps of a part that are told one by one: more than that no longer fits on a page.
const SHOWN_GAPS: usize = 12;
/// Reasons that are told of a recorder.
const SHOWN_REASONS: usize = 2;

const STYLE: &str = "\
@page{size:A4;margin:14mm}\
body{font:12px/1.45 system-ui,'Noto Sans','DejaVu Sans',sans-serif;color:#1d2426;\
max-width:62rem;margin:1.5rem auto;padding:0 1rem}\
h1{font-size:17px;margin:0}h2{font-size:13px;margin:1.1em 0 .3em}\
p{margin:.25em 0}.all{font-size:15px;font-weight:600;padding:.5em .7em;margin:.8em 0;\
border:1.5px solid}\
.fine{color:#1d5c46}.bad{color:#a3211b}.faint{color:#5b6669}\
table{border-collapse:collapse;width:100%}\
th{text-align:left;font-weight:600;border-bottom:1px solid #1d2426}\
td,th{padding:.2em .6em .2em 0;vertical-align:top}td{border-bottom:1px solid #d5dbdc}\
.n{text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap}\
tr{break-inside:avoid}";

/// The page.
pub(super) fn html(told: &Coverage, date: Option<&str>) -> String {
    let title = escaped(&told.event.title);
    let mut out = format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <title>Backups: {title}</title><style>{STYLE}</style></head><body>\n\
         <h1>{title}</h1>\n<p class=\"faint\">{}What two recorders have well enough to \
         use.</p>\n",
        date.map_or(String::new(), |date| format!("{} · ", escaped(date)))
    );
    let (class, verdict) = verdict(told);
    let _ = writeln!(out, "<p class=\"all {class}\">{verdict}</p>");
    for caution in cautions(told) {
        let _ = writeln!(out, "<p class=\"bad\">{caution}</p>");
    }
    out.push_str(
        "<table><thead><tr><th>Part</th><th class=\"n\">from</th><th class=\"n\">to</th>\
         <th class=\"n\">speech</th><th class=\"n\">two or more</th><th class=\"n\">only \
         one</th><th class=\"n\">none</th><th>backup</th></tr></thead><tbody>\n",
    );
    let all = || told.parts.iter().chain([&told.elsewhere]);
    for part in all().filter(|part| part.name.is_some() || part.moments > 0) {
        row(&mut out, part);
    }
    out.push_str("</tbody></table>\n");
    for part in all().filter(|part| !part.gaps.is_empty()) {
        gaps(&mut out, part);
    }
    out.push_str("</body></html>\n");
    out
}

/// The answer in a sentence, and how it is drawn.
fn verdict(told: &Coverage) -> (&'static str, String) {
    let lacking: Vec<String> = told
        .parts
        .iter()
        .filter(|part| part.required && !part.backed_up)
        .map(|part| escaped(part.name.as_deref().unwrap_or("")))
        .collect();
    if !lacking.is_empty() {
        let said = format!("Keep the cards. Not backed up: {}.", lacking.join(", "));
        return ("bad", said);
    }
    if !told.finished {
        let said = "Keep the cards. Recordings are still being listened through.";
        return ("bad", said.to_owned());
    }
    if !told.parts.iter().any(|part| part.required) {
        let said = "No part is marked as required, so nothing was held against the rule.";
        return ("faint", said.to_owned());
    }
    ("fine", "All required parts are backed up.".to_owned())
}

fn cautions(told: &Coverage) -> Vec<String> {
    let mut cautions = Vec::new();
    if !told.finished {
        cautions.push("Not finished: more may have a backup than stands here.".to_owned());
    }
    if told.failed > 0 {
        cautions.push(format!(
            "Files that could not be opened or listened through: {}. They count for nothing here.",
            told.failed
        ));
    }
    for off in &told.off_clock {
        cautions.push(format!(
            "{} ({}) does not lie on the event clock; its {} of speech count for nothing here.",
            escaped(&off.recording.file),
            escaped(&off.source.label),
            length(off.speech_ms)
        ));
    }
    cautions
}

fn row(out: &mut String, part: &CoveredPart) {
    let clock = |at: Option<i64>| at.map_or(String::new(), position);
    let (class, backup) = match (part.backed_up, part.required, part.moments) {
        (true, ..) => ("fine", "yes"),
        (false, true, 0) => ("bad", "no: nothing was heard"),
        (false, true, _) => ("bad", "no"),
        (false, false, 0) => ("faint", "nothing was heard"),
        (false, false, _) => ("faint", "no, not required"),
    };
    let _ = writeln!(
        out,
        "<tr><td>{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td>\
         <td class=\"n\">{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td>\
         <td class=\"{class}\">{backup}</td></tr>",
        name(part),
        clock(part.start_ms),
        clock(part.end_ms),
        length(part.speech_ms),
        length(part.more_ms),
        length(part.one_ms),
        length(part.none_ms),
    );
}

fn gaps(out: &mut String, part: &CoveredPart) {
    let class = if part.required { "bad" } else { "faint" };
    let _ = writeln!(
        out,
        "<h2 class=\"{class}\">Without a backup: {}</h2>\n<table><thead><tr>\
         <th class=\"n\">from</th><th class=\"n\">to</th><th>first words</th><th>who has it</th>\
         <th>why no other</th></tr></thead><tbody>",
        name(part)
    );
    for gap in part.gaps.iter().take(SHOWN_GAPS) {
        let _ = writeln!(
            out,
            "<tr><td class=\"n\">{}</td><td class=\"n\">{}</td><td>{}</td><td>{}</td>\
             <td>{}</td></tr>",
            position(gap.start_ms),
            position(gap.end_ms),
            escaped(&gap.text),
            gap.only.as_ref().map_or_else(
                || "nobody well enough".to_owned(),
                |only| format!("{} only", escaped(&only.label))
            ),
            others(gap),
        );
    }
    out.push_str("</tbody></table>\n");
    if let Some(more) = part.gaps.len().checked_sub(SHOWN_GAPS + 1) {
        let _ = writeln!(out, "<p class=\"faint\">And {} more.</p>", more + 1);
    }
}

fn others(gap: &CoverageGap) -> String {
    if gap.others.is_empty() {
        return "no other recorder heard it".to_owned();
    }
    let one = |other: &super::NoBackup| {
        let why: Vec<&str> = other
            .why
            .iter()
            .take(SHOWN_REASONS)
            .map(String::as_str)
            .collect();
        escaped(&format!(
            "{}: {} ({})",
            other.source.label,
            other.verdict,
            why.join(", ")
        ))
    };
    let told: Vec<String> = gap.others.iter().map(one).collect();
    told.join("<br>")
}

fn name(part: &CoveredPart) -> String {
    let name = part.name.as_deref().unwrap_or("outside of all parts");
    escaped(name)
}

/// An instant of the event clock, to the second.
fn position(ms: i64) -> String {
    let (sign, s) = (if ms < 0 { "-" } else { "" }, ms.unsigned_abs() / 1000);
    format!("{sign}{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60)
}

/// A length, to the second.
fn length(ms: i64) -> String {
    if ms == 0 {
        return "–".to_owned();
    }
    let s = (ms + 500) / 1000;
    format!("{}:{:02}", s / 60, s % 60)
}

#[cfg(test)]
mod tests {
    use super::super::super::wire::{EventRef, NoBackup, OffClock, RecordingRef, SourceRef};
    use super::*;

    fn part(name: Option<&str>, required: bool, gaps: usize) -> CoveredPart {
        let source = |label: &str| SourceRef {
            id: "s".into(),
            label: label.into(),
            placement: "worn".into(),
        };
        let gap = CoverageGap {
            start_ms: 61_500,
            end_ms: 3_663_000,
            moments: vec!["m".into()],
            text: "the <b>kettle</b>".into(),
            only: Some(source("Worn & dry")),
            others: vec![NoBackup {
                source: source("Camera"),
                verdict: "poor".into(),
                why: vec!["far away".into(), "wind".into(), "third".into()],
            }],
        };
        CoveredPart {
            name: name.map(str::to_owned),
            required,
            start_ms: name.map(|_| 0),
            end_ms: name.map(|_| 4_000_000),
            moments: 3,
            speech_ms: 5_000,
            none_ms: 0,
            one_ms: 2_000,
            more_ms: 3_000,
            backed_up: gaps == 0,
            gaps: vec![gap; gaps],
        }
    }

    fn coverage(parts: Vec<CoveredPart>) -> Coverage {
        Coverage {
            event: EventRef {
                id: "e".into(),
                title: "<script>alert(1)</script>".into(),
            },
            finished: true,
            failed: 0,
            backed_up: parts.iter().all(|part| part.backed_up),
            parts,
            elsewhere: CoveredPart {
                moments: 0,
                ..part(None, false, 0)
            },
            off_clock: Vec::new(),
        }
    }

    #[test]
    fn what_lacks_a_backup_stands_there_with_its_reason() {
        let told = coverage(vec![
            part(Some("vows"), true, 13),
            part(Some("party"), false, 1),
        ]);
        let page = html(&told, Some("2026-06-20"));
        for said in [
            "Keep the cards. Not backed up: vows.",
            "0:01:01",
            "1:01:03",
            "the &lt;b&gt;kettle&lt;/b&gt;",
            "Worn &amp; dry only",
            "Camera: poor (far away, wind)",
            "And 1 more.",
            "no, not required",
            "2026-06-20 · ",
        ] {
            assert!(page.contains(said), "{said} is not in\n{page}");
        }
        for absent in ["<script", "third", "outside of all parts"] {
            assert!(!page.contains(absent), "{absent} is in\n{page}");
        }
    }

    #[test]
    fn the_head_line_says_what_can_be_said() {
        let head = |told: &Coverage| verdict(told).1;
        let fine = coverage(vec![part(Some("vows"), true, 0)]);
        assert_eq!(head(&fine), "All required parts are backed up.");
        let working = Coverage {
            finished: false,
            ..fine.clone()
        };
        assert!(head(&working).starts_with("Keep the cards. Recordings are still"));
        let none = coverage(vec![part(Some("party"), false, 1)]);
        assert!(head(&none).starts_with("No part is marked as required"));
        assert!(head(&coverage(Vec::new())).starts_with("No part is marked as required"));
        let off = Coverage {
            failed: 2,
            off_clock: vec![OffClock {
                recording: RecordingRef {
                    id: "r".into(),
                    file: "CLIP.mov".into(),
                },
                source: SourceRef {
                    id: "s".into(),
                    label: "Camera".into(),
                    placement: "camera".into(),
                },
                speech_ms: 61_000,
            }],
            ..fine
        };
        let page = html(&off, None);
        assert!(page.contains("could not be opened or listened through: 2"));
        assert!(page.contains("CLIP.mov (Camera) does not lie on the event clock; its 1:01"));
    }
}
