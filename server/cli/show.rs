//! How things look on a terminal.

use std::borrow::Cow;
use std::fmt::Write as _;
use std::io::{ErrorKind, IsTerminal, Write as _};

use anyhow::Context;

use unicode_width::UnicodeWidthStr;

use super::error::CliError;

/// Writes an answer to standard output, with a line feed at its end.
///
/// # Errors
/// [`CliError::Closed`] when the next program in a pipe has read enough.
pub fn out(text: &str) -> Result<(), CliError> {
    let mut stdout = std::io::stdout().lock();
    let end = if text.ends_with('\n') { "" } else { "\n" };
    match write!(stdout, "{text}{end}").and_then(|()| stdout.flush()) {
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Err(CliError::Closed),
        written => Ok(written.context("cannot write to standard output")?),
    }
}

/// Writes a remark to standard error. Nobody can be told when that fails.
pub fn remark(text: &str) {
    let _ = writeln!(std::io::stderr().lock(), "{text}");
}

/// Text that is safe to print on one line of a terminal: characters that would
/// move the cursor, change its state or reverse the direction of writing are
/// written as Rust escapes. A recorder's card can hold any name.
///
/// ```
/// use sayback::cli::show::safe;
/// assert_eq!(safe("a\u{1b}[2J\nb"), "a\\u{1b}[2J\\nb");
/// ```
#[must_use]
pub fn safe(text: &str) -> Cow<'_, str> {
    if !text.chars().any(is_unsafe) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len() + 16);
    for c in text.chars() {
        if is_unsafe(c) {
            out.extend(c.escape_default());
        } else {
            out.push(c);
        }
    }
    Cow::Owned(out)
}

fn is_unsafe(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{2028}' | '\u{2029}'           // line and paragraph separators
            | '\u{200E}' | '\u{200F}' | '\u{061C}'
            | '\u{202A}'..='\u{202E}'         // directional overrides
            | '\u{2066}'..='\u{2069}'
            | '\u{FEFF}')
}

/// What there is to say about a file: with its name in front, unless it is
/// named already.
///
/// ```
/// use sayback::cli::show::about;
/// assert_eq!(about("/a/b.wav", "is empty"), "/a/b.wav: is empty");
/// assert_eq!(about("/a/b.wav", "cannot open /a/b.wav"), "cannot open /a/b.wav");
/// ```
#[must_use]
pub fn about(file: &str, said: &str) -> String {
    if file.is_empty() || said.contains(file) {
        safe(said).into_owned()
    } else {
        format!("{}: {}", safe(file), safe(said))
    }
}

/// A position in a file as `hh:mm:ss.mmm`; hours grow as needed.
///
/// ```
/// use sayback::cli::show::position;
/// assert_eq!(position(3_671_005), "01:01:11.005");
/// ```
#[must_use]
pub fn position(ms: i64) -> String {
    let sign = if ms < 0 { "-" } else { "" };
    let ms = ms.unsigned_abs();
    let (seconds, rest) = (ms / 1000, ms % 1000);
    let (hours, minutes) = (seconds / 3600, seconds / 60 % 60);
    format!(
        "{sign}{hours:02}:{minutes:02}:{:02}.{rest:03}",
        seconds % 60
    )
}

/// A length for people: `4.2 s`, `3 min 20 s`, `2 h 05 min`.
///
/// ```
/// use sayback::cli::show::length;
/// assert_eq!(length(4_230), "4.2 s");
/// assert_eq!(length(7_500_000), "2 h 05 min");
/// ```
#[must_use]
pub fn length(ms: i64) -> String {
    let ms = ms.max(0);
    // Rounded before it is split, so that nothing ever reads '60 s'.
    let tenths = (ms + 50) / 100;
    if tenths < 600 {
        return format!("{}.{} s", tenths / 10, tenths % 10);
    }
    let seconds = (ms + 500) / 1000;
    if seconds < 3600 {
        return format!("{} min {:02} s", seconds / 60, seconds % 60);
    }
    let minutes = (seconds + 30) / 60;
    format!("{} h {:02} min", minutes / 60, minutes % 60)
}

/// A size in bytes for people, in powers of 1000.
///
/// ```
/// use sayback::cli::show::size;
/// assert_eq!(size(77_704_715), "77.7 MB");
/// ```
#[must_use]
pub fn size(bytes: u64) -> String {
    const UNITS: [&str; 4] = ["kB", "MB", "GB", "TB"];
    if bytes < 1000 {
        return format!("{bytes} B");
    }
    let (mut value, mut unit) = (bytes as f64 / 1000.0, 0);
    while value >= 999.95 && unit + 1 < UNITS.len() {
        value /= 1000.0;
        unit += 1;
    }
    format!("{value:.1} {}", UNITS[unit])
}

/// `1 recording`, `2 recordings`.
#[must_use]
pub fn count(n: i64, one: &str) -> String {
    if n == 1 {
        format!("1 {one}")
    } else {
        format!("{n} {one}s")
    }
}

/// Emphasis, where it can be seen: on a terminal, unless `NO_COLOR` is set.
#[derive(Clone, Copy, Debug)]
pub struct Paint {
    on: bool,
}

impl Paint {
    /// For what goes to standard output.
    #[must_use]
    pub fn stdout() -> Self {
        Self::when(std::io::stdout().is_terminal())
    }

    /// For what goes to standard error.
    #[must_use]
    pub fn stderr() -> Self {
        Self::when(std::io::stderr().is_terminal())
    }

    /// Whoever reads it.
    #[cfg(test)]
    pub fn always() -> Self {
        Self { on: true }
    }

    fn when(is_terminal: bool) -> Self {
        let refused = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
        Self {
            on: is_terminal && !refused && !dumb,
        }
    }

    /// Emphasised text.
    #[must_use]
    pub fn strong(self, text: &str) -> String {
        self.wrap("1", text)
    }

    /// Words that were found.
    #[must_use]
    pub fn found(self, text: &str) -> String {
        self.wrap("1;4", text)
    }

    /// Text that steps back.
    #[must_use]
    pub fn faint(self, text: &str) -> String {
        self.wrap("2", text)
    }

    /// What went wrong.
    #[must_use]
    pub fn wrong(self, text: &str) -> String {
        self.wrap("1;31", text)
    }

    fn wrap(self, code: &str, text: &str) -> String {
        if self.on {
            format!("\u{1b}[{code}m{text}\u{1b}[0m")
        } else {
            text.to_owned()
        }
    }
}

/// Rows under headings, columns as wide as their widest cell.
pub struct Table {
    rows: Vec<Vec<String>>,
}

impl Table {
    /// A table with these headings.
    #[must_use]
    pub fn new(headings: &[&str]) -> Self {
        Self {
            rows: vec![headings.iter().map(|&h| h.to_owned()).collect()],
        }
    }

    /// Adds a row; cells are made safe to print.
    pub fn row<S: AsRef<str>>(&mut self, cells: &[S]) {
        let safe_cell = |cell: &S| safe(cell.as_ref()).into_owned();
        self.rows.push(cells.iter().map(safe_cell).collect());
    }

    /// The table as text, one line a row.
    #[must_use]
    pub fn render(&self, paint: Paint) -> String {
        let columns = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        let width = |column: usize| {
            let cells = self.rows.iter().filter_map(|row| row.get(column));
            cells.map(|cell| console_width(cell)).max().unwrap_or(0)
        };
        let widths: Vec<usize> = (0..columns).map(width).collect();
        let mut out = String::new();
        for (n, row) in self.rows.iter().enumerate() {
            let mut line = String::new();
            for (cell, width) in row.iter().zip(&widths) {
                let fill = width - console_width(cell);
                let _ = write!(line, "{cell}{:fill$}  ", "");
            }
            let line = line.trim_end();
            out.push_str(&if n == 0 {
                paint.faint(line)
            } else {
                line.to_owned()
            });
            out.push('\n');
        }
        out
    }
}

/// Columns a text takes on a terminal.
fn console_width(text: &str) -> usize {
    UnicodeWidthStr::width(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_cannot_steer_the_terminal() {
        for (name, shown) in [
            ("Anna's lav", "Anna's lav"),
            ("día ñ 愛", "día ñ 愛"),
            ("a\nb\r\tc", "a\\nb\\r\\tc"),
            ("\u{1b}]0;x\u{7}", "\\u{1b}]0;x\\u{7}"),
            ("\u{9b}31m", "\\u{9b}31m"),
            ("wav.\u{202e}gpj", "wav.\\u{202e}gpj"),
            ("\0", "\\u{0}"),
        ] {
            assert_eq!(safe(name), shown);
        }
    }

    #[test]
    fn lengths_never_round_to_sixty() {
        for (ms, shown) in [
            (0, "0.0 s"),
            (-5, "0.0 s"),
            (49, "0.0 s"),
            (950, "1.0 s"),
            (59_949, "59.9 s"),
            (59_950, "1 min 00 s"),
            (61_499, "1 min 01 s"),
            (119_600, "2 min 00 s"),
            (3_599_400, "59 min 59 s"),
            (3_599_600, "1 h 00 min"),
            (7_499_000, "2 h 05 min"),
        ] {
            assert_eq!(length(ms), shown, "{ms}");
        }
    }

    #[test]
    fn sizes_keep_to_their_unit() {
        for (bytes, shown) in [
            (999, "999 B"),
            (1000, "1.0 kB"),
            (999_949, "999.9 kB"),
            (999_950, "1.0 MB"),
            (5 << 30, "5.4 GB"),
        ] {
            assert_eq!(size(bytes), shown);
        }
    }

    #[test]
    fn positions_count_hours_on() {
        assert_eq!(position(0), "00:00:00.000");
        assert_eq!(position(-1), "-00:00:00.001");
        assert_eq!(position(360_000_001), "100:00:00.001");
    }

    #[test]
    fn columns_line_up_by_what_is_seen() {
        let mut table = Table::new(&["NAME", "ID"]);
        table.row(&["愛", "1"]);
        table.row(&["a\nb", "2"]);
        let plain = Paint { on: false };
        assert_eq!(table.render(plain), "NAME  ID\n愛    1\na\\nb  2\n");
    }
}
