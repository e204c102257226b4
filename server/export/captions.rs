//! `WebVTT` (W3C, <https://www.w3.org/TR/webvtt1/>) and `SubRip` (de facto).

use super::cues::{self, Cue};
use super::plain::position;
use super::{Line, safe};

/// The header says what it is; a cue's class says what not to trust. No style block: of
/// a file with one some readers lose every cue (ffmpeg 5.1).
pub(super) fn vtt(about: &[String], lines: &[Line]) -> String {
    let about: Vec<String> = about.iter().map(|line| comment(line)).collect();
    let mut out = format!("WEBVTT\n\nNOTE\n{}\n", about.join("\n"));
    for cue in cues::of(lines) {
        let lines: Vec<String> = cue.lines.iter().map(|line| escaped(line)).collect();
        let mut text = lines.join("\n");
        if let Some(class) = cue.class {
            text = format!("<c.{class}>{text}</c>");
        }
        if let Some(speaker) = &cue.speaker {
            text = format!("<v {}>{text}", escaped(speaker));
        }
        out.push_str(&format!("\n{}\n{text}\n", times(&cue, '.')));
    }
    out
}

/// Numbered from 1; whoever speaks and what is doubtful stands in the text, as there is
/// nothing else.
pub(super) fn srt(lines: &[Line]) -> String {
    let mut out = String::new();
    for (n, cue) in cues::of(lines).iter().enumerate() {
        let mut text = cue.lines.join("\n");
        if let Some(speaker) = &cue.speaker {
            text = format!("{speaker}: {text}");
        }
        out.push_str(&format!(
            "{}\n{}\n{}\n\n",
            n + 1,
            times(cue, ','),
            bare(&text)
        ));
    }
    out
}

fn times(cue: &Cue, point: char) -> String {
    let (start, end) = (position(cue.start.0, point), position(cue.end.0, point));
    format!("{start} --> {end}")
}

/// Text and names of cues: W3C WebVTT, section 4.2.2. Without a `>` there is no `-->`.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

/// A comment is not unescaped, but may hold no arrow either.
fn comment(text: &str) -> String {
    safe::line(text).replace("-->", "→")
}

/// Nothing can be escaped in `SubRip`, but players take angle brackets, braces and
/// backslashes for commands.
fn bare(text: &str) -> String {
    let plain = |c| match c {
        '<' => '‹',
        '>' => '›',
        '{' => '(',
        '}' => ')',
        '\\' => '/',
        other => other,
    };
    text.chars().map(plain).collect()
}
