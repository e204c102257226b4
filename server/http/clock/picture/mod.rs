//! What does the clock of an event look like?
//!
//! Comes in: where recordings lie and where somebody speaks in them. Goes out: one
//! SVG 1.1 document that needs nothing else: no script, no font, no other file. It
//! is as large as its rows, whatever their length: speech closer together than a
//! pixel is one mark. Pure.

mod axis;
mod layout;

use std::fmt::Write as _;

use sayback_core::clock::How;

use super::super::xml::escaped;
use layout::Drawing;

/// What there is to draw.
#[derive(Clone, Debug, Default)]
pub struct Picture {
    /// The event's title.
    pub title: String,
    /// Recordings; those of one source follow each other.
    pub bars: Vec<Bar>,
}

/// One recording.
#[derive(Clone, Debug)]
pub struct Bar {
    /// The file's name, with its channel where it has several recordings.
    pub file: String,
    /// Label of its source.
    pub source: String,
    /// How that source was placed: `worn`, `feed`, …
    pub placed: String,
    /// How its place was found.
    pub how: How,
    /// Whose clock it lies on; 0 is the event clock, `None` no clock at all.
    pub island: Option<i64>,
    /// Where it ran on that clock, ms, in order: more than one stretch where it
    /// stopped and went on.
    pub runs: Vec<(f64, f64)>,
    /// Where somebody speaks, ms on the same clock.
    pub speech: Vec<(f64, f64)>,
    /// 95 % of where it might be, ms; `None` where nothing is known about it.
    pub uncertainty_ms: Option<f64>,
}

impl Bar {
    /// From the first to the last instant on its clock, ms; `None` for what is no
    /// stretch of time.
    fn extent(&self) -> Option<(f64, f64)> {
        let first = self.runs.first()?.0;
        let last = self.runs.last()?.1;
        let finite = |&(from, to): &(f64, f64)| from.is_finite() && to.is_finite();
        self.runs
            .iter()
            .all(finite)
            .then_some((first, last.max(first)))
    }

    fn on_event_clock(&self) -> bool {
        self.island == Some(0) && self.how != How::Unplaced && self.extent().is_some()
    }
}

/// The ways of placing, as the legend tells them, with the class they are drawn in.
const WAYS: [(How, &str, &str); 5] = [
    (How::Sound, "sound", "by sound"),
    (How::Joined, "joined", "joined to its take or file"),
    (How::Stamp, "stamp", "by its time stamp"),
    (How::ByHand, "hand", "by hand"),
    (How::Unplaced, "loose", "not placed"),
];

/// Colours by day and by night; each way of placing has a colour and a pattern.
pub const STYLE: &str = "\
text{font:12px system-ui,'Noto Sans','DejaVu Sans',sans-serif;fill:#24292b}\
.head{font-weight:600;font-size:15px}.source{font-weight:600;font-size:13px}\
.soft{fill:#5b6466}.end{text-anchor:end}.mid{text-anchor:middle}\
.ground{fill:#fffdf8}.grid{stroke:#dcd7cb;fill:none}.rule{stroke:#8d9492;fill:none}\
.bar{stroke:#5b6466}.loose{stroke:#5b6466;stroke-dasharray:4 3;fill:none}\
.sound{fill:#b3d6cf}.joined{fill:#cfe0b4}.stamp{fill:#f0dba6}.hand{fill:#dcc9e8}\
.ink{stroke:#5b6466;fill:none}.dot{fill:#6d5a1e}\
.speech{stroke:#17423d;fill:none;stroke-width:6}\
.edge{stroke:#fffdf8;fill:none;stroke-width:4}.doubt{stroke:#9b2f22;fill:none;stroke-width:1.5}.stop{stroke:#9b2f22;fill:none;stroke-dasharray:2 3}\
@media(prefers-color-scheme:dark){\
text{fill:#dfe2dd}.soft{fill:#a5b0ae}.ground{fill:#1f2527}.grid{stroke:#3a4345}.rule{stroke:#7d8886}\
.bar,.loose{stroke:#a5b0ae}\
.sound{fill:#2b544e}.joined{fill:#43552c}.stamp{fill:#64501e}.hand{fill:#54406a}\
.ink{stroke:#a5b0ae}.dot{fill:#e5cf8f}.speech{stroke:#cfeee7}\
.doubt,.stop{stroke:#f0968a}.edge{stroke:#1f2527}}";

/// Patterns under each way of placing, so that colour is never all there is.
const PATTERNS: &str = "\
<pattern id=\"joined\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\">\
<rect width=\"7\" height=\"7\" class=\"joined\"/><path d=\"M1 0v7\" class=\"ink\"/></pattern>\
<pattern id=\"stamp\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\">\
<rect width=\"6\" height=\"6\" class=\"stamp\"/><circle cx=\"3\" cy=\"3\" r=\"1.2\" class=\"dot\"/></pattern>\
<pattern id=\"hand\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\">\
<rect width=\"5\" height=\"5\" class=\"hand\"/><path d=\"M0 2.5h5\" class=\"ink\"/></pattern>";

/// Draws it.
#[must_use]
pub fn draw(picture: &Picture) -> String {
    let mut drawing = Drawing::of(picture);
    let told = told(picture);
    drawing.head(&picture.title);
    drawing.legend();
    let placed: Vec<&Bar> = picture.bars.iter().filter(|b| b.on_event_clock()).collect();
    drawing.event_clock(&placed);
    let loose: Vec<&Bar> = picture
        .bars
        .iter()
        .filter(|b| !b.on_event_clock())
        .collect();
    drawing.beside(&loose);
    let (width, height, body) = drawing.end();
    let mut svg = String::with_capacity(body.len() + 4_096);
    let _ = writeln!(
        svg,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" \
         width=\"{width}\" height=\"{height}\" role=\"img\" aria-labelledby=\"title desc\">\
         <title id=\"title\">The clock of {}</title><desc id=\"desc\">{}</desc>\
         <style>{STYLE}</style><defs>{PATTERNS}</defs>\
         <rect width=\"{width}\" height=\"{height}\" class=\"ground\"/>{body}</svg>",
        escaped(&picture.title),
        escaped(&told),
    );
    svg
}

/// The picture in words, for those who do not see it.
#[must_use]
pub fn told(picture: &Picture) -> String {
    let placed: Vec<&Bar> = picture.bars.iter().filter(|b| b.on_event_clock()).collect();
    let of = |n: usize, one: &str| format!("{n} {one}{}", if n == 1 { "" } else { "s" });
    let mut sources: Vec<&str> = picture.bars.iter().map(|b| b.source.as_str()).collect();
    sources.dedup();
    let mut text = format!(
        "{} of {}.",
        of(picture.bars.len(), "recording"),
        of(sources.len(), "source")
    );
    let extents = placed.iter().filter_map(|bar| bar.extent());
    let span = extents.fold(None, |span: Option<(f64, f64)>, (from, to)| match span {
        Some((first, last)) => Some((first.min(from), last.max(to))),
        None => Some((from, to)),
    });
    match span {
        Some((first, last)) => {
            let _ = write!(
                text,
                " {} on the event clock, from {} to {}:",
                of(placed.len(), "recording"),
                axis::time(first),
                axis::time(last)
            );
            for (how, _, name) in WAYS {
                let n = placed.iter().filter(|bar| bar.how == how).count();
                if n > 0 {
                    let _ = write!(text, " {n} {name},");
                }
            }
            text.pop();
            text.push('.');
        }
        None => text.push_str(" None is on the event clock yet."),
    }
    let loose = picture.bars.len() - placed.len();
    if loose > 0 && span.is_some() {
        let _ = write!(text, " {} not on the event clock.", of(loose, "recording"));
    }
    text
}

#[cfg(test)]
mod tests;
