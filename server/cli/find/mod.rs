//! `sayback find`: lines, and every recording that heard them.

mod answers;
mod args;

use std::collections::HashMap;

use serde_json::json;

use super::answers::{Hearing, Matched, Recording, Status};
use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::progress::look;
use super::show::{Paint, Table, out, position, remark, safe};
use answers::{Count, Facets, Hit, Search, Searches};
pub use args::Find;
pub use args::Searches as SearchesArgs;
use args::SearchesCommand;

/// Searches and prints what was found.
///
/// # Errors
/// What the service says when it refuses.
pub fn run(client: &Client, find: &Find) -> Result<Outcome, CliError> {
    let asked = match &find.saved {
        Some(name) => saved(client, name)?,
        None => find.asked(),
    };
    if let Some(name) = &find.save {
        client.post("/searches", &json!({ "name": name, "asked": asked }))?;
    }
    let facets = if find.facets { "&facets=true" } else { "" };
    let path = format!(
        "/search?{asked}&limit={}&offset={}{facets}",
        find.limit, find.offset
    );
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
    let mut guesses = false;
    for hit in &search.hits {
        if hit.guess && !guesses {
            guesses = true;
            out(&format!("{}\n\n", paint.faint("perhaps:")))?;
        }
        show(client, hit, &mut files, paint)?;
    }
    if let Some(meant) = &search.by_meaning {
        if !meant.hits.is_empty() {
            out(&format!("{}\n\n", paint.faint("by meaning:")))?;
        }
        for hit in &meant.hits {
            show(client, hit, &mut files, paint)?;
        }
        if !meant.model {
            remark("no model of meaning is here; `sayback model get meaning` fetches it");
        }
    }
    if let Some(facets) = &search.facets {
        out(&counted(facets, paint))?;
    }
    remark(&summary(&search, find));
    if let Some(more) = still_to_come(&look(client, find.event.as_deref())?.read()?) {
        remark(more);
    }
    Ok(outcome)
}

/// A line and who heard it.
fn show(client: &Client, hit: &Hit, files: &mut Files, paint: Paint) -> Result<(), CliError> {
    let mut lines = vec![line(hit, paint)];
    for hearing in &hit.heard_on {
        let file = files.path(client, &hearing.recording.id)?;
        lines.push(heard(hearing, &file, paint));
    }
    lines.extend(not_heard(hit, paint));
    out(&format!("{}\n\n", lines.join("\n")))
}

/// What was asked under a name; how much of the answer is shown is said anew.
fn saved(client: &Client, name: &str) -> Result<String, CliError> {
    let all: Searches = client.get("/searches")?.read()?;
    let found = all.searches.into_iter().find(|one| one.name == name);
    let found = found.ok_or_else(|| {
        CliError::Usage(format!(
            "there is no saved search '{name}'; `sayback searches` lists them"
        ))
    });
    Ok(without_paging(&found?.asked))
}

fn without_paging(asked: &str) -> String {
    let pages = |one: &&str| {
        let name = one.split('=').next().unwrap_or_default();
        !["limit", "offset", "facets"].contains(&name)
    };
    let kept: Vec<&str> = asked.split('&').filter(pages).collect();
    kept.join("&")
}

/// Lists saved searches, or forgets one.
///
/// # Errors
/// What the service says when it refuses.
pub fn searches(client: &Client, args: &SearchesArgs) -> Result<Outcome, CliError> {
    if let Some(SearchesCommand::Remove { name }) = &args.command {
        client.delete(&format!("/searches/{}", quoted(name)))?;
        return Ok(Outcome::Done);
    }
    let answer = client.get("/searches")?;
    if args.json.json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let all: Searches = answer.read()?;
    if all.searches.is_empty() {
        remark("no saved searches; `sayback find WORDS --save NAME` keeps one");
        return Ok(Outcome::Done);
    }
    let mut table = Table::new(&["NAME", "ASKED"]);
    for one in &all.searches {
        table.row(&[one.name.as_str(), &one.asked]);
    }
    out(&table.render(Paint::stdout()))?;
    Ok(Outcome::Done)
}

/// How many there are of each kind.
fn counted(facets: &Facets, paint: Paint) -> String {
    let mut text = String::new();
    for (kind, counts) in [
        ("match", &facets.matches),
        ("event", &facets.events),
        ("part", &facets.parts),
        ("person", &facets.people),
        ("recorder", &facets.sources),
        ("placed", &facets.placements),
        ("language", &facets.languages),
    ] {
        let named = |count: &Count| format!("{} {}", safe(&count.name), count.hits);
        let counts: Vec<String> = counts.iter().map(named).collect();
        if !counts.is_empty() {
            text.push_str(&format!("{}  {}\n", paint.faint(kind), counts.join(", ")));
        }
    }
    let (with, without) = (facets.backed_up, facets.not_backed_up);
    text.push_str(&format!(
        "{}  with {with}, without {without}\n\n",
        paint.faint("backup")
    ));
    text
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
    if hit.kind != "exact" {
        about.push_str(&format!(", {}", safe(&hit.kind)));
    }
    if let Some(doubt) = &hit.doubt {
        about.push_str(&format!(", doubtful: {}", safe(doubt)));
    }
    let text = emphasised(&hit.text, &hit.matched, paint);
    format!("{text}\n  {}", paint.faint(&about))
}

fn emphasised(text: &str, matched: &[Matched], paint: Paint) -> String {
    let mut runs: Vec<(bool, Vec<&str>)> = Vec::new();
    let mut word = 0;
    for piece in text.split_whitespace() {
        // A dash alone is shown and not counted.
        let counts = piece.chars().any(char::is_alphanumeric);
        let inside = |span: &Matched| (span.from..span.to).contains(&word);
        let found = counts && matched.iter().any(inside);
        word += usize::from(counts);
        match runs.last_mut() {
            Some((same, pieces)) if *same == found => pieces.push(piece),
            _ => runs.push((found, vec![piece])),
        }
    }
    let shown = runs.iter().map(|(found, pieces)| {
        let text = pieces.join(" ");
        match found {
            true => paint.found(&safe(&text)),
            false => safe(&text).into_owned(),
        }
    });
    shown.collect::<Vec<_>>().join(" ")
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
        return "nothing found that was written like this or sounds like it; try other words of the line".into();
    }
    let first = u64::from(find.offset) + 1;
    let mut text = match (shown, search.total) {
        (0, total) => format!("no line past {total}"),
        (1, 1) => "1 line".into(),
        (_, total) if shown == total => format!("{total} lines"),
        (_, total) if search.more => format!(
            "lines {first} to {} of more than {total}",
            first + shown - 1
        ),
        (_, total) => format!("lines {first} to {} of {total}", first + shown - 1),
    };
    text.push_str(&format!(" in {} ms", search.took_ms));
    if shown > 0 && (search.more || first + shown <= search.total) {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_kept_search_is_paged_as_it_is_asked_now() {
        let asked = "q=limit%3D5&limit=5&offset=40&person=Ines&facets=true";
        assert_eq!(without_paging(asked), "q=limit%3D5&person=Ines");
    }

    #[test]
    fn a_dash_between_words_is_shown_and_not_counted() {
        let paint = Paint::always();
        let span = |from, to| Matched { from, to };
        let shown = emphasised("the kettle — it's on", &[span(2, 4)], paint);
        let found = paint.found("it's on");
        assert_eq!(shown, format!("the kettle — {found}"));
        let shown = emphasised("the kettle", &[span(0, 1), span(1, 9)], paint);
        assert_eq!(shown, paint.found("the kettle"));
    }
}
