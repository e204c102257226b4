//! What was typed after `sayback find` and `sayback searches`.

use clap::{Args, Subcommand, ValueEnum};

use super::super::args::Json;
use super::super::client::quoted;

/// The service reads no more characters of a query, and an address can't hold any number.
const MOST_READ: usize = 4_000;

/// `sayback find`
#[derive(Debug, Args)]
pub struct Find {
    /// Words as they are remembered, a "quoted phrase" for the very words, the beginning
    /// of a wor*; may be left out where something else is asked for
    #[arg(value_name = "WORDS",
        required_unless_present_any = ["event", "part", "person", "source", "placement", "from",
        "to", "language", "backup", "saved"])]
    pub words: Vec<String>,
    /// Only this event: its id, or its title where only one has it
    #[arg(long, value_name = "EVENT")]
    pub event: Option<String>,
    /// Only this part of an event
    #[arg(long, value_name = "PART")]
    pub part: Option<String>,
    /// Only what they say: an id, or a name in whichever event
    #[arg(long, value_name = "PERSON")]
    pub person: Option<String>,
    /// Only what this recorder heard: an id or a label
    #[arg(long, value_name = "RECORDER")]
    pub source: Option<String>,
    /// Only what a recorder heard that is so placed
    #[arg(long, value_name = "PLACED", value_parser = ["worn", "feed", "stand", "ambient", "camera"])]
    pub placement: Option<String>,
    /// Only where that recorder has it best
    #[arg(long)]
    pub best: bool,
    /// Only events of this day or later
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub from: Option<String>,
    /// Only events of this day or earlier
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub to: Option<String>,
    /// Only in this language, as en or de
    #[arg(long, value_name = "LANGUAGE")]
    pub language: Option<String>,
    /// Only words at least so sure, 0 to 1
    #[arg(long, value_name = "SHARE")]
    pub confidence: Option<f32>,
    /// Only what two recorders have clean or usable: yes; or only what no two have: no
    #[arg(long, value_name = "YES|NO")]
    pub backup: Option<YesNo>,
    /// The order of lines
    #[arg(long, value_name = "ORDER", value_enum, default_value_t = Order::Relevance)]
    pub sort: Order,
    /// Also look in one event for lines that mean the like, where `sayback model get
    /// meaning` was run
    #[arg(long, requires = "event")]
    pub meaning: bool,
    /// Also count them by event, part, person and so on
    #[arg(long)]
    pub facets: bool,
    /// The most lines to show, 1 to 200
    #[arg(long, value_name = "N", default_value_t = 20,
        value_parser = clap::value_parser!(u32).range(1..=200))]
    pub limit: u32,
    /// Lines to leave out at the beginning
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub offset: u32,
    /// Keep this search under a name
    #[arg(long, value_name = "NAME", conflicts_with = "saved")]
    pub save: Option<String>,
    /// Make the search again that was kept under this name
    #[arg(long, value_name = "NAME", conflicts_with_all = ["words", "event", "part", "person",
        "source", "placement", "best", "from", "to", "language", "confidence", "backup", "sort",
        "meaning"])]
    pub saved: Option<String>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// Yes or no.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum YesNo {
    /// Yes
    Yes,
    /// No
    No,
}

/// The order of lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Order {
    /// The best answer first
    Relevance,
    /// By event, and in it by the event clock
    Clock,
}

impl Find {
    /// What is asked for, as the parameters of an address; without paging.
    pub fn asked(&self) -> String {
        let words: String = self.words.join(" ").chars().take(MOST_READ).collect();
        let mut asked = vec![format!("q={}", quoted(&words))];
        for (name, value) in [
            ("event", &self.event),
            ("part", &self.part),
            ("person", &self.person),
            ("source", &self.source),
            ("placement", &self.placement),
            ("from", &self.from),
            ("to", &self.to),
            ("language", &self.language),
        ] {
            asked.extend(
                value
                    .iter()
                    .map(|value| format!("{name}={}", quoted(value))),
            );
        }
        asked.extend(self.confidence.map(|least| format!("confidence={least}")));
        asked.extend(
            self.backup
                .map(|yes| format!("backup={}", yes == YesNo::Yes)),
        );
        asked.extend(self.meaning.then(|| "meaning=true".to_owned()));
        asked.extend(self.best.then(|| "best=true".to_owned()));
        asked.extend((self.sort == Order::Clock).then(|| "sort=clock".to_owned()));
        asked.join("&")
    }
}

/// `sayback searches`
#[derive(Debug, Args)]
pub struct Searches {
    /// To change them.
    #[command(subcommand)]
    pub command: Option<SearchesCommand>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// What can be done about saved searches.
#[derive(Debug, Subcommand)]
pub enum SearchesCommand {
    /// Forget one
    Remove {
        /// Its name
        name: String,
    },
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        find: Find,
    }

    #[test]
    fn what_is_pasted_fits_an_address() {
        let line = Line::parse_from(["find", &"🛶".repeat(50_000)]);
        let asked = line.find.asked();
        assert_eq!(asked.len(), "q=".len() + 12 * MOST_READ);
        // What the `http` crate takes as an address.
        assert!(asked.len() < 65_000);
        let line = Line::parse_from(["find", "the", "kettle", "--part", "toasts"]);
        assert_eq!(line.find.asked(), "q=the%20kettle&part=toasts");
    }

    #[test]
    fn a_kept_search_is_made_as_it_was_kept() {
        let line =
            |more: &[&str]| Line::try_parse_from([&["find", "--saved", "x"][..], more].concat());
        assert!(line(&["--limit", "5", "--facets", "--json"]).is_ok());
        for other in [&["kettle"][..], &["--person", "Ines"], &["--sort", "clock"]] {
            assert!(line(other).is_err(), "{other:?}");
        }
    }
}
