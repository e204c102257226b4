//! Where each part of the picture stands. A user unit is a CSS pixel.

use std::fmt::Write as _;

use sayback_core::clock::How;

use super::super::super::xml::{clipped, escaped};
use super::{Bar, Picture, WAYS, axis};

const WIDTH: f64 = 960.0;
/// The clock is drawn between these.
const LEFT: f64 = 236.0;
const RIGHT: f64 = 866.0;
const MARGIN: f64 = 16.0;
const ROW: f64 = 22.0;
const BAR: f64 = 14.0;

/// A picture in the making, from top to bottom.
pub struct Drawing {
    out: String,
    y: f64,
    /// Pixels a ms.
    scale: f64,
}

impl Drawing {
    /// An empty picture in the scale of the longest clock.
    pub fn of(picture: &Picture) -> Self {
        let event: Vec<&Bar> = picture.bars.iter().filter(|b| b.on_event_clock()).collect();
        let (first_ms, last_ms) = span(&event).unwrap_or((0.0, 0.0));
        let beside = islands(
            &picture
                .bars
                .iter()
                .filter(|b| !b.on_event_clock())
                .collect::<Vec<_>>(),
        );
        let longest = beside
            .iter()
            .filter_map(|bars| span(bars))
            .map(|(from, to)| to - from)
            .fold(last_ms - first_ms, f64::max)
            .max(1.0);
        Self {
            out: String::new(),
            y: 0.0,
            scale: (RIGHT - LEFT) / longest,
        }
    }

    /// The title.
    pub fn head(&mut self, title: &str) {
        self.y += 30.0;
        self.text(MARGIN, "head", &clipped(title, 100));
    }

    /// What colours and patterns mean.
    pub fn legend(&mut self) {
        self.y += 26.0;
        let mut x = MARGIN;
        for (how, _, name) in WAYS {
            let y = self.y - BAR + 3.0;
            self.rect(x, y, 26.0, how);
            self.text(x + 32.0, "soft", name);
            x += 32.0 + 6.1 * name.chars().count() as f64 + 18.0;
        }
        let y = self.y - 4.0;
        let _ = write!(self.out, "<path d=\"M{x} {y}h6m4 0h12\" class=\"speech\"/>");
        self.text(x + 28.0, "soft", "speech");
        x += 28.0 + 60.0;
        let _ = write!(self.out, "{}", whisker(x, x + 22.0, y));
        self.text(x + 30.0, "soft", "may be off");
        self.y += 14.0;
    }

    /// The event clock with its recordings.
    pub fn event_clock(&mut self, bars: &[&Bar]) {
        let Some((first, last)) = span(bars) else {
            self.y += 24.0;
            self.text(MARGIN, "soft", "Nothing is on the event clock yet.");
            self.y += 8.0;
            return;
        };
        self.y += 22.0;
        let top = self.y;
        let rows = bars.len() as f64 + sources(bars).len() as f64;
        let bottom = top + 10.0 + rows * ROW;
        let mut grid = String::new();
        for at in axis::ticks(first, last) {
            let x = LEFT + (at - first) * self.scale;
            let _ = write!(grid, "M{x:.1} {:.0}V{bottom:.0}", top + 5.0);
            self.text(x, "soft mid", &axis::time(at));
        }
        let _ = write!(
            self.out,
            "<path d=\"{grid}\" class=\"grid\"/><path d=\"M{LEFT} {:.0}H{RIGHT}\" class=\"rule\"/>",
            top + 5.0
        );
        self.y += 8.0;
        self.rows(bars, first);
    }

    /// What is not on the event clock: what is on a clock of its own together, and
    /// what is on none.
    pub fn beside(&mut self, bars: &[&Bar]) {
        if bars.is_empty() {
            return;
        }
        self.y += 30.0;
        self.text(MARGIN, "head", "Not on the event clock");
        let (together, alone): (Vec<_>, Vec<_>) =
            islands(bars).into_iter().partition(|bars| bars.len() > 1);
        for island in &together {
            self.y += 22.0;
            let what = "These share sound with each other, but with nothing above; 0 is their first sound:";
            self.text(MARGIN, "soft", what);
            self.y += 2.0;
            let first = span(island).map_or(0.0, |(first, _)| first);
            self.rows(island, first);
        }
        let alone: Vec<&Bar> = alone.into_iter().flatten().collect();
        if !alone.is_empty() {
            self.y += 22.0;
            self.text(
                MARGIN,
                "soft",
                "No place was found for these; their length is drawn to scale:",
            );
            self.y += 2.0;
            self.rows(&alone, f64::NAN);
        }
    }

    /// Rows by source. The bars begin at `first_ms`; each at its own first sound if
    /// that is no number.
    fn rows(&mut self, bars: &[&Bar], first_ms: f64) {
        for source in sources(bars) {
            let of_source = || bars.iter().filter(|bar| same_source(bar, source));
            self.y += ROW;
            let label = clipped(&source.source, 22);
            let _ = write!(
                self.out,
                "<text x=\"{MARGIN}\" y=\"{:.0}\" class=\"source\">{} <tspan class=\"soft\" \
                 font-weight=\"400\" font-size=\"12\">{}</tspan></text>",
                self.y,
                escaped(&label),
                escaped(&source.placed)
            );
            for bar in of_source() {
                self.y += ROW;
                let own = bar.extent().map_or(0.0, |(first, _)| first);
                self.row(bar, if first_ms.is_nan() { own } else { first_ms });
            }
        }
    }

    fn row(&mut self, bar: &Bar, first_ms: f64) {
        let x = |ms: f64| (LEFT + (ms - first_ms) * self.scale).clamp(LEFT, RIGHT);
        let top = self.y - BAR + 3.0;
        let middle = top + BAR / 2.0;
        let mut out = format!("<g><title>{}</title>", escaped(&in_words(bar)));
        let _ = write!(
            out,
            "<text x=\"{:.0}\" y=\"{:.0}\">{}</text>",
            MARGIN + 12.0,
            self.y,
            escaped(&clipped(&bar.file, 28))
        );
        let runs = if bar.extent().is_some() {
            bar.runs.as_slice()
        } else {
            &[]
        };
        for (n, &(from, to)) in runs.iter().enumerate() {
            out.push_str(&rect(x(from), top, (x(to) - x(from)).max(1.0), bar.how));
            if let Some(&(next, _)) = runs.get(n + 1) {
                let _ = write!(
                    out,
                    "<path d=\"M{:.1} {middle:.0}H{:.1}\" class=\"stop\"/>",
                    x(to),
                    x(next)
                );
            }
        }
        let marks = marks(
            bar.speech.iter().map(|&(from, to)| (x(from), x(to))),
            middle,
        );
        if !marks.is_empty() {
            let _ = write!(out, "<path d=\"{marks}\" class=\"speech\"/>");
        }
        if let (Some((first, last)), Some(doubt)) = (bar.extent(), known(bar)) {
            for end in [first, last] {
                let (from, to) = (x(end - doubt), x(end + doubt));
                // Narrower than a pixel it is told in the column beside it alone.
                if to - from >= 1.0 {
                    out.push_str(&whisker(from, to, middle));
                }
            }
        }
        let beside = match known(bar) {
            Some(doubt) if bar.how != How::Unplaced => axis::doubt(doubt),
            _ => String::new(),
        };
        let _ = write!(
            out,
            "<text x=\"{:.0}\" y=\"{:.0}\" class=\"soft end\">{beside}</text></g>",
            WIDTH - MARGIN,
            self.y
        );
        self.out.push_str(&out);
    }

    fn rect(&mut self, x: f64, y: f64, width: f64, how: How) {
        self.out.push_str(&rect(x, y, width, how));
    }

    fn text(&mut self, x: f64, class: &str, text: &str) {
        let _ = write!(
            self.out,
            "<text x=\"{x:.0}\" y=\"{:.0}\" class=\"{class}\">{}</text>",
            self.y,
            escaped(text)
        );
    }

    /// Width, height, and what is inside.
    pub fn end(self) -> (f64, f64, String) {
        (WIDTH, self.y + 22.0, self.out)
    }
}

fn rect(x: f64, y: f64, width: f64, how: How) -> String {
    let fill = match how {
        How::Sound => "class=\"bar sound\"",
        How::Joined => "class=\"bar\" fill=\"url(#joined)\"",
        How::Stamp => "class=\"bar\" fill=\"url(#stamp)\"",
        How::ByHand => "class=\"bar\" fill=\"url(#hand)\"",
        How::Unplaced => "class=\"loose\"",
    };
    format!("<rect x=\"{x:.1}\" y=\"{y:.1}\" width=\"{width:.1}\" height=\"{BAR}\" {fill}/>")
}

fn whisker(from: f64, to: f64, y: f64) -> String {
    let path = format!("d=\"M{from:.1} {:.1}v8m0 -4H{to:.1}m0 -4v8\"", y - 4.0);
    // Edged, so that it is seen on speech and patterns.
    format!("<path {path} class=\"edge\"/><path {path} class=\"doubt\"/>")
}

/// Marks on whole pixels; those that touch are one.
fn marks(spans: impl Iterator<Item = (f64, f64)>, y: f64) -> String {
    let mut spans: Vec<(i32, i32)> = spans
        .filter(|(from, to)| from.is_finite() && to.is_finite())
        .map(|(from, to)| {
            let from = from.floor() as i32;
            (from, (to.ceil() as i32).max(from + 1))
        })
        .collect();
    spans.sort_unstable();
    let mut merged: Vec<(i32, i32)> = Vec::new();
    for (from, to) in spans {
        match merged.last_mut() {
            Some(last) if from <= last.1 => last.1 = last.1.max(to),
            _ => merged.push((from, to)),
        }
    }
    let mut path = String::new();
    for (from, to) in merged {
        let _ = write!(path, "M{from} {y:.0}h{}", to - from);
    }
    path
}

fn known(bar: &Bar) -> Option<f64> {
    bar.uncertainty_ms.filter(|ms| ms.is_finite() && *ms >= 0.0)
}

/// A recording in a sentence.
fn in_words(bar: &Bar) -> String {
    let (_, _, way) = WAYS
        .iter()
        .find(|(how, _, _)| *how == bar.how)
        .copied()
        .unwrap_or(WAYS[4]);
    let mut text = format!("{}, {}: ", bar.source, bar.file);
    match bar.extent() {
        Some((first, last)) if bar.on_event_clock() => {
            let _ = write!(
                text,
                "{} to {}, placed {way}",
                axis::time(first),
                axis::time(last)
            );
            if let Some(doubt) = known(bar) {
                let _ = write!(text, ", {}", axis::doubt(doubt));
            }
            if bar.runs.len() > 1 {
                let stops = bar.runs.len() - 1;
                let _ = write!(text, ", stopped and went on {stops} times");
            }
        }
        Some((first, last)) => {
            let _ = write!(text, "{} long, {way}", axis::time(last - first));
        }
        None => text.push_str(way),
    }
    text
}

/// The first and last instant of bars.
fn span(bars: &[&Bar]) -> Option<(f64, f64)> {
    bars.iter()
        .filter_map(|bar| bar.extent())
        .reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
}

/// The first bar of each source, in order.
fn sources<'a>(bars: &[&'a Bar]) -> Vec<&'a Bar> {
    let mut firsts: Vec<&Bar> = Vec::new();
    for bar in bars {
        if !firsts.iter().any(|first| same_source(first, bar)) {
            firsts.push(bar);
        }
    }
    firsts
}

fn same_source(a: &Bar, b: &Bar) -> bool {
    a.source == b.source && a.placed == b.placed
}

/// Bars by island; a bar on no clock is by itself.
fn islands<'a>(bars: &[&'a Bar]) -> Vec<Vec<&'a Bar>> {
    let mut islands: Vec<Vec<&Bar>> = Vec::new();
    for bar in bars {
        let joins =
            |island: &&mut Vec<&Bar>| bar.island.is_some() && island[0].island == bar.island;
        match islands.iter_mut().find(joins) {
            Some(island) => island.push(bar),
            None => islands.push(vec![bar]),
        }
    }
    islands
}
