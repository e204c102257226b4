//! What was typed after `sayback fix`.

use clap::{Args, Subcommand};

use super::super::args::Json;
use super::super::instant;

/// `sayback fix …`
#[derive(Debug, Subcommand)]
pub enum FixCommand {
    /// The moments of a recording, named as the other commands ask for them
    List(FixList),
    /// A moment with its words, their times, and what speech models heard
    Show(FixShow),
    /// Write the words of a moment anew
    Words(FixWords),
    /// Make two moments one
    Join(FixJoin),
    /// Make a moment two
    Split(FixSplit),
    /// Give a moment, or its words, other times
    Times(FixTimes),
    /// Who changed a moment, when, and how
    History(FixShow),
    /// Go back to an earlier version, which is a new version
    Undo(FixUndo),
}

/// `sayback fix list`
#[derive(Debug, Args)]
pub struct FixList {
    /// The recording's id, as `event show` and `find` tell it
    pub recording: String,
}

/// `sayback fix show`, `sayback fix history`
#[derive(Debug, Args)]
pub struct FixShow {
    /// The moment's id, as `fix list` and `find --json` tell it
    pub moment: String,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// Who changes what.
#[derive(Debug, Args)]
pub struct Change {
    /// The moment, and the version that you have seen: ID@VERSION
    #[arg(value_parser = seen)]
    pub moment: Seen,
    /// Who you are [default: your name on this machine]
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback fix words`
#[derive(Debug, Args)]
pub struct FixWords {
    /// Who changes what.
    #[command(flatten)]
    pub change: Change,
    /// All its words; '' when nothing was said
    #[arg(required = true)]
    pub text: Vec<String>,
}

/// `sayback fix join`
#[derive(Debug, Args)]
pub struct FixJoin {
    /// Who changes what.
    #[command(flatten)]
    pub change: Change,
    /// The moment beside it, which is no more afterwards: ID@VERSION
    #[arg(value_parser = seen)]
    pub with: Seen,
}

/// `sayback fix split`
#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("place").required(true).args(["word", "at"]))]
pub struct FixSplit {
    /// Who changes what.
    #[command(flatten)]
    pub change: Change,
    /// Before this word, as `fix show` counts them
    #[arg(long, value_name = "NUMBER")]
    pub word: Option<usize>,
    /// At this instant of the file that its words are timed in
    #[arg(long, value_name = "TIME", value_parser = instant::of)]
    pub at: Option<f64>,
}

/// `sayback fix times`
#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("what").required(true).multiple(true)
    .args(["start", "end", "words"]))]
pub struct FixTimes {
    /// Who changes what.
    #[command(flatten)]
    pub change: Change,
    /// Where it starts in the file that its words are timed in
    #[arg(long, value_name = "TIME", value_parser = instant::of)]
    pub start: Option<f64>,
    /// Where it ends there
    #[arg(long, value_name = "TIME", value_parser = instant::of)]
    pub end: Option<f64>,
    /// When a word is said, as `fix show` counts them: 3=00:01:02.500,00:01:02.900;
    /// repeatable
    #[arg(long = "word", value_name = "NUMBER=START,END", value_parser = word_times)]
    pub words: Vec<(usize, f64, f64)>,
}

/// `sayback fix undo`
#[derive(Debug, Args)]
pub struct FixUndo {
    /// Who changes what.
    #[command(flatten)]
    pub change: Change,
    /// The version to go back to [default: the one before]
    #[arg(long, value_name = "VERSION")]
    pub to: Option<i64>,
}

/// A moment at the version that somebody has seen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seen {
    /// Its id.
    pub id: String,
    /// The version.
    pub version: i64,
}

fn seen(text: &str) -> Result<Seen, String> {
    let both = text.rsplit_once('@').filter(|(id, _)| !id.is_empty());
    let seen = both.and_then(|(id, version)| {
        let version = version.parse::<i64>().ok().filter(|n| *n >= 1)?;
        Some(Seen {
            id: id.to_owned(),
            version,
        })
    });
    seen.ok_or_else(|| {
        format!(
            "'{text}' does not say which version you have seen; write ID@VERSION, as `sayback fix \
             show ID` tells it"
        )
    })
}

fn word_times(text: &str) -> Result<(usize, f64, f64), String> {
    let wrong = || format!("'{text}' says no time of a word; write NUMBER=START,END");
    let (word, times) = text.split_once('=').ok_or_else(wrong)?;
    let (start, end) = times.split_once(',').ok_or_else(wrong)?;
    let word = word.parse().map_err(|_| wrong())?;
    Ok((word, instant::of(start)?, instant::of(end)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_is_named_with_its_version() {
        let ok = |id: &str, version| {
            Ok(Seen {
                id: id.into(),
                version,
            })
        };
        assert_eq!(seen("a-b@12"), ok("a-b", 12));
        // One less than this is no number any more.
        let least = format!("a@{}", i64::MIN);
        for text in ["a-b", "@3", "a@", "a@b", "a@1.5", "a@0", least.as_str()] {
            let told = seen(text).expect_err("no version");
            assert!(told.contains("sayback fix show"), "{told}");
        }
    }

    #[test]
    fn times_of_a_word_are_read_as_they_are_shown() {
        assert_eq!(word_times("3=1.5,00:00:02"), Ok((3, 1_500.0, 2_000.0)));
        for text in ["3", "3=1", "=1,2", "x=1,2", "3=1-2", "3=1,x"] {
            assert!(word_times(text).is_err(), "{text}");
        }
    }
}
