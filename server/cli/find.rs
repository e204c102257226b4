//! `sayback find`: lines, and every recording that heard them.

use std::collections::HashMap;

use super::answers::{Hearing, Hit, Matched, Recording, Search, Status};
use super::args::Find;
use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::progress::look;
use super::show::{Paint, out, position, remark, safe};

/// Searches and prints what was found.
///
/// # Errors
/// What the service says when it refuses.
pub fn run(client: &Client, find: &Find) -> Result<Outcome, CliError> {
    let mut path = format!(
        "/search?q={}&limit={}&offset={}",
        quoted(&find.words.join(" ")),
        find.limit,
        find.offset
    );
    if let Some(event) = &find.event {
        path.push_str(&format!("&event={}", quoted(event)));
    }
    let answer = client.get(&path)?;
    let search: Search = answer.read()?;
    let outcome = if search.hits.is_empty() {
        Outcome::Partly
    } else {
        Outcome::Done
    };
    if find.json.json {
        out(answer.text())?;
        return Ok(outcome);
    }
    let mut files = Files::default();
    let paint = Paint::stdout();
    for hit in &search.hits {
        let mut lines = vec![line(hit, paint)];
        for hearing in &hit.heard_on {
            let file = files.path(client, &hearing.recording.id)?;
            lines.push(heard(hearing, &file, paint));
        }
        lines.extend(not_heard(hit, paint));
        out(&format!("{}\n\n", lines.join("\n")))?;
    }
    remark(&summary(&search, find));
    if let Some(more) = still_to_come(&look(client, find.event.as_deref())?.read()?) {
        remark(more);
    }
    Ok(outcome)
}

/// What may still be found later.
fn still_to_come(status: &Status) -> Option<&'static str> {
    let open = status.jobs.waiting + status.jobs.running;
    (open > 0).then_some(
        "words are still to come: the files of an event are put on one clock first, then each \
         stretch of speech is written down once; `sayback status` tells how far that is",
    )
}

/// Who ran but did not hear it.
fn not_heard(hit: &Hit, paint: Paint) -> Option<String> {
    let labels: Vec<String> = hit
        .not_heard_on
        .iter()
        .map(|not| {
            format!(
                "{} ({})",
                safe(&not.source.label),
                safe(&not.source.placement)
            )
        })
        .collect();
    let told = format!("not heard on {}", labels.join(", "));
    (!labels.is_empty()).then(|| format!("  {}", paint.faint(&told)))
}

/// The line with its matched words emphasised, under the event it is from.
fn line(hit: &Hit, paint: Paint) -> String {
    let mut about = safe(&hit.event.title).into_owned();
    let both = hit
        .also
        .as_ref()
        .map(|also| format!(" + {}", safe(&also.name)));
    if let Some(person) = &hit.person {
        let both = both.unwrap_or_default();
        about.push_str(&format!(", {}{both}", safe(&person.name)));
    }
    if let Some(start_ms) = hit.start_ms {
        about.push_str(&format!(", at {} of the event", position(start_ms)));
    }
    if let Some(doubt) = &hit.doubt {
        about.push_str(&format!(", doubtful: {}", safe(doubt)));
    }
    let text = emphasised(&hit.text, &hit.matched, paint);
    format!("{text}\n  {}", paint.faint(&about))
}

fn emphasised(text: &str, matched: &[Matched], paint: Paint) -> String {
    // What counts as a word of a line is what its spaces part.
    let words: Vec<&str> = text.split_whitespace().collect();
    let mut shown: Vec<String> = Vec::new();
    let mut at = 0;
    for span in matched {
        let (from, to) = (span.from.clamp(at, words.len()), span.to.min(words.len()));
        if from >= to {
            continue;
        }
        shown.extend(words[at..from].iter().map(|word| safe(word).into_owned()));
        shown.push(paint.found(&safe(&words[from..to].join(" "))));
        at = to;
    }
    shown.extend(words[at..].iter().map(|word| safe(word).into_owned()));
    shown.join(" ")
}

fn heard(hearing: &Hearing, file: &str, paint: Paint) -> String {
    let place = format!(
        "{} – {}",
        position(hearing.start_ms),
        position(hearing.end_ms)
    );
    let mut parts = vec![
        place,
        format!(
            "{} ({})",
            safe(&hearing.source.label),
            safe(&hearing.source.placement)
        ),
    ];
    let verdict = paint.strong(&safe(&hearing.verdict));
    parts.push(if hearing.why.is_empty() {
        verdict
    } else {
        format!("{verdict}: {}", safe(&hearing.why.join(", ")))
    });
    if let Some(timecode) = &hearing.timecode {
        parts.push(format!("timecode {}", safe(timecode)));
    }
    parts.push(safe(file).into_owned());
    format!("  {}", parts.join("  "))
}

fn summary(search: &Search, find: &Find) -> String {
    let shown = search.hits.len() as u64;
    if search.total == 0 {
        return "nothing found; try fewer words, or the beginning of one with a star: kett*".into();
    }
    let first = u64::from(find.offset) + 1;
    let mut text = match (shown, search.total) {
        (0, total) => format!("no line past {total}"),
        (1, 1) => "1 line".into(),
        (_, total) if shown == total => format!("{total} lines"),
        (_, total) => format!("lines {first} to {} of {total}", first + shown - 1),
    };
    text.push_str(&format!(" in {} ms", search.took_ms));
    if shown > 0 && first + shown <= search.total {
        text.push_str(&format!("; more with --offset {}", first + shown - 1));
    }
    text
}

/// Where recordings lie, each asked for once.
#[derive(Default)]
struct Files(HashMap<String, String>);

impl Files {
    fn path(&mut self, client: &Client, id: &str) -> Result<String, CliError> {
        if let Some(path) = self.0.get(id) {
            return Ok(path.clone());
        }
        let answer = client.get(&format!("/recordings/{}", quoted(id)))?;
        let recording: Recording = answer.read()?;
        self.0.insert(id.to_owned(), recording.path.clone());
        Ok(recording.path)
    }
}
