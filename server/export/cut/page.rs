//! A page for a client, to read or to print: what is in the cut, in which order, who
//! says it. One file without scripts that loads nothing. **Nothing of how the work is
//! kept**: no names of files, no folders, no ids, no recorders.

use super::super::safe;
use super::{Kind, Laid, Placed};

const STYLE: &str = include_str!("page.css");

/// The page.
pub(super) fn text(laid: &Laid<'_>) -> String {
    let cut = laid.cut();
    let (title, event) = (escaped(&cut.title), escaped(&cut.event));
    let about: Vec<String> = [Some(event), cut.date.as_deref().map(escaped)]
        .into_iter()
        .flatten()
        .filter(|text| !text.is_empty())
        .collect();
    let one = match cut.kind {
        Kind::List => "quote",
        Kind::Transcript { .. } => "line",
    };
    let count = match laid.quotes().len() {
        1 => format!("1 {one}"),
        many => format!("{many} {one}s"),
    };
    let length = clock(laid.length_ms());
    let quotes: String = laid
        .quotes()
        .iter()
        .map(|placed| quote(laid, placed))
        .collect();
    format!(
        "<!DOCTYPE html>\n\
         <html lang=\"en\">\n\
         <head>\n\
         <meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width\">\n\
         <meta name=\"robots\" content=\"noindex\">\n\
         <meta http-equiv=\"Content-Security-Policy\" \
         content=\"default-src 'none'; style-src 'unsafe-inline'\">\n\
         <title>{title}</title>\n\
         <style>\n{STYLE}</style>\n\
         </head>\n\
         <body>\n\
         <header>\n\
         <h1 dir=\"auto\">{title}</h1>\n\
         <p dir=\"auto\">{}</p>\n\
         </header>\n\
         <main>\n\
         <ol>\n{quotes}</ol>\n\
         </main>\n\
         <footer>{count}, {length}</footer>\n\
         </body>\n\
         </html>\n",
        about.join(", ")
    )
}

fn quote(laid: &Laid<'_>, placed: &Placed<'_>) -> String {
    let said = placed.quote;
    let number = placed.number;
    let (at, length) = (laid.ms(placed.start), laid.ms(placed.end - placed.start));
    let element = |name: &str, class: &str, text: String| match text.is_empty() {
        true => String::new(),
        false => format!("<{name} class=\"{class}\" dir=\"auto\">{text}</{name}>\n"),
    };
    let people = [&said.person, &said.also].into_iter().flatten();
    let who = people
        .map(|name| escaped(name))
        .collect::<Vec<_>>()
        .join(" + ");
    let doubtful = match (said.unwritten, &said.doubt) {
        (true, _) => "[not written down yet]",
        (false, Some(_)) => "[?] ",
        (false, None) => "",
    };
    let note = said.note.as_deref().map(safe::lines).unwrap_or_default();
    format!(
        "<li id=\"q{number}\">\n\
         <div class=\"when\"><span>{number}.</span> <span>at {}</span> <span>{}</span></div>\n\
         <div>\n{}{}{}</div>\n\
         </li>\n",
        clock(at),
        lasts(length),
        element("p", "who", who),
        element(
            "blockquote",
            "said",
            format!("{doubtful}{}", escaped(&said.text))
        ),
        element("p", "note", marked(&note)),
    )
}

/// `m:ss`, from an hour on `h:mm:ss`.
fn clock(ms: i64) -> String {
    let seconds = ms / 1000;
    let (hours, minutes, seconds) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    match hours {
        0 => format!("{minutes}:{seconds:02}"),
        _ => format!("{hours}:{minutes:02}:{seconds:02}"),
    }
}

/// How long, to a tenth of a second.
fn lasts(ms: i64) -> String {
    let tenths = (ms + 50) / 100;
    format!("{}.{} s", tenths / 10, tenths % 10)
}

fn escaped(text: &str) -> String {
    marked(&safe::line(text))
}

/// Characters that mean something in HTML, also inside quoted attributes.
fn marked(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            other => out.push(other),
        }
    }
    out
}
