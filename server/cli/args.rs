//! What was typed.

use std::net::SocketAddr;
use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

use super::coverage::Coverage;
use super::cut::CutCommand;
use super::event::EventCommand;
use super::export::Export;
use super::find::{Find, SearchesArgs};
use super::fix::FixCommand;
use super::instant;
use super::people::PeopleCommand;
use super::script::ScriptCommand;

/// How commands end, told at the foot of `--help`.
const EXIT_CODES: &str = "\
Exit codes:
  0    done
  1    done, but nothing was found, or some files could not be taken in, or
       their work rests in a paused queue, or a clock is not worked out, or
       something that is required has no backup
  2    the command line makes no sense
  3    failed; standard error says why and what to do
  130  stopped by Ctrl-C; what was queued stays queued";

/// Finds who said what and when, in every recording of an event that heard it.
#[derive(Debug, Parser)]
#[command(name = "sayback", version, about, after_help = EXIT_CODES, max_term_width = 100)]
#[command(propagate_version = true, infer_subcommands = false)]
pub struct Line {
    /// What applies to every command.
    #[command(flatten)]
    pub global: Global,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What applies to every command.
#[derive(Clone, Debug, Args)]
pub struct Global {
    /// The folder that holds everything sayback knows
    /// [default: $XDG_DATA_HOME/sayback or ~/.local/share/sayback]
    #[arg(
        long,
        global = true,
        value_name = "DIR",
        env = "SAYBACK_DATA",
        hide_env_values = true
    )]
    pub data: Option<PathBuf>,
    /// The folder that holds speech models
    /// [default: $XDG_DATA_HOME/sayback/models or ~/.local/share/sayback/models]
    #[arg(
        long,
        global = true,
        value_name = "DIR",
        env = "SAYBACK_MODELS",
        hide_env_values = true
    )]
    pub models: Option<PathBuf>,
    /// The speech model to write words down with: a name of `sayback model
    /// list`, or a ggml file [default: tiny.en]
    #[arg(
        long,
        global = true,
        value_name = "NAME|FILE",
        env = "SAYBACK_MODEL",
        hide_env_values = true
    )]
    pub model: Option<String>,
}

impl Global {
    /// The speech model, chosen or not.
    #[must_use]
    pub fn model(&self) -> &str {
        self.model.as_deref().unwrap_or("tiny.en")
    }
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Work on what is queued, and answer the API and the page in a browser
    Serve(Serve),
    /// Make and look at events
    #[command(subcommand)]
    Event(EventCommand),
    /// Take in recordings of an event
    Add(Add),
    /// How far the work is
    Status(Status),
    /// Find words, in every recording that heard them
    Find(Find),
    /// Searches kept under a name: shown, or forgotten
    Searches(SearchesArgs),
    /// All words of one recording
    Words(Words),
    /// What of an event has no backup, before cards are wiped
    Coverage(Coverage),
    /// How loud a recording is, its peaks and what is wrong with its sound
    Levels(Levels),
    /// Put right what a moment says, and when
    #[command(subcommand)]
    Fix(FixCommand),
    /// Who speaks in an event, and who wears what
    #[command(subcommand)]
    People(PeopleCommand),
    /// Written texts of an event (letters, vows, readings), and where they were said
    #[command(subcommand)]
    Script(ScriptCommand),
    /// Cut lists: words that were picked, in an order
    #[command(subcommand)]
    Cut(CutCommand),
    /// Write a cut list for other programs and people, with its sound
    Export(Export),
    /// Listen again to what was written down by another speech model, or with --anew by any
    Listen(Listen),
    /// Where the recordings of an event lie on its one clock
    Clock(Clock),
    /// Get and look at the models of words and voices
    #[command(subcommand)]
    Model(ModelCommand),
}

/// `sayback serve`
#[derive(Debug, Args)]
pub struct Serve {
    /// Where to listen; loopback only
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:7373")]
    pub listen: SocketAddr,
    /// A folder from which recordings may be added over the network; repeatable
    #[arg(long = "root", value_name = "DIR")]
    pub roots: Vec<PathBuf>,
    /// The largest upload taken, in bytes
    #[arg(long, value_name = "BYTES", default_value_t = 64 << 30)]
    pub max_upload_bytes: u64,
}

/// For whom the answer is.
#[derive(Clone, Copy, Debug, Args)]
pub struct Json {
    /// Answer in JSON, the same as the API
    #[arg(long)]
    pub json: bool,
}

/// How a recorder was placed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Placement {
    /// On a person
    Worn,
    /// On the output of a mixing desk or receiver
    Feed,
    /// On a lectern or stand
    Stand,
    /// In the room
    Ambient,
    /// In a camera
    Camera,
}

impl Placement {
    /// The word for it in the API.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Worn => "worn",
            Self::Feed => "feed",
            Self::Stand => "stand",
            Self::Ambient => "ambient",
            Self::Camera => "camera",
        }
    }
}

/// `sayback add`
#[derive(Debug, Args)]
pub struct Add {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// What to call the recorder; may be left out for folders: each is then a
    /// recorder of its own, and so is each folder inside it
    #[arg(long, value_name = "LABEL")]
    pub source: Option<String>,
    /// How the recorder was placed
    #[arg(long, value_enum)]
    pub placement: Option<Placement>,
    /// Who wears it
    #[arg(long, value_name = "NAME")]
    pub person: Option<String>,
    /// Which channels to take: auto, mix, split, or a number from 1
    #[arg(long, value_name = "CHOICE", default_value = "auto")]
    pub channels: String,
    /// Leave the work in the queue, for `sayback serve`
    #[arg(long)]
    pub no_wait: bool,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
    /// Recordings, and folders of recordings; never written to
    #[arg(required = true, value_name = "PATH")]
    pub paths: Vec<PathBuf>,
}

/// `sayback status`
#[derive(Debug, Args)]
pub struct Status {
    /// Only this event: its id, or its title where only one has it
    #[arg(long, value_name = "EVENT")]
    pub event: Option<String>,
    /// Stay until the work is done
    #[arg(long, conflicts_with = "json")]
    pub watch: bool,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// In what form words are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// One moment a line, with its position
    Text,
    /// Captions: WebVTT
    Vtt,
    /// Captions: SubRip
    Srt,
    /// NIST CTM: a word a line, with its confidence
    Ctm,
    /// NIST STM: a moment a line, without punctuation
    Stm,
    /// The answer of the API
    Json,
}

impl Format {
    /// The word for it in the API.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Text => "text",
            Self::Vtt => "vtt",
            Self::Srt => "srt",
            Self::Ctm => "ctm",
            Self::Stm => "stm",
            Self::Json => "json",
        }
    }
}

/// `sayback words`
#[derive(Debug, Args)]
pub struct Words {
    /// The recording's id, as `event show` and `find` tell it
    pub recording: String,
    /// In what form
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// The same as --format json
    #[arg(long, conflicts_with = "format")]
    pub json: bool,
}

/// `sayback levels`
#[derive(Debug, Args)]
pub struct Levels {
    /// The recording's id, as `event show` and `find` tell it
    pub recording: String,
    /// Only from here in the file
    #[arg(long, value_name = "TIME", value_parser = instant::of)]
    pub from: Option<f64>,
    /// Only to here
    #[arg(long, value_name = "TIME", value_parser = instant::of)]
    pub to: Option<f64>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback listen`
#[derive(Debug, Args)]
pub struct Listen {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// Also what this model heard already: after other names or languages
    #[arg(long)]
    pub anew: bool,
    /// Leave the work in the queue, for `sayback serve`
    #[arg(long)]
    pub no_wait: bool,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback clock …`
#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
pub struct Clock {
    /// To change it.
    #[command(subcommand)]
    pub command: Option<ClockCommand>,
    /// The event's id, or its title where only one has it
    #[arg(required = true)]
    pub event: Option<String>,
    /// Also write it as a picture, an SVG file
    #[arg(long, value_name = "FILE")]
    pub picture: Option<PathBuf>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// What can be done about a clock.
#[derive(Debug, Subcommand)]
pub enum ClockCommand {
    /// Say by hand where a recording lies, or take that back
    Fix(ClockFix),
    /// Work it out again
    Solve(ClockSolve),
    /// Stop working it out
    Cancel(ClockCancel),
}

/// `sayback clock fix`
#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("place").required(true).args(["start", "same_as", "release"]))]
pub struct ClockFix {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// The recording's id, or its file's name where only one has it
    pub recording: String,
    /// When it starts on the event clock: hh:mm:ss.mmm, mm:ss or seconds
    #[arg(long, value_name = "TIME", allow_hyphen_values = true, value_parser = super::instant::of)]
    pub start: Option<f64>,
    /// An instant of its file that is the same as one of another recording
    #[arg(long, value_name = "TIME", requires = "same_as", value_parser = super::instant::of)]
    pub at: Option<f64>,
    /// That other recording and the instant in its file
    #[arg(long, value_name = "RECORDING@TIME", requires = "at",
        value_parser = super::instant::of_recording)]
    pub same_as: Option<(String, f64)>,
    /// Take back what was said about it
    #[arg(long)]
    pub release: bool,
    /// Leave the work in the queue, for `sayback serve`
    #[arg(long)]
    pub no_wait: bool,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback clock cancel`
#[derive(Debug, Args)]
pub struct ClockCancel {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback clock solve`
#[derive(Debug, Args)]
pub struct ClockSolve {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// From scratch: forget places (but those fixed by hand) and all words (but
    /// those put right by hand)
    #[arg(long)]
    pub anew: bool,
    /// Leave the work in the queue, for `sayback serve`
    #[arg(long)]
    pub no_wait: bool,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback model …`
#[derive(Debug, Subcommand)]
pub enum ModelCommand {
    /// The models sayback can fetch, and which are here
    List(Json),
    /// Fetch a model; goes on where it was stopped
    Get {
        /// Its name in `sayback model list`
        name: String,
    },
    /// Where a model lies
    Path {
        /// Its name in `sayback model list`, or a ggml file
        name: String,
    },
}
