//! What was typed after `sayback cut`.

use clap::{Args, Subcommand};

use super::super::args::Json;
use super::super::instant;

/// `sayback cut …`
#[derive(Debug, Subcommand)]
pub enum CutCommand {
    /// Make an empty cut list
    New(CutNew),
    /// The cut lists of an event
    Lists(CutLists),
    /// The quotes of a list: when, who, what, and the hearing to be used
    Show(CutShow),
    /// Put a quote into a list
    Add(CutAdd),
    /// Put a quote at another place
    Move(CutMove),
    /// Have a quote begin or end sooner or later
    Nudge(CutNudge),
    /// Choose the recorder whose sound of a quote is used
    Hearing(CutHearing),
    /// Write something about a quote
    Note(CutNote),
    /// Take a quote out of a list
    Drop(CutDrop),
    /// Give a list another name
    Rename(CutRename),
    /// The versions of a list that are kept
    Versions(CutVersions),
    /// Go back to an earlier version of a list
    Restore(CutRestore),
    /// Take a list away with all its versions
    Remove(CutRemove),
}

/// `sayback cut new`
#[derive(Debug, Args)]
pub struct CutNew {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// What to call the list
    pub name: String,
    /// What there is to say about it
    #[arg(long, default_value = "")]
    pub note: String,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback cut lists`
#[derive(Debug, Args)]
pub struct CutLists {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback cut show`
#[derive(Debug, Args)]
pub struct CutShow {
    /// The list's id or name; before it the event's, where lists of several events have
    /// that name
    #[arg(value_names = ["EVENT", "LIST"], num_args = 1..=2, required = true)]
    pub list: Vec<String>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// Which list and which quote of it.
#[derive(Debug, Args)]
pub struct Which {
    /// The list's id, or its name where only one has it
    pub list: String,
    /// The quote's number, as `cut show` counts them
    pub n: usize,
}

/// `sayback cut add`
#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("what").required(true).args(["find", "at", "moment", "in_file"]))]
pub struct CutAdd {
    /// The list's id, or its name where only one has it
    pub list: String,
    /// The first hit of a search for these words that is no guess
    #[arg(long, value_name = "WORDS")]
    pub find: Option<String>,
    /// A stretch of the event clock (hh:mm:ss.mmm, mm:ss or seconds)
    #[arg(long, num_args = 2, value_names = ["FROM", "TO"], allow_hyphen_values = true)]
    #[arg(value_parser = instant::of)]
    pub at: Option<Vec<f64>>,
    /// A moment, by its id
    #[arg(long, value_name = "ID")]
    pub moment: Option<String>,
    /// Only these words of the moment, from 1, as 3-7
    #[arg(long, value_name = "N-M", requires = "moment", value_parser = words_of)]
    pub words: Option<(i64, i64)>,
    /// A stretch of a recording's file, by its id
    #[arg(long, num_args = 3, value_names = ["RECORDING", "FROM", "TO"])]
    pub in_file: Option<Vec<String>>,
    /// Its place in the list [default: the end]
    #[arg(long, value_name = "N")]
    pub place: Option<usize>,
    /// What there is to say about it
    #[arg(long, default_value = "")]
    pub note: String,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback cut move`
#[derive(Debug, Args)]
pub struct CutMove {
    /// Which.
    #[command(flatten)]
    pub which: Which,
    /// Its place from then on
    pub place: usize,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// How much later: ms or frames.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Later {
    /// Milliseconds.
    Ms(i64),
    /// Frames.
    Frames(i64),
}

/// `sayback cut nudge`
#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("bound").required(true).multiple(true).args(["begin", "end"]))]
pub struct CutNudge {
    /// Which.
    #[command(flatten)]
    pub which: Which,
    /// How much later it begins: 120ms or 2f (frames), with a minus sign sooner
    #[arg(long = "in", value_name = "BY", allow_hyphen_values = true, value_parser = later)]
    pub begin: Option<Later>,
    /// How much later it ends
    #[arg(long = "out", value_name = "BY", allow_hyphen_values = true, value_parser = later)]
    pub end: Option<Later>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback cut hearing`
#[derive(Debug, Args)]
pub struct CutHearing {
    /// Which.
    #[command(flatten)]
    pub which: Which,
    /// The recorder's label, a recording's id, or 'best'
    pub source: String,
    /// So many backups are wanted, or 'all'
    #[arg(long, value_name = "N|all")]
    pub backups: Option<String>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback cut note`
#[derive(Debug, Args)]
pub struct CutNote {
    /// Which.
    #[command(flatten)]
    pub which: Which,
    /// What there is to say about it; '' for nothing
    pub note: String,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback cut drop`
#[derive(Debug, Args)]
pub struct CutDrop {
    /// Which.
    #[command(flatten)]
    pub which: Which,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback cut rename`
#[derive(Debug, Args)]
pub struct CutRename {
    /// The list's id, or its name where only one has it
    pub list: String,
    /// What to call it
    pub name: String,
    /// What there is to say about it
    #[arg(long)]
    pub note: Option<String>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback cut versions`
#[derive(Debug, Args)]
pub struct CutVersions {
    /// The list's id, or its name where only one has it
    pub list: String,
    /// Give the list as it stands this name, by which it is kept for good
    #[arg(long, value_name = "NAME", conflicts_with = "forget")]
    pub keep: Option<String>,
    /// Forget this version
    #[arg(long, value_name = "VERSION")]
    pub forget: Option<i64>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback cut restore`
#[derive(Debug, Args)]
pub struct CutRestore {
    /// The list's id, or its name where only one has it
    pub list: String,
    /// The version, as `cut versions` tells it [default: undo what was done last]
    #[arg(value_name = "VERSION")]
    pub to: Option<i64>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback cut remove`
#[derive(Debug, Args)]
pub struct CutRemove {
    /// The list's id, or its name where only one has it
    pub list: String,
}

impl CutCommand {
    /// Whether it changes something.
    #[must_use]
    pub fn changes(&self) -> bool {
        match self {
            Self::Lists(_) | Self::Show(_) => false,
            Self::Versions(asked) => asked.keep.is_some() || asked.forget.is_some(),
            _ => true,
        }
    }
}

fn later(typed: &str) -> Result<Later, String> {
    let number = |text: &str| text.parse().ok();
    let read = match (typed.strip_suffix("ms"), typed.strip_suffix('f')) {
        (Some(ms), _) => number(ms).map(Later::Ms),
        (_, Some(frames)) => number(frames).map(Later::Frames),
        _ => None,
    };
    read.ok_or_else(|| format!("'{typed}' is no nudge; write -120ms or 2f"))
}

fn words_of(typed: &str) -> Result<(i64, i64), String> {
    let both = typed.split_once('-').unwrap_or((typed, typed));
    let read = both.0.parse().ok().zip(both.1.parse().ok());
    let sensible = read.filter(|(from, to): &(i64, i64)| *from >= 1 && to >= from);
    sensible.ok_or_else(|| format!("'{typed}' are no words; write 3-7"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nudges_say_their_unit() {
        for (typed, read) in [
            ("-120ms", Later::Ms(-120)),
            ("+2f", Later::Frames(2)),
            ("7f", Later::Frames(7)),
            ("0ms", Later::Ms(0)),
        ] {
            assert_eq!(later(typed), Ok(read));
        }
        for bad in [
            "",
            "12",
            "f",
            "ms",
            "1.5f",
            "- 2f",
            "2ff",
            "99999999999999999999ms",
        ] {
            assert!(later(bad).is_err_and(|why| why.contains("-120ms")), "{bad}");
        }
        assert_eq!(words_of("3-7"), Ok((3, 7)));
        assert_eq!(words_of("4"), Ok((4, 4)));
        for bad in ["", "0-2", "3-2", "a-b", "-3", "3-"] {
            assert!(words_of(bad).is_err(), "{bad}");
        }
    }
}
