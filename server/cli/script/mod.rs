//! `sayback script`: written texts and where they were said.

mod args;
mod told;

use std::fs::File;
use std::io::Read;
use std::path::Path;

use serde::Deserialize;
use serde_json::json;

pub use args::ScriptCommand;
use args::{Captions, ScriptAdd, ScriptCaptions, ScriptList, ScriptPart, ScriptShow};

use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::show::{Paint, Table, count, out, position, remark, safe};

/// Most bytes of a file: 200,000 characters of four bytes.
const MOST_BYTES: u64 = 800_000;

/// `GET /events/{event}/scripts`
#[derive(Debug, Deserialize)]
struct List {
    scripts: Vec<Listed>,
}

#[derive(Debug, Deserialize)]
struct Listed {
    id: String,
    title: String,
    part: Option<String>,
    words: i64,
}

/// `POST /events/{event}/scripts`
#[derive(Debug, Deserialize)]
struct Added {
    id: String,
    sentences: Vec<String>,
}

/// `POST /scripts/{script}/part`
#[derive(Debug, Deserialize)]
struct Part {
    name: String,
    start_ms: i64,
    end_ms: i64,
}

/// Runs one of the commands about written texts.
///
/// # Errors
/// What the service says when it refuses; a file that can't be read.
pub fn run(client: &Client, command: &ScriptCommand) -> Result<Outcome, CliError> {
    match command {
        ScriptCommand::Add(asked) => add(client, asked),
        ScriptCommand::List(asked) => list(client, asked),
        ScriptCommand::Show(asked) => show(client, asked),
        ScriptCommand::Captions(asked) => captions(client, asked),
        ScriptCommand::Part(asked) => part(client, asked),
        ScriptCommand::Remove(asked) => {
            client.delete(&format!("/scripts/{}", quoted(&asked.script)))?;
            Ok(Outcome::Done)
        }
    }
}

fn add(client: &Client, asked: &ScriptAdd) -> Result<Outcome, CliError> {
    let text = text_of(&asked.file)?;
    let name = asked.file.file_stem().map(|name| name.to_string_lossy());
    let title = match (&asked.title, name) {
        (Some(title), _) => title.clone(),
        (None, Some(name)) if name != "-" => name.into_owned(),
        _ => return Err(CliError::Usage("say by --title what to call it".into())),
    };
    let path = format!("/events/{}/scripts", quoted(&asked.event));
    let answer = client.post(&path, &json!({"title": title, "text": text}))?;
    if asked.json.json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let added: Added = answer.read()?;
    let sentences = i64::try_from(added.sentences.len()).unwrap_or(i64::MAX);
    out(&format!(
        "{}  {}",
        safe(&added.id),
        count(sentences, "sentence")
    ))?;
    Ok(Outcome::Done)
}

/// The text of a file, or of standard input for `-`.
fn text_of(file: &Path) -> Result<String, CliError> {
    let mut bytes = Vec::new();
    // A byte more than is taken tells that there is too much.
    let mut read = |from: &mut dyn Read| from.take(MOST_BYTES + 1).read_to_end(&mut bytes);
    let done = if file == Path::new("-") {
        read(&mut std::io::stdin())
    } else {
        File::open(file).and_then(|mut file| read(&mut file))
    };
    let name = file.display();
    done.map_err(|cause| anyhow::anyhow!("cannot read {name}: {cause}"))?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(anyhow::anyhow!("{name} has more than 200,000 characters").into());
    }
    let text = String::from_utf8(bytes)
        .map_err(|_| anyhow::anyhow!("{name} is not UTF-8 text; save it as plain text first"))?;
    Ok(text.trim_start_matches('\u{feff}').to_owned())
}

fn list(client: &Client, asked: &ScriptList) -> Result<Outcome, CliError> {
    let answer = client.get(&format!("/events/{}/scripts", quoted(&asked.event)))?;
    if asked.json.json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let List { scripts } = answer.read()?;
    if scripts.is_empty() {
        remark("no written texts yet; `sayback script add FILE --event EVENT` adds one");
        return Ok(Outcome::Done);
    }
    let mut table = Table::new(&["ID", "WORDS", "PART", "TITLE"]);
    for one in &scripts {
        let part = one.part.as_deref().unwrap_or("-");
        table.row(&[&one.id, &one.words.to_string(), part, &one.title]);
    }
    out(&table.render(Paint::stdout()))?;
    Ok(Outcome::Done)
}

fn show(client: &Client, asked: &ScriptShow) -> Result<Outcome, CliError> {
    let answer = client.get(&format!("/scripts/{}/passes", quoted(&asked.script)))?;
    let found: told::Found = answer.read()?;
    let outcome = match found.passes.is_empty() {
        true => Outcome::Partly,
        false => Outcome::Done,
    };
    if asked.json.json {
        out(answer.text())?;
    } else {
        out(&told::text(&found, Paint::stdout()))?;
    }
    Ok(outcome)
}

fn captions(client: &Client, asked: &ScriptCaptions) -> Result<Outcome, CliError> {
    let format = match asked.format {
        Captions::Vtt => "vtt",
        Captions::Srt => "srt",
    };
    let mut path = format!(
        "/scripts/{}/captions?format={format}",
        quoted(&asked.script)
    );
    if let Some(pass) = asked.pass {
        path.push_str(&format!("&pass={pass}"));
    }
    if let Some(recording) = &asked.recording {
        path.push_str(&format!("&recording={}", quoted(recording)));
    }
    out(client.get(&path)?.text())?;
    Ok(Outcome::Done)
}

fn part(client: &Client, asked: &ScriptPart) -> Result<Outcome, CliError> {
    let path = format!("/scripts/{}/part", quoted(&asked.script));
    let body = json!({"name": asked.name, "pass": asked.pass, "required": !asked.repeatable});
    let part: Part = client.post(&path, &body)?.read()?;
    let (from, to) = (position(part.start_ms), position(part.end_ms));
    out(&format!("{from} – {to}  {}", safe(&part.name)))?;
    Ok(Outcome::Done)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_read_as_text() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("letter.txt");
        let kept = |bytes: &[u8]| {
            std::fs::write(&file, bytes).expect("written");
            text_of(&file)
        };
        assert_eq!(
            kept("\u{feff}Dear Zoë,".as_bytes()).expect("text"),
            "Dear Zoë,"
        );
        let refused = |bytes: &[u8]| kept(bytes).expect_err("refused").to_string();
        assert!(refused(&[0xff, 0xfe, 0x41, 0]).contains("not UTF-8"));
        assert!(refused(&vec![b'x'; 800_001]).contains("200,000"));
        let missing = text_of(&folder.path().join("none.txt")).expect_err("missing");
        assert!(missing.to_string().contains("none.txt"), "{missing}");
    }
}
