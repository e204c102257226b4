//! What was typed after `sayback people`.

use clap::{Args, Subcommand, ValueEnum};

use super::super::args::Json;
use super::super::instant;

/// `sayback people …`
#[derive(Debug, Subcommand)]
pub enum PeopleCommand {
    /// Who speaks, for how long, and who wears what
    List(PeopleList),
    /// Add somebody
    Add(PeopleAdd),
    /// Give somebody another name; it names everything an unnamed speaker said
    Name(PeopleName),
    /// Make two people one
    Merge(PeopleMerge),
    /// Take somebody away, with what is kept of their voice
    Remove(PeopleOne),
    /// Say who wears a source, or who has it from which time on
    Wears(PeopleWears),
    /// Say who speaks in a moment; the rest of the event learns from it
    Says(PeopleSays),
    /// Find who speaks once more
    Again(PeopleEvent),
    /// Forget what is kept of voices in an event; who speaks where stays
    ForgetVoices(PeopleForget),
    /// Look for people of one event among those of others, by voice: off until turned on
    Across(PeopleAcross),
}

/// `sayback people list`
#[derive(Debug, Args)]
pub struct PeopleList {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback people add`
#[derive(Debug, Args)]
pub struct PeopleAdd {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// What they are called
    pub name: String,
    /// Their part in the day, such as 'officiant'
    #[arg(long)]
    pub role: Option<String>,
}

/// `sayback people name`
#[derive(Debug, Args)]
pub struct PeopleName {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// Who: the name so far, or the id
    pub who: String,
    /// What they are called
    pub name: String,
    /// Their part in the day; '' for none
    #[arg(long)]
    pub role: Option<String>,
}

/// Whether to stay until it is done.
#[derive(Clone, Copy, Debug, Args)]
pub struct Wait {
    /// Leave the work in the queue, for `sayback serve`
    #[arg(long)]
    pub no_wait: bool,
}

/// `sayback people merge`
#[derive(Debug, Args)]
pub struct PeopleMerge {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// Who is no more afterwards: name or id
    pub who: String,
    /// Who they are: name or id
    pub into: String,
    /// Who you are [default: your name on this machine]
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// Whether to stay until it is done.
    #[command(flatten)]
    pub wait: Wait,
}

/// `sayback people remove`
#[derive(Debug, Args)]
pub struct PeopleOne {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// Who: name or id
    pub who: String,
    /// Whether to stay until it is done.
    #[command(flatten)]
    pub wait: Wait,
}

/// `sayback people wears`
#[derive(Debug, Args)]
pub struct PeopleWears {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// The source: its label or id
    pub source: String,
    /// Who wears it: name or id
    pub who: String,
    /// From this instant of the event clock on (hh:mm:ss.mmm, mm:ss or seconds)
    /// [default: from the start]
    #[arg(long, value_name = "TIME", value_parser = instant::of, allow_hyphen_values = true)]
    pub from: Option<f64>,
    /// Whether to stay until it is done.
    #[command(flatten)]
    pub wait: Wait,
}

/// `sayback people says`
#[derive(Debug, Args)]
pub struct PeopleSays {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// The moment's id, as `fix list` and `find --json` tell it
    pub moment: String,
    /// Who speaks: name or id; nobody to take back what was said
    pub who: Option<String>,
    /// Who you are [default: your name on this machine]
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// Whether to stay until it is done.
    #[command(flatten)]
    pub wait: Wait,
}

/// `sayback people again`
#[derive(Debug, Args)]
pub struct PeopleEvent {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// Whether to stay until it is done.
    #[command(flatten)]
    pub wait: Wait,
}

/// `sayback people forget-voices`
#[derive(Debug, Args)]
pub struct PeopleForget {
    /// The event's id, or its title where only one has it
    pub event: String,
}

/// `sayback people across`
#[derive(Debug, Args)]
pub struct PeopleAcross {
    /// What it is to be; tells what it is where left out
    pub to: Option<Switch>,
}

/// On or off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Switch {
    /// From now on.
    On,
    /// Not any more.
    Off,
}

impl PeopleCommand {
    /// What it needs: to stay until work is done, to change something, or neither.
    #[must_use]
    pub fn waits(&self) -> Option<bool> {
        let wait = match self {
            Self::List(_) => return None,
            Self::Across(across) => return across.to.map(|_| false),
            Self::Add(_) | Self::Name(_) | Self::ForgetVoices(_) => return Some(false),
            Self::Merge(asked) => asked.wait,
            Self::Remove(asked) => asked.wait,
            Self::Wears(asked) => asked.wait,
            Self::Says(asked) => asked.wait,
            Self::Again(asked) => asked.wait,
        };
        Some(!wait.no_wait)
    }
}
