//! What can be asked from a terminal?
//!
//! Comes in: a command line. Goes out: text for people on standard output, or
//! JSON that is the API's answer byte for byte; remarks, progress and refusals
//! on standard error; an exit code ([`error`]). Positions are `hh:mm:ss.mmm`
//! in a file, lengths and sizes say their unit.
//!
//! ```text
//! args ─ session ─ client ─────────────── server of the data folder, over TCP
//!                  the API's questions └─ the same routes, in this process
//! ```
//!
//! [`args`] is what was typed; [`session`] finds the data folder and who works
//! on it; [`client`] asks; one module a command turns answers into text.
//!
//! It never looks into the store on its own, never knows a rule that the API
//! does not, never writes control characters of a name to a terminal, and does
//! not know `http`: `main.rs` hands that room in as a [`Network`].

mod add;
mod answers;
mod args;
pub mod client;
mod clock;
mod coverage;
mod cut;
pub mod error;
mod event;
mod export;
mod file;
mod find;
mod fix;
mod glossary;
mod instant;
mod interrupt;
mod levels;
mod listen;
mod model;
mod parts;
mod people;
mod progress;
mod script;
mod serve;
mod session;
pub mod show;
mod status;
mod words;

use std::ffi::OsString;
use std::io::IsTerminal;
use std::process::ExitCode;

use clap::Parser;

use args::{ClockCommand, Command, Line};
use error::{CliError, Outcome};
use event::EventCommand;
use fix::FixCommand;
use session::{Need, Session};
use show::{Paint, remark, safe};

pub use args::Serve;
pub use client::Server;
pub use interrupt::asked_to_stop;
pub use session::{Network, Opened, Served};

/// Runs one command line, `args[0]` being the program, and says how it went.
pub fn run(args: impl IntoIterator<Item = OsString>, network: &dyn Network) -> ExitCode {
    let line = match Line::try_parse_from(args) {
        Ok(line) => line,
        // Also --help and --version, which end well.
        Err(error) => {
            let _ = error.print();
            return ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(2));
        }
    };
    log_to_stderr(&line.command);
    match obey(&line, network) {
        Ok(outcome) => ExitCode::from(outcome.code()),
        Err(error) => {
            tell(&error);
            ExitCode::from(error.code())
        }
    }
}

fn obey(line: &Line, network: &dyn Network) -> Result<Outcome, CliError> {
    let global = &line.global;
    if let Command::Model(command) = &line.command {
        return session::with_model_shelf(global, |shelf, cancel| {
            model::run(shelf, command, cancel)
        });
    }
    if let Command::Serve(serve) = &line.command {
        return serve::run(global, serve, network);
    }
    let need = need(&line.command);
    let session = Session::open(global, network, need)?;
    let client = session.client();
    let outcome = match &line.command {
        Command::Event(command) => event::run(client, command),
        Command::Add(command) => {
            let cancel = session.on_interrupt()?;
            add::run(client, command, global.model.as_deref(), &cancel)
        }
        Command::Status(command) => {
            let cancel = session.on_interrupt()?;
            status::run(client, command, session.is_served(), &cancel)
        }
        Command::Find(command) => find::run(client, command),
        Command::Searches(command) => find::searches(client, command),
        Command::Words(command) => words::run(client, command),
        Command::Coverage(command) => coverage::run(client, command),
        Command::Levels(command) => levels::run(client, command),
        Command::Fix(command) => fix::run(client, command),
        Command::People(command) => {
            let cancel = session.on_interrupt()?;
            people::run(client, command, &cancel)
        }
        Command::Script(command) => script::run(client, command),
        Command::Cut(command) => cut::run(client, command),
        Command::Export(command) => {
            let cancel = session.on_interrupt()?;
            export::run(client, command, &cancel)
        }
        Command::Listen(command) => {
            let cancel = session.on_interrupt()?;
            listen::run(client, command, global.model.as_deref(), &cancel)
        }
        Command::Clock(command) => {
            let cancel = session.on_interrupt()?;
            clock::run(client, command, &cancel)
        }
        Command::Model(_) | Command::Serve(_) => Ok(Outcome::Done),
    };
    // Also what is worked out behind the last step, unless time is short.
    let finish = need == Need::Work && matches!(outcome, Ok(Outcome::Done | Outcome::Partly));
    session.close(finish)?;
    outcome
}

fn need(command: &Command) -> Need {
    match command {
        Command::Add(add) if !add.no_wait => Need::Work,
        Command::Listen(listen) if !listen.no_wait => Need::Work,
        Command::Add(_) | Command::Listen(_) => Need::Keep,
        Command::Event(EventCommand::New(_) | EventCommand::Change(_)) => Need::Keep,
        Command::Fix(FixCommand::List(_) | FixCommand::Show(_) | FixCommand::History(_)) => {
            Need::Look
        }
        Command::Fix(_) => Need::Keep,
        Command::People(people) => match people.waits() {
            None => Need::Look,
            Some(false) => Need::Keep,
            Some(true) => Need::Work,
        },
        Command::Script(script) if script.changes() => Need::Keep,
        Command::Cut(cut) if cut.changes() => Need::Keep,
        Command::Event(EventCommand::Names(names)) if names.changes() => Need::Keep,
        Command::Event(EventCommand::Languages(said)) if said.changes() => Need::Keep,
        Command::Event(EventCommand::Parts(parts)) if parts.changes() => Need::Keep,
        Command::Clock(clock) => match &clock.command {
            None => Need::Look,
            Some(ClockCommand::Fix(fix)) if !fix.no_wait => Need::Work,
            Some(ClockCommand::Solve(solve)) if !solve.no_wait => Need::Work,
            Some(_) => Need::Keep,
        },
        _ => Need::Look,
    }
}

/// Says on standard error what failed and what to do next.
fn tell(error: &CliError) {
    if matches!(error, CliError::Closed) {
        return;
    }
    let message = match error {
        CliError::Other(cause) => format!("{cause:#}"),
        other => other.to_string(),
    };
    let paint = Paint::stderr();
    remark(&format!("{} {}", paint.wrong("error:"), safe(&message)));
    if let Some(hint) = error.hint() {
        remark(&format!("{} {hint}", paint.strong("hint:")));
    }
}

/// The log goes to standard error, so that answers stay clean: what a server
/// does; of other commands, which tell themselves what went wrong, only what
/// should never happen. `RUST_LOG` says otherwise.
fn log_to_stderr(command: &Command) {
    let quiet = match command {
        // The decoder's complaints come again as the reasons of refusals.
        Command::Serve(_) => "warn,sayback=info,symphonia=off",
        _ => "error,symphonia=off",
    };
    let filter = tracing_subscriber::EnvFilter::try_from_default_env()
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new(quiet));
    let _ = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none())
        .try_init();
}
