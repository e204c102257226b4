//! `cargo xtask demo`: from a fresh machine to a found line, and a server to
//! go on with.

use crate::process::{self, cargo, output, succeeds};
use crate::scene::truth::PartTruth;
use crate::setup::{self, Purpose};
use crate::{check, scene};
use anyhow::{Context, Result, ensure};
use std::net::{Ipv4Addr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::Command;

/// Words of a toast that every recorder heard, and of which the model is sure: one
/// it doubts is written one way today and another tomorrow.
const WORDS: &str = "\"broken bicycle\"";

/// What the demo may be told.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The demo's own folder, for its recordings and its data
    /// [default: target/demo].
    #[arg(long, value_name = "DIR")]
    folder: Option<PathBuf>,
    /// The words to look for.
    #[arg(long, value_name = "WORDS", default_value = WORDS)]
    find: String,
    /// Where the server answers, on loopback.
    #[arg(long, default_value_t = 7373)]
    port: u16,
    /// End after the found line instead of serving.
    #[arg(long)]
    no_serve: bool,
}

/// Prepares the machine, builds, fetches the speech model, makes the demo
/// event and takes it in, finds a line in every recording that heard it, and
/// serves until Ctrl-C. Run again, it finds its work done.
///
/// # Errors
/// When a step fails, or the line is not found.
pub fn run(args: &Args) -> Result<()> {
    if !args.no_serve {
        check_port(args.port)?;
    }
    setup::prepare(Purpose::Build)?;
    heading("building sayback");
    process::run(cargo().args(["build", "--release", "--locked", "--bin", "sayback"]))?;
    let demo = Demo::new(args.folder.clone())?;
    heading("fetching the models of words and voices");
    for model in ["tiny.en", "voices"] {
        process::run(demo.sayback().args(["model", "get", model]))?;
    }
    heading("making the demo event");
    let parts = demo.make()?;
    heading("taking in its recordings");
    demo.take_in(&parts)?;
    heading("naming who speaks, each by one line of theirs");
    demo.name_speakers()?;
    heading("looking for a line");
    process::run(demo.sayback().arg("find").arg(&args.find))
        .with_context(|| format!("the line {} was not found", args.find))?;
    heading("looking for a letter as it was written");
    demo.written()?;
    heading("looking for what has no backup");
    demo.coverage()?;
    if args.no_serve {
        return Ok(());
    }
    heading("serving; Ctrl-C ends it");
    demo.serve(args.port)
}

/// Better to know before the build than after it.
fn check_port(port: u16) -> Result<()> {
    TcpListener::bind((Ipv4Addr::LOCALHOST, port))
        .map(drop)
        .with_context(|| {
            format!(
                "nothing more can listen on 127.0.0.1:{port}; choose another with --port, \
                 or end with the found line by --no-serve"
            )
        })
}

struct Demo {
    program: PathBuf,
    recordings: PathBuf,
    data: PathBuf,
}

impl Demo {
    fn new(folder: Option<PathBuf>) -> Result<Demo> {
        let program = check::built("release")?;
        let beside = || {
            program
                .ancestors()
                .nth(2)
                .unwrap_or(Path::new("."))
                .join("demo")
        };
        let folder = std::path::absolute(folder.unwrap_or_else(beside))?;
        let (recordings, data) = (folder.join("recordings"), folder.join("data"));
        std::fs::create_dir_all(&recordings)
            .with_context(|| format!("could not make {}", recordings.display()))?;
        Ok(Demo {
            program,
            recordings,
            data,
        })
    }

    fn sayback(&self) -> Command {
        let mut command = Command::new(&self.program);
        command.arg("--data").arg(&self.data);
        command
    }

    /// The same files each time: a scene is a function of its spec.
    fn make(&self) -> Result<Vec<PartTruth>> {
        let truth = scene::demo::build(&self.recordings)?;
        println!(
            "{}: {:.0} s, {} lines, {} takes in {}",
            truth.title,
            truth.length_ms / 1000.0,
            truth.lines.len(),
            truth.recorders.len(),
            self.recordings.display()
        );
        Ok(truth.parts)
    }

    fn take_in(&self, parts: &[PartTruth]) -> Result<()> {
        let title = scene::demo::TITLE;
        if !succeeds(self.sayback().args(["event", "show", title])) {
            let new = ["event", "new", title, "--date", scene::demo::DATE];
            process::run(self.sayback().args(new).args(["--frame-rate", "25"]))?;
            let names = ["event", "names", title];
            process::run(self.sayback().args(names).args(scene::demo::NAMES))?;
            let mut add = self.sayback();
            add.args(["event", "parts", title]);
            for part in parts {
                let seconds = |ms: f64| format!("{:.3}", ms / 1000.0);
                add.args(["--part", &part.name]);
                add.args([seconds(part.start_ms), seconds(part.end_ms)]);
            }
            process::run(&mut add)?;
        }
        let sources = scene::demo_sources();
        for (n, source) in (1..).zip(&sources) {
            let mut add = self.sayback();
            add.args(["add", title, "--source", source.label]);
            add.args(["--placement", source.placement.as_str()]);
            // Words are written once all are there, each from who has it best.
            if n < sources.len() {
                add.arg("--no-wait");
            }
            if let Some(person) = source.person {
                add.args(["--person", person]);
            }
            process::run(add.arg(self.recordings.join(source.folder)))?;
        }
        Ok(())
    }

    /// Whoever wears nothing was found by voice, and is named once.
    fn name_speakers(&self) -> Result<()> {
        let title = scene::demo::TITLE;
        for (line, name, role) in scene::demo::UNWORN {
            let mut find = self.sayback();
            let answer = output(find.args(["find", line, "--json"]))?;
            let answer: serde_json::Value = serde_json::from_str(&answer)?;
            let found = answer["hits"][0]["person"]["name"].as_str();
            let speaker = found.with_context(|| format!("nobody says {line}"))?;
            if speaker != name {
                let naming = ["people", "name", title, speaker, name, "--role", role];
                process::run(self.sayback().args(naming))?;
            }
        }
        process::run(self.sayback().args(["people", "list", title]))
    }

    /// The bride read her letter twice, and not quite as it is written.
    fn written(&self) -> Result<()> {
        let title = scene::demo::TITLE;
        let list = output(self.sayback().args(["script", "list", title, "--json"]))?;
        let list: serde_json::Value = serde_json::from_str(&list)?;
        let there = |text: &str| {
            let all = list["scripts"].as_array();
            all.and_then(|all| all.iter().find(|one| one["title"] == text))
                .and_then(|one| one["id"].as_str().map(str::to_owned))
        };
        for (n, (file, text)) in (0..).zip(scene::demo::LETTERS) {
            let id = match there(text) {
                Some(id) => id,
                None => {
                    let mut add = self.sayback();
                    add.args(["script", "add", "--json", "--event", title, "--title", text]);
                    let added = output(add.arg(self.recordings.join("texts").join(file)))?;
                    let added: serde_json::Value = serde_json::from_str(&added)?;
                    added["id"].as_str().unwrap_or_default().to_owned()
                }
            };
            if n == 0 {
                process::run(self.sayback().args(["script", "show", &id]))?;
            }
        }
        Ok(())
    }

    /// The groom's letter was heard by one recorder, which clipped: that is said, and the
    /// exit code says it too.
    fn coverage(&self) -> Result<()> {
        let mut coverage = self.sayback();
        coverage.args(["coverage", scene::demo::TITLE]);
        println!("$ {}", process::shown(&coverage));
        let status = coverage.status().context("sayback does not start")?;
        ensure!(status.code() == Some(1), "coverage ended with {status}");
        Ok(())
    }

    fn serve(&self, port: u16) -> Result<()> {
        let mut serve = self.sayback();
        serve.args(["serve", "--listen", &format!("127.0.0.1:{port}")]);
        serve.arg("--root").arg(&self.recordings);
        println!("$ {}", process::shown(&serve));
        process::become_it(serve)
    }
}

fn heading(what: &str) {
    println!("\n=== {what}");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_port_in_use_is_told_before_the_build() {
        let taken = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a port");
        let port = taken.local_addr().expect("an address").port();
        let error = check_port(port).expect_err("it is taken");
        assert!(format!("{error:#}").contains("--port"), "{error:#}");
        check_port(0).expect("any port will do");
    }
}
