//! What was found of a text, for people.

use serde::Deserialize;

use super::super::show::{Paint, position, safe};

/// `GET /scripts/{script}/passes`
#[derive(Debug, Deserialize)]
pub struct Found {
    script: Script,
    sentences: Vec<String>,
    /// Every time it was read.
    pub passes: Vec<Pass>,
    most_complete: Option<usize>,
    words_looked_at: i64,
    moments_unwritten: i64,
}

#[derive(Debug, Deserialize)]
struct Script {
    title: String,
}

/// One time it was read.
#[derive(Debug, Deserialize)]
pub struct Pass {
    pass: usize,
    start_ms: Option<i64>,
    end_ms: Option<i64>,
    person: Option<Person>,
    completeness: f32,
    agreement: f32,
    sentences: Vec<Sentence>,
    left_out: Vec<usize>,
    added: Vec<Added>,
    best: Option<Source>,
}

#[derive(Debug, Deserialize)]
struct Person {
    name: String,
}

#[derive(Debug, Deserialize)]
struct Sentence {
    sentence: usize,
    said: Option<Said>,
    again: Vec<Said>,
}

#[derive(Debug, Deserialize)]
struct Said {
    start_ms: Option<i64>,
    end_ms: Option<i64>,
    agreement: f32,
    words: Vec<Words>,
    best: Option<Hearing>,
}

#[derive(Debug, Deserialize)]
struct Words {
    kind: String,
    written: String,
    said: String,
}

#[derive(Debug, Deserialize)]
struct Hearing {
    source: Label,
    recording: File,
    verdict: String,
    start_ms: i64,
    end_ms: i64,
}

#[derive(Debug, Deserialize)]
struct Label {
    label: String,
}

#[derive(Debug, Deserialize)]
struct File {
    file: String,
}

#[derive(Debug, Deserialize)]
struct Added {
    after: usize,
    text: String,
    start_ms: Option<i64>,
    by_another: bool,
}

#[derive(Debug, Deserialize)]
struct Source {
    source: Label,
    recording: File,
    why: Vec<String>,
    start_ms: i64,
    end_ms: i64,
}

/// Per pass a line a sentence: when, how well it agrees, its words with what was changed
/// in them; what was left out is named.
pub fn text(found: &Found, paint: Paint) -> String {
    let mut lines: Vec<String> = Vec::new();
    let title = safe(&found.script.title);
    if found.passes.is_empty() {
        let looked = found.words_looked_at;
        lines.push(format!(
            "'{title}' was not found in the {looked} words of the event"
        ));
    }
    for pass in &found.passes {
        if !lines.is_empty() {
            lines.push(String::new());
        }
        let most = found.most_complete == Some(pass.pass) && found.passes.len() > 1;
        lines.push(head(pass, most, paint));
        lines.extend(best(pass, paint));
        for sentence in &pass.sentences {
            lines.extend(sentence_lines(sentence, found, pass, paint));
        }
    }
    if found.moments_unwritten > 0 {
        lines.push(String::new());
        lines.push(format!(
            "{} moments are not listened to yet; what is said there is not known",
            found.moments_unwritten
        ));
    }
    lines.join("\n")
}

fn head(pass: &Pass, most_complete: bool, paint: Paint) -> String {
    let title = paint.strong(&format!("Pass {}", pass.pass));
    let by = pass.person.as_ref();
    let by = by.map_or(String::new(), |person| format!(", {}", safe(&person.name)));
    let marked = if most_complete {
        ", the most complete"
    } else {
        ""
    };
    let left_out = match pass.left_out.len() {
        0 => String::new(),
        1 => ", 1 sentence left out".into(),
        count => format!(", {count} sentences left out"),
    };
    format!(
        "{title}  {}{by}: {:.0} % of the words, agrees {:.2}{left_out}{marked}",
        times(pass.start_ms, pass.end_ms),
        100.0 * pass.completeness,
        pass.agreement,
    )
}

fn times(start_ms: Option<i64>, end_ms: Option<i64>) -> String {
    match (start_ms, end_ms) {
        (Some(start), Some(end)) => format!("{} – {}", position(start), position(end)),
        _ => "not on the event clock".into(),
    }
}

fn best(pass: &Pass, paint: Paint) -> Option<String> {
    let best = pass.best.as_ref()?;
    let told = format!(
        "  best on {}: {}; {} at {} – {}",
        safe(&best.source.label),
        safe(&best.why.join(", ")),
        safe(&best.recording.file),
        position(best.start_ms),
        position(best.end_ms),
    );
    Some(paint.faint(&told))
}

fn sentence_lines(one: &Sentence, found: &Found, pass: &Pass, paint: Paint) -> Vec<String> {
    let text = found.sentences.get(one.sentence).map_or("", String::as_str);
    let mut lines = Vec::new();
    match &one.said {
        Some(said) => {
            lines.push(format!(
                "  {}  {:.2}  {}",
                times(said.start_ms, said.end_ms),
                said.agreement,
                marked(&said.words, paint)
            ));
            lines.extend(said.best.as_ref().map(|best| {
                let told = format!(
                    "    {} {}, {} at {} – {}",
                    safe(&best.source.label),
                    safe(&best.verdict),
                    safe(&best.recording.file),
                    position(best.start_ms),
                    position(best.end_ms),
                );
                paint.faint(&told)
            }));
        }
        None => lines.push(format!("  {}  {}", paint.wrong("left out:"), safe(text))),
    }
    for again in &one.again {
        let said = marked(&again.words, paint);
        lines.push(format!(
            "    said also at {}: {said}",
            times(again.start_ms, again.end_ms)
        ));
    }
    for added in pass
        .added
        .iter()
        .filter(|added| added.after == one.sentence)
    {
        let what = if added.by_another {
            "somebody else"
        } else {
            "added"
        };
        let at = added
            .start_ms
            .map_or(String::new(), |ms| format!(" at {}", position(ms)));
        lines.push(format!("  + {what}{at}: {}", safe(&added.text)));
    }
    lines
}

/// The words of a sentence: `[written → said]` for what was changed, `[- written]` for
/// what was left out, `[+ said]` for what was added.
fn marked(words: &[Words], paint: Paint) -> String {
    let shown = words.iter().map(|one| {
        let (written, said) = (safe(&one.written), safe(&one.said));
        match one.kind.as_str() {
            "kept" => written.into_owned(),
            "alike" => format!("{written} {}", paint.faint(&format!("(heard: {said})"))),
            "changed" => paint.found(&format!("[{written} → {said}]")),
            "left out" => paint.found(&format!("[- {written}]")),
            _ => paint.found(&format!("[+ {said}]")),
        }
    });
    shown.collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_pass_reads_as_one_line_a_sentence() {
        let words = |kind: &str, written: &str, said: &str| json!({"kind": kind, "written": written, "said": said});
        let found = json!({
            "script": {"title": "Letter"},
            "sentences": ["I want to row.", "Nobody sees.", "Corin"],
            "most_complete": 1, "words_looked_at": 90, "moments_unwritten": 2,
            "passes": [{
                "pass": 1, "start_ms": 1000, "end_ms": 9000, "person": {"name": "Cor\u{1b}in"},
                "completeness": 0.8, "agreement": 0.91, "left_out": [1],
                "added": [{"after": 0, "text": "sorry again", "start_ms": 4000, "by_another": false}],
                "best": {"source": {"label": "Worn"}, "recording": {"file": "a.wav"},
                    "why": ["clean in 2 of the 2 sentences that were said"],
                    "start_ms": 0, "end_ms": 8000},
                "sentences": [
                    {"sentence": 0, "again": [], "said": {"start_ms": 1000, "end_ms": 3000,
                        "agreement": 0.7, "best": null, "words": [
                            words("kept", "I", "I"), words("changed", "want", "would like"),
                            words("left out", "to", ""), words("alike", "row.", "roe"),
                            words("added", "", "please")]}},
                    {"sentence": 1, "again": [], "said": null},
                    {"sentence": 2, "again": [], "said": {"start_ms": 8000, "end_ms": 9000,
                        "agreement": 1.0, "best": null,
                        "words": [words("kept", "Corin", "corin")]}},
                ],
            }],
        });
        let found: Found = serde_json::from_value(found).expect("an answer");
        let text = text(&found, Paint::stdout());
        for line in [
            "Pass 1  00:00:01.000 – 00:00:09.000, Cor\\u{1b}in: 80 % of the words, agrees 0.91, 1 sentence left out",
            "  best on Worn: clean in 2 of the 2 sentences that were said; a.wav at 00:00:00.000 – 00:00:08.000",
            "  00:00:01.000 – 00:00:03.000  0.70  I [want → would like] [- to] row. (heard: roe) [+ please]",
            "  + added at 00:00:04.000: sorry again",
            "  left out:  Nobody sees.",
            "2 moments are not listened to yet; what is said there is not known",
        ] {
            assert!(text.lines().any(|one| one == line), "{line}\n{text}");
        }
    }
}
